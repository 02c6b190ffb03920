"""`pourlog demo`: a station, the service and a simulated pour, as one process tree. A composition root.

The station's process owns the simulated time and the service's process reads it, so that at any speed every sweep
happens at its exact simulated moment. A process that dies is started again, as systemd would do it.

Each of the processes imports what it alone needs, when it begins: nobody waits for what another one needs.
"""

from __future__ import annotations

import io
import json
import math
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import tomli_w

from hardware.bench.mapped_clock import MappedClock, MovingClock, start_mapped_clock
from hardware.bench.w1_files import Misreading
from hardware.clock import Stamp
from logger.errors import NotAllowed
from logger.plan.file import plan_from_table
from logger.planning.examples import EXAMPLES
from logger.quantities import quantity
from logger.settings import read_settings
from logger.words.log_lines import log_in_english
from logger.words.phrase import phrase
from logger.words.render import say
from web.demo.scenarios import OWNER, SCENARIOS, SECOND, WORKSHOP, Scenario
from web.security.setup_code import new_setup_code

#: Wed 25 Nov 2026, 16:30 UTC: the demo's table is poured at the end of a working day.
POURED_AT_MS = 1_795_624_200_000
BOOT_MS = 3_600_000
STATION = "bench-1"
PROBES = {
    "core": "28-0000000000c1",
    "surface": "28-0000000000c2",
    "underside": "28-0000000000c3",
    "room": "28-0000000000c4",
}
#: Probe noise of the demo, °C (invented; a real probe's steps are 1/16 °C).
NOISE_C = 0.04
#: Above this speed the station does not run further ahead of the service than so many sweeps, or this part of those
#: so far, and the others see the time only up to the last batch that was acknowledged: real milliseconds on the way are
#: no simulated minutes.
LOCK_STEP_SPEED, LOCK_STEP_SWEEPS, LOCK_STEP_PART = 100.0, 16, 0.04
LOCK_STEP_AHEAD_MS = 5 * 3_600_000
#: Steps that the service asks for first, and wants confirmed.
CONFIRMED = ("curing", "released", "spoiled", "closed")
#: Until then the time waits for the invented maker, h.
FIRST_HOUR_H = 1.01
#: When she looks at the form, minutes after pouring (common practice, no source).
LOOKS_MIN = (4.5, 9.5, 14.5, 19.5, 24.5, 29.5, 39.5, 49.5, 59.5)
#: From this speed on the pour is played so much faster, so that the whole demo takes no longer than was said.
BRISK_SPEED, BRISK = 3000.0, 6.0
#: At high speed the time stands while a forecast is made; so much real time passes between two, if nothing else stands
#: in the way, s, and so often it is looked whether one is due, s.
FORECAST_EVERY_S, FORECAST_LOOK_S = 1.5, 0.1
#: So many times as much between two once it is told whether it gets too hot: they share the processors with the pour.
FORECASTS_APART = 6.0
HELD_LOOK_S = 0.005
#: So long the service may take to start, and to answer, s: also beside other work on a small machine.
START_S, ANSWER_S = 180.0, 60.0
#: So often something is tried before it is given up, and so long a process gets to end by itself, s.
TRIES, STOP_S = 600, 5.0
#: Longest real time that one sweep waits for the service before it goes on alone, s.
LOCK_STEP_WAIT_S = 0.5


def make_folder(folder: Path, speed: float, port: int) -> None:
    """Write what the two processes need, but for the traces: clock, settings, station file."""
    folder.mkdir(parents=True, exist_ok=True)
    start_mapped_clock(folder / "clock", POURED_AT_MS, BOOT_MS, speed)
    settings = {
        "data_dir": str(folder / "service"),
        "port": port,
        "workshop": WORKSHOP,
        "watch_period_s": min(2.0, max(0.25, 60 / speed)),
    }
    (folder / "settings.toml").write_text(tomli_w.dumps(settings), encoding="utf-8")
    write_station(folder, port)


def write_station(folder: Path, port: int) -> None:
    """Write the station file of the bench: four probes that play trace.csv."""
    station = {
        "name": STATION,
        "service_url": f"http://127.0.0.1:{port}",
        "token_file": "station.token",
        "spool_file": "spool.sqlite3",
        "hardware": "bench",
        "probe": [
            {"id": rom, "place": place, "bench": f"trace.csv:{place}"} for place, rom in PROBES.items()
        ],
    }
    (folder / "station.toml").write_text(tomli_w.dumps(station), encoding="utf-8")


