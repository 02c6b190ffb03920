"""`pourlog demo` as a stranger types it: a whole pour in one process tree, through a killed service."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi.testclient import TestClient

from hardware.bench.clock import SteppedClock
from logger.plan.file import plan_from_table, read_plan
from logger.planning.examples import EXAMPLES
from logger.planning.findings.mixing import cards_of
from logger.settings import Settings
from logger.store import people
from web.demo.demo import LockStep, Maker
from web.demo.scenarios import SCENARIOS
from web.security.access import COOKIE
from web.security.throttle import unlimited
from web.server.app import make_app
from web.service.service import Service

POURLOG = [sys.executable, "-m", "web.begin"]


@pytest.fixture
def app_of_ines(tmp_path: Path) -> Iterator[TestClient]:
    """A service in which the invented maker is signed in."""
    clock = SteppedClock(1_795_624_200_000, boot_ms=3_600_000)
    service = Service.open(Settings(data_dir=str(tmp_path / "service")), clock)
    with service.store.write() as tx:
        person = people.add_person(tx, "Ines", people.Role.OWNER, "x", service.timeline.now_ms())
        token = people.start_sign_in(tx, person, service.timeline.now_ms(), "test")
    with TestClient(make_app(service, unlimited()), base_url="http://127.0.0.1:8080") as client:
        client.cookies.set(COOKIE, token)
        yield client
    service.close()


def children_named(word: str) -> list[int]:
    """Process ids of the demo's children whose command line holds the word."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                command = (folder / "cmdline").read_bytes().split(b"\0")
            except OSError:
                continue
            if b"web.demo.demo" in command and word.encode() in command:
                found.append(int(folder.name))
    return found


