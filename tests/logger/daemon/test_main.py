"""The daemon as a whole, on the bench: a pour in a second, clocks that jump, services that go away, stops."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import pairwise
from pathlib import Path
from typing import Any

import httpx
import pytest

from hardware.bench.clock import SteppedClock
from hardware.bench.pins import BenchPins
from hardware.bench.station import Bench, FaultWindow, Misbehaviour
from hardware.bench.trace import steady, through
from hardware.bench.w1_files import Misreading
from hardware.errors import BadTrace, HardwareMissing
from hardware.pins import Pins
from logger.daemon.main import RunMode, StationConfig, open_hardware, relay_safe, run_station
from logger.daemon.supervise import Supervisor
from logger.errors import BadSettings

CORE, ROOM = "28-0000000000a1", "28-0000000000b2"
TRACES = {CORE: through([(0, 20), (20_000, 90), (100_000, 24)]), ROOM: steady(20.0)}


def run(
    config: StationConfig,
    service: Any,
    tmp_path: Path,
    *,
    clock: SteppedClock | None = None,
    hours: float = 1.0,
    bench: Bench | None = None,
    supervisor: Any = None,
    **options: Any,
) -> int:
    """A run in lock-step, as fast as the machine goes."""
    clock = clock or SteppedClock()
    bench = bench or Bench(config.wiring, clock, tmp_path / "bench", TRACES)
    return run_station(
        config,
        bench.hardware,
        clock,
        threading.Event(),
        RunMode(transport=service.transport(), end_after_s=hours * 3600, **options),
        supervisor,
    )


def test_a_pour_of_three_hours_is_complete_exact_and_in_order(
    config: Any, service: Any, tmp_path: Path
) -> None:
    """721 sweeps in the first hour (both ends), 240 in the next two; each at its moment, from true files."""
    assert run(config, service, tmp_path, hours=3, obey_period=False) == 0
    core = [service.rows[key] for key in service.order if service.rows[key]["probe"] == CORE]
    ages = [(found["stamp"]["boot_ms"] - core[0]["stamp"]["boot_ms"]) / 1000 for found in core]
    assert ages == [5.0 * n for n in range(721)] + [3600 + 30.0 * n for n in range(1, 241)]
    for age_s, found in zip(ages, core, strict=True):
        assert abs(found["milli_c"] / 1000 + 0.25 - TRACES[CORE](age_s)) <= 1 / 32 + 0.001
    assert [seq for _, seq in service.order] == list(range(1, len(service.order) + 1))


def test_killing_the_service_for_a_while_loses_nothing(config: Any, service: Any, tmp_path: Path) -> None:
    """Stored rows equal sweeps times probes, though the service was away for most of the run."""
    sweeps = []

    def away(done: int) -> None:
        sweeps.append(done)
        service.away = 50 < done < 600

    run(config, service, tmp_path, obey_period=False, after_sweep=away)
    assert len(service.rows) == 2 * len(sweeps) == 2 * 721
    assert [seq for _, seq in service.order] == list(range(1, 2 * 721 + 1))


def test_a_dead_probe_gives_faults_and_never_a_temperature(config: Any, service: Any, tmp_path: Path) -> None:
    """Pulled for ten minutes: 120 faults at its place, the room's readings untouched, then temperatures again."""
    clock = SteppedClock()
    window = FaultWindow(CORE, 600, 1200, Misreading.PULLED)
    bench = Bench(config.wiring, clock, tmp_path / "bench", TRACES, misbehaviour=Misbehaviour([window]))
    run(config, service, tmp_path, clock=clock, bench=bench, obey_period=False)
    faults = [found for found in service.rows.values() if found["fault"]]
    assert len(faults) == 120
    assert {(found["probe"], found["milli_c"]) for found in faults} == {(CORE, None)}