def write_trace(path: Path, scenario: Scenario) -> None:
    """Write what the probes would really feel, solved from the scenario's truth."""
    from logger.cure.solver.prediction import predict

    truth = plan_from_table(scenario.truth)
    curve: Any = predict(truth).to_json()["curve"]
    room = truth.room_schedule()
    lines = ["t_s,core,surface,underside,room"]
    for hour, core, surface, underside in zip(
        curve["hours"], curve["core_c"], curve["surface_c"], curve["underside_c"], strict=True
    ):
        values = (core, surface, underside, _between(room, hour))
        lines.append(f"{hour * 3600:.1f}," + ",".join(f"{value:.4f}" for value in values))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _between(schedule: list[tuple[float, float]], hour: float) -> float:
    earlier = [point for point in schedule if point[0] <= hour] or schedule[:1]
    later = [point for point in schedule if point[0] > hour] or schedule[-1:]
    (h0, c0), (h1, c1) = earlier[-1], later[0]
    return c0 if h1 <= h0 else c0 + (c1 - c0) * (hour - h0) / (h1 - h0)


def run_service(folder: Path) -> int:
    """Return the service's process."""
    from logger.live.schedule import Pace
    from web.server.serve import serve
    from web.service.service import Service

    clock = MappedClock(folder / "clock")
    clock.let_go()  # of what a killed service held
    service = Service.open(read_settings(folder / "settings.toml"), clock)
    service.watch.ahead_ms = LOCK_STEP_AHEAD_MS
    service.pace = Pace(speed=clock.speed)
    if clock.speed >= LOCK_STEP_SPEED:
        apart_h = FORECAST_EVERY_S * clock.speed / 3600
        service.pace = Pace(
            FORECAST_LOOK_S,
            apart_h,
            FORECASTS_APART * apart_h,
            clock.hold,
            ready=True,
            help_late=True,
            speed=clock.speed,
        )
    code = new_setup_code(service)
    if code is not None:
        (folder / "set-up-code").write_text(code, encoding="ascii")
    return serve(service)


def run_bench_station(folder: Path, scenario: Scenario, hours: float) -> int:
    """Run the station: the same daemon as on a Pi, over a bench that plays the scenario's truth."""
    from hardware.bench.station import Bench, FaultWindow, Misbehaviour
    from hardware.bench.trace import from_csv
    from logger.daemon.main import RunMode, run_station
    from logger.daemon.station_file import station_from_file

    config = station_from_file(folder / "station.toml")
    clock = MovingClock(folder / "clock")
    if (clock.speed or 1.0) >= BRISK_SPEED:
        clock.speed = (clock.speed or 1.0) * BRISK  # starting up takes real seconds: they are made up for
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    traces = {
        rom: _noisy(from_csv(folder / "trace.csv", place), i) for i, (place, rom) in enumerate(PROBES.items())
    }
    lies = [
        FaultWindow(PROBES[lie.place], lie.from_h * 3600, lie.until_h * 3600, Misreading(lie.kind))
        for lie in scenario.lies
    ]
    with tempfile.TemporaryDirectory(prefix="pourlog-bench-") as work:
        bench = Bench(config.wiring, clock, Path(work), traces, misbehaviour=Misbehaviour(lies))
        # The traces count from the pour, also after this process was killed and started again.
        bench.started = Stamp(POURED_AT_MS, clock.stamp().boot_id, BOOT_MS, True)
        left_s = hours * 3600 - (clock.stamp().boot_ms - BOOT_MS) / 1000
        step = LockStep(clock, stop)
        code = run_station(
            config,
            bench.hardware,
            clock,
            stop,
            RunMode(
                transport=step,
                end_after_s=left_s,
                drain_s=30.0,
                linger_s=0.01 if step.on else 0.2,
                after_sweep=step.after_sweep,
            ),
        )
        with (folder / "sweeps").open("a", encoding="ascii") as file:
            file.write(f"{step.sweeps}\n")
        return code