def test_a_demo_with_a_killed_service_keeps_every_sweep_and_ends_with_one_json_object(tmp_path: Path) -> None:
    """The service is killed in mid-pour and started again: stored readings = 4 probes × sweeps."""
    folder = tmp_path / "demo"
    command = [
        *POURLOG,
        "demo",
        "--scenario",
        "dead-probe",
        "--speed",
        "20000",
        "--port",
        "0",
        "--exit-when-done",
        "--restart-after",
        "1",
        "--data",
        str(folder),
    ]
    killed: list[int] = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as demo:
        lines: list[str] = []

        def kill_once(line: str) -> None:
            if line.startswith("Everything is kept") and not killed:
                threading.Timer(4.0, lambda: killed.extend(_kill(str(folder)))).start()

        assert demo.stdout is not None
        for line in demo.stdout:
            lines.append(line)
            kill_once(line)
        assert demo.wait(60) == 0
    told: dict[str, Any] = json.loads(lines[-1])
    assert "not watched as usual" not in "".join(lines), "minutes that are milliseconds are no lateness"
    assert killed, "the service was running when it was killed"
    assert told["restarts"]["service"] == 1
    assert told["readings"] == 4 * told["sweeps"] > 30_000
    assert told["faults"] > 1000
    assert set(told["alarms"]) == {"core-unwatched", "probe-lost"}, (
        "nothing else is wrong: the time of the first hour waits for the maker's looks"
    )
    assert told["core_peak_c"] < 60, "no failed read became a temperature"
    record = json.loads(Path(told["record"]).read_text(encoding="utf-8"))
    assert record["figures"]["readings"] == told["readings"]
    assert len(record["points"]) > 15, "its plan is complete"
    assert all(len(point["signed_by"]) == point["people"] for point in record["points"])
    assert all(point["light"] != "stop" for point in record["points"])
    assert [point["id"] for point in record["points"] if point["override"]] == ["watch"], (
        "a demo calls nobody, and says so; nothing else is let pass"
    )
    assert [batch["light"] for batch in record["batches"]] == ["ok"] * len(record["batches"]) != []
    assert {lot["part"] for lot in record["lots"]} == {"resin", "hardener"}
    assert record["outcome"]["state"] == "good"
    proof = subprocess.run(
        [*POURLOG, "verify", "1", "--settings", str(folder / "settings.toml"), "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert json.loads(proof.stdout)["ok"], proof.stdout


def test_no_two_tables_of_the_demo_have_one_name() -> None:
    """On a board, two of one name cannot be told apart."""
    titles = [scenario.plan["title"] for scenario in SCENARIOS.values()]
    titles += [read_plan(path).title for path in EXAMPLES.glob("*.toml")]
    assert len(set(titles)) == len(titles) >= 6, titles


def test_the_maker_starts_a_dead_service_again_while_she_waits_for_its_answer(tmp_path: Path) -> None:
    """She is the one who looks after the service: waiting without looking would be waiting for ever."""
    service: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        if not service:
            raise httpx.ConnectError("the service is dead", request=request)
        return httpx.Response(200, json={"readings": 12})

    maker = Maker(tmp_path, 1, httpx.Client(transport=httpx.MockTransport(answer), base_url="http://bench"))
    maker.while_waiting = lambda: service.append("started again")
    assert maker.ask("GET", "/api/pours/1/progress") == {"readings": 12}
    assert service == ["started again"]


@pytest.mark.parametrize(("stage", "refused"), [("curing", False), ("watched", True)])
def test_a_step_whose_answer_died_with_the_service_is_looked_up_and_not_made_twice(
    tmp_path: Path, stage: str, refused: bool
) -> None:
    """Taken before the kill: the second try is refused, and all is well. Refused for another reason: she is told."""
    steps: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        if request.method == "GET":
            return httpx.Response(200, json={"stage": stage, "confirm": "for this step"})
        steps.append(request.url.path)
        if len(steps) == 1:
            raise httpx.RemoteProtocolError("killed before it answered", request=request)
        return httpx.Response(409, json={"detail": "no such step from here"})

    maker = Maker(tmp_path, 1, httpx.Client(transport=httpx.MockTransport(answer), base_url="http://bench"))
    with pytest.raises(httpx.HTTPStatusError) if refused else nullcontext():
        maker.step(1, "curing")
    assert len(steps) == (2 if not refused else 4)


class Losing(httpx.BaseTransport):
    """A slow machine: the service carries everything out, and each first answer is lost."""

    def __init__(self, app: Any) -> None:
        self._app, self._lost = app, set[bytes]()

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        """Carries it out; without an answer, the first time that something is asked for."""
        headers = {name: value for name, value in request.headers.items() if name != "content-length"}
        answer = self._app.request(
            request.method, str(request.url), content=request.read(), headers=headers, follow_redirects=False
        )
        if request.content not in self._lost and request.method == "POST":
            self._lost.add(request.content)
            raise httpx.ReadTimeout("no answer in time", request=request)
        # What is handed on is unpacked already.
        headers = {name: value for name, value in answer.headers.items() if name != "content-encoding"}
        return httpx.Response(answer.status_code, content=answer.content, headers=headers)


def test_answers_that_are_lost_on_a_slow_machine_make_nothing_twice(tmp_path: Path, app_of_ines: Any) -> None:
    """One pour, each pail weighed once, each lot noted once, one photo for each point that asks for one."""
    client = httpx.Client(transport=Losing(app_of_ines), base_url="http://127.0.0.1:8080")
    maker = Maker(tmp_path, 1, client)
    maker.stop.wait = lambda _seconds=None: False  # type: ignore[method-assign]  # nobody waits in a test
    scenario = SCENARIOS["calm"]
    maker.ask("POST", "/api/stations", {"name": "bench-1"})
    pour = maker.plan(scenario)
    assert [row["id"] for row in app_of_ines.get("/api/pours").json()] == [pour]
    record = app_of_ines.get(f"/api/pours/{pour}/record").json()
    kinds = Counter(event["kind"] for event in record["events"])
    cards = cards_of(plan_from_table(scenario.plan))
    assert kinds["batch"] == sum(card.batches.count for card in cards)
    assert kinds["lot"] == 2 * len(cards)
    assert kinds["photo"] == sum(point["photo"] for point in record["points"])
    assert (kinds["planned"], kinds["ready"], kinds["pouring"]) == (1, 1, 1)


@pytest.mark.parametrize("moment", ["setting up", "pouring"])
def test_a_demo_that_is_ended_ends_at_once_and_without_a_traceback(tmp_path: Path, moment: str) -> None:
    """Ctrl-C reaches the whole terminal: while the service is being set up, and in mid-pour."""
    folder = tmp_path / "demo"
    command = [
        *POURLOG,
        "demo",
        "--scenario",
        "hot",
        "--speed",
        "7200",
        "--port",
        "0",
        "--exit-when-done",
        "--data",
        str(folder),
    ]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as demo:
        assert demo.stdout is not None
        if moment == "setting up":
            until(lambda: bool(children_of(folder)))
        else:
            for line in demo.stdout:
                if line.startswith("Everything is kept"):
                    break
        os.killpg(demo.pid, signal.SIGINT)
        _out, told = demo.communicate(timeout=30)
    assert demo.returncode == 1
    assert "Traceback" not in told
    assert told.splitlines()[-1] == "Ended before the pour was over."
    assert children_of(folder) == [], "nothing of it goes on"


def children_of(folder: Path) -> list[int]:
    """The processes of one demo."""
    return [
        pid
        for pid in children_named(str(folder))
        if b"web.demo.demo" in Path(f"/proc/{pid}/cmdline").read_bytes()
    ]


def until(true: Callable[[], bool]) -> None:
    """Waits until something is so."""
    waiting = threading.Event()
    for _ in range(1200):
        if true():
            return
        waiting.wait(0.05)
    raise AssertionError("it never was so")


def _kill(folder: str) -> list[int]:
    # Only the service of this very demo: others may be running on this machine.
    mine = [
        pid
        for pid in children_named("service")
        if folder.encode() in Path(f"/proc/{pid}/cmdline").read_bytes()
    ]
    for pid in mine:
        os.kill(pid, signal.SIGKILL)
    return mine


def test_an_unknown_scenario_is_refused_with_what_is_allowed() -> None:
    """Exit code 2, and the remedy."""
    done = subprocess.run(
        [*POURLOG, "demo", "--scenario", "volcano"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "calm, hot, cold-room, dead-probe" in done.stderr


def test_rows_told_beside_a_batch_neither_count_nor_move_the_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """A service killed before it stored anything is asked with rows beside an empty batch: the demo hung for ever."""

    class Clock:
        speed, open, published = 20000.0, False, 0

        def publish(self, _stamp: object) -> None:
            self.published += 1

    def taken(_self: object, _request: httpx.Request) -> httpx.Response:
        return httpx.Response(200)

    monkeypatch.setattr(httpx.HTTPTransport, "handle_request", taken)
    clock = Clock()
    step = LockStep(clock, threading.Event())
    row = {"seq": 1, "stamp": {"wall_ms": 2, "boot_id": "b", "boot_ms": 1, "clock_set": True}}
    for rows, beside in (([], [row]), ([row], [])):
        content = json.dumps({"rows": rows, "beside": beside}).encode()
        step.handle_request(httpx.Request("POST", "http://service/api/batches", content=content))
        assert clock.published == len(rows)