def test_what_cannot_be_sent_is_sent_by_the_next_start(config: Any, service: Any, tmp_path: Path) -> None:
    """The service is away for the whole first run; the second run, in another boot, sends both, in order."""
    service.away = True
    clock = SteppedClock()
    bench = Bench(config.wiring, clock, tmp_path / "one", TRACES)
    run(config, service, tmp_path, clock=clock, bench=bench, hours=0.1)
    service.away = False
    clock.reboot("second-boot", gap_s=1200, lost_s=1200, clock_set=False)
    bench = Bench(config.wiring, clock, tmp_path / "two", TRACES)
    run(config, service, tmp_path, clock=clock, bench=bench, hours=0.1)
    boots = [service.rows[key]["stamp"]["boot_id"] for key in service.order]
    assert len(boots) == 2 * 2 * 73
    assert boots == sorted(boots, key=["second-boot"].__contains__)
    assert not service.rows[service.order[-1]]["stamp"]["clock_set"]


def test_a_wall_clock_that_jumps_changes_no_age_and_no_period(
    config: Any, service: Any, tmp_path: Path
) -> None:
    """Set three months forward, then an hour back, in the middle of a pour: boot time goes on by 5 s each."""
    clock = SteppedClock(clock_set=False)

    def jump(done: int) -> None:
        if done == 100:
            clock.step_wall(90 * 86_400)
        elif done == 200:
            clock.step_wall(-3600)

    run(config, service, tmp_path, clock=clock, obey_period=False, after_sweep=jump)
    core = [service.rows[key]["stamp"] for key in service.order if service.rows[key]["probe"] == CORE]
    steps = {later["boot_ms"] - earlier["boot_ms"] for earlier, later in pairwise(core)}
    assert steps == {5000}
    assert [stamp["clock_set"] for stamp in core].index(True) == 100
    walls = [later["wall_ms"] - earlier["wall_ms"] for earlier, later in pairwise(core)]
    assert (max(walls), min(walls)) == (90 * 86_400_000 + 5000, -3_595_000)


def test_the_service_orders_the_period(config: Any, service: Any, tmp_path: Path) -> None:
    """It knows when the pour began; a station that was started the day before does not."""
    service.answer["next_s"] = 60
    heard = threading.Event()
    clock = SteppedClock()

    def wait_for_the_answer(done: int) -> None:
        # The forwarder runs beside: only here does the first sweep wait for what it hears.
        if done == 1:
            assert heard.wait(10)

    def tell(request: httpx.Request) -> httpx.Response:
        answer = service(request)
        if len(service.requests) > 1:
            heard.set()
        return answer

    bench = Bench(config.wiring, clock, tmp_path / "bench", TRACES)
    run_station(
        config,
        bench.hardware,
        clock,
        threading.Event(),
        RunMode(transport=httpx.MockTransport(tell), end_after_s=3600, after_sweep=wait_for_the_answer),
    )
    room = sorted(found["stamp"]["boot_ms"] for found in service.rows.values() if found["probe"] == ROOM)
    # Later answers may lag behind a clock that does not wait: the order counts for a quarter of an hour.
    assert [later - earlier for earlier, later in pairwise(room)][:15] == [60_000] * 15


def test_lamp_and_buzzer_work_without_any_service(config: Any, service: Any, tmp_path: Path) -> None:
    """A core at 99 °C, a service that never answers: the lamp is lit in the second sweep, and off after the end."""
    service.away = True
    wiring = replace(config.wiring, pins=Pins(lamp=23, buzzer=24))
    clock = SteppedClock()
    bench = Bench(wiring, clock, tmp_path / "bench", {CORE: steady(99.5), ROOM: steady(20.0)})
    pins = bench.pins
    assert pins is not None
    seen = []
    run(
        replace(config, wiring=wiring),
        service,
        tmp_path,
        clock=clock,
        bench=bench,
        hours=0.01,
        after_sweep=lambda _done: seen.append((pins.pin(23).state, pins.pin(24).state)),
        drain_s=0,
    )
    assert seen[:3] == [(False, False), (True, True), (True, True)]
    assert pins.pin(23).state is False