class LockStep(httpx.HTTPTransport):
    """Keeps a fast station from running ahead of its service: a sweep waits until the last ones are acknowledged, and
    while somebody asks for the time to stand or has to look at the form first."""

    def __init__(self, clock: MovingClock, stop: threading.Event) -> None:
        super().__init__(retries=0)
        self._stop = stop
        self.on = (clock.speed or 1.0) >= LOCK_STEP_SPEED
        clock.open = not self.on
        self.sweeps = 0
        self._clock = clock
        self._sent = 0
        self._answered = threading.Condition()

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        """Send, and count what was acknowledged."""
        response = super().handle_request(request)
        # Rows that are only told beside a batch come again in one of their own: they neither count nor move the clock.
        rows = json.loads(request.content)["rows"]
        if response.status_code == 200 and rows:
            if self.on:
                self._clock.publish(Stamp(**rows[-1]["stamp"]))
            with self._answered:
                self._sent += len(rows)
                self._answered.notify_all()
        return response

    def after_sweep(self, sweeps: int) -> None:
        """Look after each of the station's sweeps."""
        self.sweeps = sweeps
        if not self.on:
            return
        needed = (sweeps - max(LOCK_STEP_SWEEPS, round(LOCK_STEP_PART * sweeps))) * len(PROBES)
        with self._answered:
            # Without its service it goes on slowly: hours in a second would be a wrong clock, as the service sees it.
            self._answered.wait_for(lambda: self._sent >= needed, timeout=LOCK_STEP_WAIT_S)
        while (self._clock.held() or self._clock.stopped()) and not self._stop.wait(HELD_LOOK_S):
            pass


def _noisy(trace: Any, seed: int) -> Any:
    def play(t_s: float) -> float:
        # Cheap, repeatable and without memory: the same second gives the same noise after a restart.
        wobble = math.sin(t_s * 12.9898 + seed * 78.233) * 43758.5453
        return float(trace(t_s) + NOISE_C * 2 * (wobble - math.floor(wobble) - 0.5))

    return play


class DemoStopped(Exception):
    """The demo was ended before it was over."""


@dataclass(slots=True)
class Child:
    """One process of the demo, started again when it dies. Safe to use from two threads."""

    arguments: list[str]
    restart_after_s: float
    process: subprocess.Popen[bytes] | None = None
    died_at: float | None = None
    restarts: int = 0
    _ended: bool = False
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def start(self) -> None:
        """Start it, unless the demo has ended."""
        # One thread each for the arithmetic, as the units set it: two processes share two processors here.
        alone = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        with self._lock:
            if self._ended:
                return
            # In a group of its own: the terminal's Ctrl-C reaches the parent alone, which decides who stops when.
            self.process = subprocess.Popen(
                [sys.executable, "-m", "web.demo.demo", *self.arguments], env=alone, process_group=0
            )
            self.died_at = None

    def look(self) -> int | None:
        """Return its exit code when it has ended well; start it again when it has not."""
        if self.process is None:
            return None
        code = self.process.poll()
        if code is None or code == 0:
            return code
        if self.died_at is None:
            self.died_at = time.monotonic()
        elif time.monotonic() - self.died_at >= self.restart_after_s:
            self.restarts += 1
            self.start()
        return None

    def finished(self, stop: threading.Event) -> bool:
        """Wait until it has ended by itself; return whether it has ended well. Raises DemoStopped."""
        assert self.process is not None
        while self.process.poll() is None:
            if stop.wait(0.05):
                raise DemoStopped
        return self.process.returncode == 0

    def ask_to_stop(self) -> None:
        """Ask it to end; it is not started again."""
        with self._lock:
            self._ended = True
            if self.process is not None and self.process.poll() is None:
                self.process.terminate()

    def stop(self) -> None:
        """End it: at once, if it does not by itself. What it has acknowledged is on the disk."""
        self.ask_to_stop()
        if self.process is None:
            return
        try:
            self.process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


