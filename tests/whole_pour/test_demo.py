"""`pourlog demo` as a stranger types it: a whole pour in one process tree, through a killed service."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import httpx
import pytest

from web.demo import Maker

POURLOG = [sys.executable, "-m", "web.command"]


def children_named(word: str) -> list[int]:
    """Process ids of the demo's children whose command line holds the word."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                command = (folder / "cmdline").read_bytes().split(b"\0")
            except OSError:
                continue
            if b"web.demo" in command and word.encode() in command:
                found.append(int(folder.name))
    return found


def test_a_demo_with_a_killed_service_keeps_every_sweep_and_ends_with_one_json_object(tmp_path: Path) -> None:
    """The service is killed in mid-pour and started again: stored readings = 4 probes × sweeps."""
    folder = tmp_path / "demo"
    command = [*POURLOG, "demo", "--scenario", "dead-probe", "--speed", "20000", "--port", "0",
               "--exit-when-done", "--restart-after", "1", "--data", str(folder)]  # fmt: skip
    killed: list[int] = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as demo:
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
    assert killed, "the service was running when it was killed"
    assert told["restarts"]["service"] == 1
    assert told["readings"] == 4 * told["sweeps"] > 30_000
    assert told["faults"] > 1000
    assert "probe-lost" in told["alarms"]
    assert told["core_peak_c"] < 60, "no failed read became a temperature"
    record = json.loads(Path(told["record"]).read_text(encoding="utf-8"))
    assert record["figures"]["readings"] == told["readings"]
    assert len(record["points"]) > 15, "its plan is complete"
    assert all(len(point["signed_by"]) == point["people"] for point in record["points"])
    assert all(point["light"] != "stop" and point["override"] is None for point in record["points"])
    assert [batch["light"] for batch in record["batches"]] == ["ok"] * len(record["batches"]) != []
    assert {lot["part"] for lot in record["lots"]} == {"resin", "hardener"}
    assert record["outcome"]["state"] == "good"
    proof = subprocess.run(
        [*POURLOG, "verify", "1", "--settings", str(folder / "settings.toml"), "--json"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert json.loads(proof.stdout)["ok"], proof.stdout


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
            return httpx.Response(200, json={"stage": stage})
        steps.append(request.url.path)
        if len(steps) == 1:
            raise httpx.RemoteProtocolError("killed before it answered", request=request)
        return httpx.Response(409, json={"detail": "no such step from here"})

    maker = Maker(tmp_path, 1, httpx.Client(transport=httpx.MockTransport(answer), base_url="http://bench"))
    with pytest.raises(httpx.HTTPStatusError) if refused else nullcontext():
        maker.step(1, "curing")
    assert steps == ["/api/pours/1/stage"] * 2


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