def test_a_wet_contact_reaches_the_service(config: Any, service: Any, tmp_path: Path) -> None:
    """Dry at the start, wet at the tenth sweep, each a row with its moment."""
    wiring = replace(config.wiring, pins=Pins(wet=17, acknowledge=27))
    clock = SteppedClock()
    bench = Bench(wiring, clock, tmp_path / "bench", TRACES)
    contacts = bench.contacts
    assert contacts is not None

    def spill(done: int) -> None:
        if done == 10:
            contacts.set("wet", True)

    run(config, service, tmp_path, clock=clock, bench=bench, hours=0.1, after_sweep=spill)
    found = [row for row in service.rows.values() if row["probe"] == "wet-contact"]
    assert [(row["note"], row["place"], row["milli_c"], row["fault"]) for row in found] == [
        ("dry", "under-form", None, None),
        ("wet", "under-form", None, None),
    ]
    assert found[1]["stamp"]["boot_ms"] - found[0]["stamp"]["boot_ms"] == 45_000


class Ears(Supervisor):
    """Counts what systemd would hear."""

    def __init__(self, watchdog_s: float | None = None) -> None:
        super().__init__({})
        self.watchdog_s = watchdog_s
        self.said: list[str] = []

    def _say(self, text: str) -> None:
        self.said.append(text.partition("\n")[0])


def test_a_dead_probe_does_not_stop_the_watchdogs_food(config: Any, service: Any, tmp_path: Path) -> None:
    """Otherwise systemd would restart the station for ever; READY comes before the first WATCHDOG."""
    clock = SteppedClock()
    dead = [FaultWindow(probe, 0, 1e9, Misreading.ALL_ZERO) for probe in (CORE, ROOM)]
    bench = Bench(config.wiring, clock, tmp_path / "bench", TRACES, misbehaviour=Misbehaviour(dead))
    ears = Ears()
    run(config, service, tmp_path, clock=clock, bench=bench, hours=0.1, supervisor=ears)
    assert ears.said == ["READY=1", *["WATCHDOG=1"] * 73, "STOPPING=1"]