class Maker:
    """The invented maker at the office screen: drives the service through the same pages and API as anybody."""

    def __init__(
        self, folder: Path, port: int, client: httpx.Client | None = None, stop: threading.Event | None = None
    ) -> None:
        self._folder = folder
        self.client = client or httpx.Client(
            base_url=f"http://127.0.0.1:{port}", timeout=ANSWER_S, trust_env=False
        )
        self.password = secrets.token_urlsafe(9)
        #: Set when somebody ends the demo.
        self.stop = stop or threading.Event()
        #: Called between two tries of a call: who waits for the service must also be the one who starts it again.
        self.while_waiting: Callable[[], object] = lambda: None

    def wait_for_service(self, seconds: float = START_S) -> None:
        """Until the service answers. Raises DemoStopped."""
        until = time.monotonic() + seconds
        while True:
            try:
                self.client.get("/api/health").raise_for_status()
            except httpx.HTTPError as error:
                if time.monotonic() > until:
                    raise NotAllowed(
                        phrase(
                            "the service did not answer within {seconds} s: {error}",
                            seconds=round(seconds),
                            error=str(error),
                        )
                    ) from error
                self.while_waiting()
                self._wait(0.05)
            else:
                return

    def _wait(self, seconds: float) -> None:
        if self.stop.wait(seconds):
            raise DemoStopped

    def set_up(self) -> None:
        """Become the owner, and enrol the station."""
        code = (self._folder / "set-up-code").read_text(encoding="ascii")
        me = {"name": OWNER, "password": self.password}
        answer = self.send("POST", "/set-up", data=me | {"code": code})
        if answer.status_code != 303:
            # The answer that the first try had may have been lost.
            answer = self.send("POST", "/sign-in", data=me)
        if answer.status_code != 303:
            raise NotAllowed(
                phrase(
                    "the first set-up was refused ({status_code}): {text}",
                    status_code=answer.status_code,
                    text=answer.text[:200],
                )
            )
        (self._folder / "set-up-code").unlink()
        token = self.ask("POST", "/api/stations", {"name": STATION})["token"]
        token_file = self._folder / "station.token"
        token_file.touch(mode=0o600)
        token_file.write_text(token, encoding="ascii")

    def plan(self, scenario: Scenario) -> int:
        """Plan the pour and start it."""
        plan_toml = tomli_w.dumps(plan_from_table(scenario.plan).model_dump(exclude_none=True, mode="json"))
        pour = self.ask(
            "POST", "/api/pours", {"plan_toml": plan_toml, "client": scenario.client, "station": STATION}
        )
        pour_id = int(pour["id"])
        self.sign_all(pour_id)
        self.step(pour_id, "ready", "every point looked at")
        self.step(pour_id, "pouring", "first pail in")
        self.mix(pour_id, scenario)
        return pour_id

    def mix(self, pour_id: int, scenario: Scenario) -> None:
        """Weigh each pail as the card says, a little off as hands are, and note the lots."""
        from logger.planning.findings.mixing import cards_of

        plan = plan_from_table(scenario.plan)
        for card in cards_of(plan):
            each = card.each
            assert each.a_g is not None  # the demo's ratio has its densities
            assert each.b_g is not None
            for number in range(card.batches.count):
                weighed = {
                    "part_a": f"{each.a_g:.0f}",
                    "part_b": f"{each.b_g * (1.004 - 0.003 * number):.0f}",
                }
                answer = self.send("POST", f"/pours/{pour_id}/mix", data=weighed)
                if answer.is_error:
                    raise NotAllowed(
                        phrase(
                            "a batch was refused ({status_code}): {text}",
                            status_code=answer.status_code,
                            text=answer.text[:200],
                        )
                    )
            for part, lot, grams in ((card.part_a, "A-0417", each.a_g), (card.part_b, "B-0392", each.b_g)):
                kg = round(grams * card.batches.count / 1000, 3)
                self.ask(
                    "POST",
                    f"/api/pours/{pour_id}/lots",
                    {
                        "product": plan.resin.name,
                        "part": part,
                        "lot": lot,
                        "kg": kg,
                        "expires_on": "2027-06-30",
                    },
                )

    def report_outcome(self, pour_id: int, scenario: Scenario) -> None:
        """Tell what the invented maker found when the casting came out of its form."""
        address = f"/api/pours/{pour_id}"
        self.ask("POST", f"{address}/tests", {"what": "release", "value": "let go all around"})
        self.ask("POST", f"{address}/tests", {"what": "hardness", "value": scenario.hardness})
        self.ask("POST", f"{address}/outcome", dict(scenario.outcome))

    def sign_all(self, pour_id: int) -> None:
        """Every point of the plan is signed by as many of the invented persons as it asks for, with its photo."""
        address = f"/api/pours/{pour_id}"
        for point in self.ask("GET", f"{address}/ready")["points"]:
            if "photo" in point["evidence"]:
                about = {"text": f"{point['id']} (drawn by the demo)", "point": point["id"]}
                sent = {"photo": ("photo.png", _drawn_photo(), "image/png")}
                self.send("POST", f"{address}/photos", data=about, files=sent).raise_for_status()
            for person in (OWNER, SECOND)[: point["people"]]:
                self.ask("POST", f"{address}/ready/sign", {"point": point["id"], "person": person})
            if point["unknown"]:
                # No message leaves the demo, and its probes are played: that is said, not hidden.
                open_point = {"point": point["id"], "person": OWNER, "reason": "a demo: nobody is called"}
                self.ask("POST", f"{address}/ready/override", open_point)

    def plan_examples(self) -> None:
        """Two plans of another table: one with five mistakes, and the same mended."""
        for path in sorted(EXAMPLES.glob("*.toml")):
            plan = {"plan_toml": path.read_text(encoding="utf-8"), "client": "A client to be (invented)"}
            self.ask("POST", "/api/pours", plan)

    def attend(self, pour_id: int, to: str | None, text: str) -> bool:
        """Take the pour to its next stage, or look at the form; return whether that could be done."""
        if to is None:
            self.ask("POST", f"/api/pours/{pour_id}/looks", {"finding": "dry"})
        elif to == "curing":
            return self.end(pour_id, to, text)
        else:
            self.step(pour_id, to, text)
        return True

    def step(self, pour_id: int, to: str, text: str = "") -> None:
        """Take the pour to its next stage. A step whose answer was lost with the service is not made twice."""
        body = {"to": to, "text": text}
        for last in (False, False, True):
            if to in CONFIRMED:
                # Ten minutes of the demo's own time are over in a moment: it is asked for again.
                body["confirm"] = self.ask("GET", f"/api/pours/{pour_id}/ending?to={to}")["confirm"]
            try:
                self.ask("POST", f"/api/pours/{pour_id}/stage", body)
            except httpx.HTTPStatusError:
                if self.ask("GET", f"/api/pours/{pour_id}")["stage"] == to:
                    return
                if last or to not in CONFIRMED:
                    raise
            else:
                return

    def end(self, pour_id: int, to: str, text: str) -> bool:
        """Take a step that has to be confirmed; for what stands in the way and may be signed for, the invented maker
        signs. Return whether it was taken: nobody answers for a core that is seen to be hot.
        """
        ending = self.ask("GET", f"/api/pours/{pour_id}/ending?to={to}")
        if not all(obstacle["signable"] for obstacle in ending["obstacles"]):
            return False
        if not ending["may_end"]:
            reason = "Cold to the hand on all sides, three days after pouring."
            if to == "curing":
                reason = "Looked all round and below: dry, level, no smell."
            self.ask(
                "POST",
                f"/api/pours/{pour_id}/ending/exception",
                {"person": OWNER, "reason": reason, "to": to},
            )
        self.step(pour_id, to, text)
        return True

    def ask(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        """One call of the API. Raises DemoStopped."""
        answer = self.send(method, path, json=body)
        answer.raise_for_status()
        return answer.json()

    def send(self, method: str, path: str, **sent: Any) -> httpx.Response:
        """One request, tried again while the service is slow or being started again, and carried out once.

        Raises DemoStopped.
        """
        # The key says that it is the same one: of a pour whose answer was lost there is one, not two.
        headers = {"Idempotency-Key": f'"{uuid.uuid4()}"'} if method == "POST" else {}
        request = self.client.build_request(method, path, headers=headers, **sent)
        request.read()  # to the byte the same with every try
        for attempt in range(TRIES):
            if self.stop.is_set():
                raise DemoStopped
            try:
                answer = self.client.send(request)
            except httpx.TransportError:
                if attempt == TRIES - 1:
                    raise
                self.while_waiting()
            else:
                if answer.status_code != 409 or _kind_of(answer) != "being-done":
                    return answer
            self._wait(0.2)
        raise NotAllowed(
            phrase(
                "{method} {path} was still being carried out after {tries} tries",
                method=method,
                path=path,
                tries=TRIES,
            )
        )


def _kind_of(answer: httpx.Response) -> str:
    """Return the kind of an error's JSON, or nothing."""
    if "json" not in answer.headers.get("content-type", ""):
        return ""
    error = answer.json().get("error")
    return str(error["kind"]) if error else ""


def _drawn_photo() -> bytes:
    """Return a picture that stands for a photo: the invented workshop has no camera."""
    from PIL import Image  # large, and only here

    file = io.BytesIO()
    Image.new("RGB", (64, 48), "peru").save(file, "PNG")
    return file.getvalue()


def run_demo(
    scenario_name: str,
    *,
    speed: float,
    data: Path | None,
    port: int,
    exit_when_done: bool,
    restart_after_s: float = 2.0,
) -> int:
    """Run the whole demo. The last line printed is one JSON object; return the exit code."""
    scenario = SCENARIOS[scenario_name]
    hours = float(plan_from_table(scenario.plan).run.hours)
    folder = (data or Path(tempfile.mkdtemp(prefix="pourlog-demo-"))).resolve()
    if (folder / "clock").exists():
        held = phrase(
            "pourlog: {folder} holds an earlier demo; give another --data folder", folder=str(folder)
        )
        print(say(held), file=sys.stderr)
        return 2
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, lambda *_: stop.set())
    port = port or _free_port()
    make_folder(folder, speed, port)
    play = Play(scenario, speed, port, hours, folder, restart_after_s, stop)
    with ThreadPoolExecutor(1, thread_name_prefix="maker") as pool:
        # The invented maker waits for answers; this thread waits for whoever ends the demo.
        playing = pool.submit(play.run, examples=not exit_when_done)
        try:
            while not (playing.done() or stop.wait(0.1)):
                pass
            while not exit_when_done and playing.done() and not playing.exception() and not stop.wait(0.5):
                play.service.look()
        finally:
            stop.set()
            play.end()
    try:
        finished = playing.result()
    except DemoStopped:
        print(say(phrase("Ended before the pour was over.")), file=sys.stderr)
        return 1
    except httpx.HTTPError as error:
        raise NotAllowed(
            phrase("the demo's service did not do what it was asked: {error}", error=str(error))
        ) from error
    return 0 if finished else 1


def _show(text: str) -> None:
    print(say(text), flush=True)


@dataclass(slots=True)
class Play:
    """One demo: its processes and what the invented maker does."""

    scenario: Scenario
    speed: float
    port: int
    hours: float
    folder: Path
    restart_after_s: float
    stop: threading.Event
    service: Child = field(init=False)
    station: Child = field(init=False)
    trace: Child = field(init=False)

    def __post_init__(self) -> None:
        """Make the processes, which are not started yet."""
        folder, name = str(self.folder), self.scenario.name
        self.service = Child(["service", folder], self.restart_after_s)
        self.station = Child(["station", folder, name, str(self.hours)], self.restart_after_s)
        self.trace = Child(["trace", folder, name], self.restart_after_s)

    def run(self, *, examples: bool) -> bool:
        """Play it to its end; the last line printed is one JSON object. Raises DemoStopped, NotAllowed, HTTPError."""
        maker = Maker(self.folder, self.port, stop=self.stop)
        maker.while_waiting = self.service.look
        self.service.start()
        self.trace.start()  # while the service starts: only the station needs it
        maker.wait_for_service()
        maker.set_up()
        pour_id = maker.plan(self.scenario)
        if not self.trace.finished(self.stop):
            raise NotAllowed(phrase("what the probes would feel could not be worked out: see above"))
        clock = MappedClock(self.folder / "clock")
        clock.stop_at(_boot_ms(LOOKS_MIN[0] / 60))
        self.station.start()
        if examples:
            maker.plan_examples()
        # Only what is watched is shown: a board without a reading is rightly in trouble.
        while clock.stamp().boot_ms <= BOOT_MS and self.station.look() != 0:
            self.service.look()
            if self.stop.wait(0.05):
                raise DemoStopped
        self._introduce(maker, pour_id)
        if not _attend(maker, clock, pour_id, self.service, self.station, self.stop):
            raise DemoStopped
        summary = _finish(maker, pour_id, self.scenario, self.folder, self.service, self.station)
        print(json.dumps(summary, ensure_ascii=False), flush=True)
        return True

    def _introduce(self, maker: Maker, pour_id: int) -> None:
        scenario, hours = self.scenario, self.hours
        _show(
            phrase(
                "Scenario {name}: {what}. (Invented workshop, resin and client.)",
                name=repr(scenario.name),
                what=scenario.words,
            )
        )
        for happens in scenario.what_happens:
            _show(phrase("  - {what}", what=happens))
        hour_s = 3600 / self.speed
        _show(
            phrase(
                "One simulated hour takes {hour} s; {hours} h take {run} s.",
                hour=quantity(hour_s, "", None),
                hours=round(hours),
                run=round(hours * hour_s),
            )
        )
        board = f"http://127.0.0.1:{self.port}/"
        _show(phrase("The board:  {board}   the pour:  {pour}", board=board, pour=f"{board}pours/{pour_id}"))
        _show(
            phrase("Sign in as  {name}   with the password  {password}", name=OWNER, password=maker.password)
        )
        _show(phrase("Everything is kept in {folder}; Ctrl-C ends it.", folder=str(self.folder)))

    def end(self) -> None:
        """End its processes: those that send before the one that takes."""
        for child in (self.trace, self.station):
            child.stop()
        self.service.stop()