def test_a_stuck_read_starves_the_watchdog(
    config: Any, service: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The read never comes back: READY, but no WATCHDOG, not even while waiting for the next sweep."""
    monkeypatch.setattr("logger.daemon.sample.DEADLINE_S", 0.02)
    monkeypatch.setattr("logger.daemon.sample.PROBE_DEADLINE_S", 0.0)
    clock = SteppedClock()
    bench = Bench(config.wiring, clock, tmp_path / "bench", TRACES)
    file = bench.files.folder / CORE / "w1_slave"
    monkeypatch.setattr(bench.files, "show", lambda *_args: None)
    file.unlink()
    os.mkfifo(file)
    ears = Ears(watchdog_s=3.0)
    run(config, service, tmp_path, clock=clock, bench=bench, hours=0.01, supervisor=ears)
    assert ears.said == ["READY=1", "STOPPING=1"]
    assert {found["fault"] for found in service.rows.values()} == {"stuck-read"}
    # Lets the stuck thread end.
    file.open("w").close()


def test_long_periods_still_feed_the_watchdog(config: Any, service: Any, tmp_path: Path) -> None:
    """Sweeps every 600 s under a watchdog of 120 s: fed at least every 40 s by the loop that waits."""
    periods = replace(config.periods, first_hour_s=600.0)
    ears = Ears(watchdog_s=120.0)
    run(replace(config, periods=periods), service, tmp_path, supervisor=ears, obey_period=False)
    assert ears.said.count("WATCHDOG=1") >= 3600 / 40


def test_a_full_disk_is_told_with_the_rows(config: Any, service: Any, tmp_path: Path) -> None:
    """The spool cannot be opened at all: every row still arrives, with the reason."""
    config.spool_file.mkdir()
    run(config, service, tmp_path, hours=0.1, obey_period=False)
    assert len(service.rows) == 2 * 73
    assert all("held in memory only" in found["note"] for found in service.rows.values())


def test_a_bench_without_traces_is_refused_and_a_pi_is_never_a_bench(config: Any, tmp_path: Path) -> None:
    """No invented temperatures."""
    (probe, *others) = config.wiring.probes
    bare = replace(config, wiring=replace(config.wiring, probes=(replace(probe, bench=None), *others)))
    with pytest.raises(BadSettings, match='hardware = "bench" needs a trace for each probe'):
        open_hardware(bare, SteppedClock(), tmp_path)
    wrong = replace(config, wiring=replace(config.wiring, probes=(replace(probe, bench="gone.csv:core"),)))
    with pytest.raises(BadTrace, match=r"gone\.csv"):
        open_hardware(wrong, SteppedClock(), tmp_path)
    on_pi = replace(config, wiring=replace(config.wiring, hardware="pi"))
    (bus,) = open_hardware(on_pi, SteppedClock(), tmp_path).buses
    assert type(bus).__name__ == "W1Bus"


def test_pins_that_fail_are_told_and_tried_again_while_the_thermometers_go_on(
    config: Any, service: Any, tmp_path: Path
) -> None:
    """The lamp's pin is taken for five minutes: each health says so, then that all is well, and no row is lost."""
    wired = replace(config, wiring=replace(config.wiring, pins=Pins(lamp=23, wet=17)))
    clock = SteppedClock()
    bench = Bench(wired.wiring, clock, tmp_path / "bench", TRACES)
    assert bench.pins is not None
    bench.hardware.close()
    bench.pins.broken[23] = OSError(16, "Device or resource busy")
    bench.hardware.mend_pins()

    def mend(done: int) -> None:
        if done == 60:
            bench.pins.broken.clear()

    service.answer = {**service.answer, "lamp": True}
    run(wired, service, tmp_path, clock=clock, bench=bench, hours=0.25, after_sweep=mend, obey_period=False)
    told = [json.loads(request.content).get("health") for request in service.requests]
    faults = [health["pin_faults"] for health in told if health is not None]
    assert faults[0] == "lamp (GPIO 23): Device or resource busy"
    assert faults[-1] == ""
    assert faults == sorted(faults, reverse=True), "told until it was mended, and not after"
    assert sum(row["probe"] == CORE for row in service.rows.values()) == 181
    assert True in [at.state for at in bench.pins.pin(23).states], (
        "the order that stood is carried out once the pin works"
    )


def test_a_pin_that_fails_in_the_forwarders_thread_stops_no_batch(
    config: Any, service: Any, tmp_path: Path
) -> None:
    """The service orders the fan on with its answer; the pin fails just then."""
    wired = replace(config, wiring=replace(config.wiring, pins=Pins(fan=25)))
    clock = SteppedClock()
    bench = Bench(wired.wiring, clock, tmp_path / "bench", TRACES)
    assert bench.pins is not None
    bench.pins.broken[25] = RuntimeError("a driver's own")
    service.answer = {**service.answer, "fan": True}
    run(wired, service, tmp_path, clock=clock, bench=bench, hours=0.1, obey_period=False)
    assert sum(row["probe"] == CORE for row in service.rows.values()) == 73
    assert bench.hardware.pin_faults == {"fan": "fan (GPIO 25): a driver's own"}


def test_relay_safe_switches_off_what_it_can_and_names_what_it_cannot(tmp_path: Path) -> None:
    """After a station that was killed with everything on."""
    file = tmp_path / "station.toml"
    file.write_text(
        'name = "b"\nservice_url = "http://x:1"\nhardware = "pi"\n'
        "[pins]\nlamp = 23\nfan = 25\nfan_active_high = false\n"
        f'[[probe]]\nid = "{CORE}"\nplace = "core"\n'
    )
    pins = BenchPins(SteppedClock())
    assert relay_safe(file, lambda: pins) == 0
    assert (pins.pin(23).state, pins.pin(25).state) == (False, True)
    pins.broken[23] = OSError(16, "Device or resource busy")
    with pytest.raises(
        HardwareMissing, match=r"not switched off: lamp \(GPIO 23\): Device or resource busy$"
    ):
        relay_safe(file, lambda: pins)
    assert pins.pin(25).state is True


def test_relay_safe_has_nothing_to_do_on_a_bench(station_file: Path) -> None:
    """The command of ExecStopPost ends well where there is no relay."""
    assert relay_safe(station_file) == 0


class LoopbackService(ThreadingHTTPServer):
    """The fake service behind a real socket."""

    def __init__(self, address: tuple[str, int], service: Any) -> None:
        self.allow_reuse_address = True
        self.service = service
        super().__init__(address, LoopbackHandler)


class LoopbackHandler(BaseHTTPRequestHandler):
    """Hands requests to the fake service."""

    server: LoopbackService
    protocol_version = "HTTP/1.1"

    def do_POST(self) -> None:
        content = self.rfile.read(int(self.headers["Content-Length"]))
        response = self.server.service(httpx.Request("POST", f"http://x{self.path}", content=content))
        self.send_response(response.status_code)
        self.send_header("Content-Length", str(len(response.content)))
        self.end_headers()
        self.wfile.write(response.content)

    def log_message(self, *args: Any) -> None:
        pass


#: As the unit starts it.
DAEMON = [sys.executable, "-m", "logger.daemon"]


def test_the_units_command_refuses_as_the_documented_one_does(tmp_path: Path) -> None:
    """Exit code 2 and one line for a station file that is not there, and for a word that is no act."""
    for arguments, said in (
        (["station", str(tmp_path / "gone.toml")], "gone.toml"),
        (["stations"], "relay-safe"),
    ):
        ran = subprocess.run([*DAEMON, *arguments], capture_output=True, text=True, check=False)
        assert ran.returncode == 2
        assert said in ran.stderr
        assert "Traceback" not in ran.stderr


def test_the_real_process_under_a_notify_socket_sends_and_stops_on_sigterm(
    station_file: Path, service: Any, tmp_path: Path
) -> None:
    """The station as systemd runs it: READY, WATCHDOG, rows over a real socket, SIGTERM, STOPPING, exit 0."""
    with (
        LoopbackService(("127.0.0.1", 0), service) as server,
        socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd,
    ):
        threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True).start()
        systemd.bind(str(tmp_path / "notify"))
        systemd.settimeout(20)
        text = station_file.read_text().replace("service.invalid:8080", f"127.0.0.1:{server.server_port}")
        station_file.write_text(text + "[periods]\nfirst_hour_s = 1\n")
        environ = {**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "3000000"}
        with subprocess.Popen([*DAEMON, "station", str(station_file)], env=environ) as daemon:
            said = [systemd.recv(4096).decode() for _ in range(4)]
            daemon.send_signal(signal.SIGTERM)
            while "STOPPING=1" not in said:
                said.append(systemd.recv(4096).decode())
            assert daemon.wait(10) == 0
        server.shutdown()
    assert said[0].startswith("READY=1")
    assert said[1].startswith("WATCHDOG=1")
    assert {found["milli_c"] for found in service.rows.values()} == {21_250, 20_000}
    assert all(found["stamp"]["boot_id"] for found in service.rows.values())


def test_the_daemon_stays_lean() -> None:
    """Nothing of the service's weight is loaded by importing it, and importing it starts nothing."""
    script = (
        "import sys, threading, json; import logger.daemon.__main__;"
        "print(json.dumps([sorted(sys.modules), threading.active_count()]))"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    modules, threads = json.loads(ran.stdout)
    heavy = {
        "pydantic",
        "sqlalchemy",
        "numpy",
        "httpx",
        "gpiod",
        "gpiozero",
        "w1thermsensor",
        "rich",
        "typer",
        "logger.store",
    }
    assert heavy.isdisjoint(modules)
    assert threads == 1