def _boot_ms(hour: float) -> int:
    """Return the simulated machine's time at an hour of the pour."""
    return BOOT_MS + round(hour * 3.6e6)


def _attend(
    maker: Maker,
    clock: MappedClock,
    pour_id: int,
    service: Child,
    station: Child,
    stop: threading.Event,
) -> bool:
    """Sit by the pour: take it from stage to stage, start what dies. True when the station has finished."""
    # Only then may a step be made; None: a look at the form.
    due: list[tuple[float, str | None, str]] = [(10 / 60, "watched", "form full and level")]
    due += [(minute / 60, None, "dry, level, no smell of heat") for minute in LOOKS_MIN]
    due += [(1.001, "curing", "no leak in the first hour")]
    due.sort(key=lambda step: step[0])
    while not stop.wait(0.05):
        service.look()
        hour = (clock.stamp().boot_ms - BOOT_MS) / 3.6e6
        while due and hour >= due[0][0]:
            _hour, to, text = due.pop(0)
            if not maker.attend(pour_id, to, text):
                due.append((hour + 1.0, to, text))  # once the core is no longer seen to be hot
            # No hour passes her while she writes: in the first one the time waits for her.
            clock.stop_at(_boot_ms(due[0][0]) if due and due[0][0] <= FIRST_HOUR_H else None)
        if station.look() == 0:
            for _hour, to, text in due:
                maker.attend(pour_id, to, text)
            return True
    return False


def _finish(
    maker: Maker, pour_id: int, scenario: Scenario, folder: Path, service: Child, station: Child
) -> dict[str, Any]:
    """Wait until everything is judged, release and close the pour, keep its record."""
    for _ in range(TRIES):
        state = maker.ask("GET", f"/api/pours/{pour_id}/progress")
        if state["to_judge"] == 0 or maker.stop.wait(0.05):
            break
    maker.end(pour_id, "released", "out of the form")
    maker.report_outcome(pour_id, scenario)
    maker.end(pour_id, "closed", "record complete")
    record = maker.ask("GET", f"/api/pours/{pour_id}/record")
    path = folder / f"record-{pour_id}.json"
    path.write_text(json.dumps(record, ensure_ascii=False, indent=1), encoding="utf-8")
    figures = record["figures"]
    return {
        "pour": pour_id,
        "sweeps": sum(int(line) for line in (folder / "sweeps").read_text(encoding="ascii").split()),
        "readings": figures["readings"],
        "faults": figures["faults"],
        "alarms": sorted({alarm["kind"] for alarm in record["alarms"]}),
        "high": sorted({alarm["kind"] for alarm in record["alarms"] if alarm["priority"] == "high"}),
        "core_peak_c": figures["core_peak_c"],
        "restarts": {"service": service.restarts, "station": station.restarts},
        "record": str(path),
    }


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _child(arguments: list[str]) -> int:
    log_in_english(os.environ.get("POURLOG_LOG", "ERROR"))
    if arguments[0] == "service":
        return run_service(Path(arguments[1]))
    if arguments[0] == "trace":
        write_trace(Path(arguments[1]) / "trace.csv", SCENARIOS[arguments[2]])
        return 0
    return run_bench_station(Path(arguments[1]), SCENARIOS[arguments[2]], float(arguments[3]))


if __name__ == "__main__":
    sys.exit(_child(sys.argv[1:]))
