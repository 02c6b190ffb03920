"""Forks stations and services on demand, so that a killed one is there again in a moment. Run by kills.py.

    python nursery.py FOLDER < words

Each line read is `service` or `station`; the process id of what was started is written back. What is started is what
`pourlog serve` and `pourlog station` run: only the clock is simulated, the probes are the bench's, and no forecasts
are made, since when one is ready depends on the machine's speed and not on the pour. The process for heavy work is
there all the same, and always busy: it must be gone when its service is.
"""

from __future__ import annotations

import logging
import math
import os
import signal
import sqlite3
import sys
import threading
import time
from concurrent.futures import BrokenExecutor
from contextlib import suppress
from pathlib import Path

import apprise
import httpx

from hardware.bench.mapped_clock import MappedClock, MovingClock
from hardware.bench.station import Bench
from hardware.bench.trace import Trace
from hardware.clock import Stamp
from logger.daemon.main import RunMode, run_station
from logger.daemon.station_file import station_from_file
from logger.live.forecaster import Forecaster
from logger.live.schedule import Pace
from logger.settings import read_settings
from web.demo.demo import BOOT_MS, POURED_AT_MS, PROBES
from web.security.setup_code import new_setup_code
from web.server.lazy_routes import the_rest
from web.server.serve import serve
from web.service.service import Service

assert apprise, "loaded here, once"

#: How often the station looks whether the service has judged and sent everything, s of real time.
LOOK_S = 0.004


def core_c(t_s: float) -> float:
    """Invented: over the limit of 60 °C and back, every 50 minutes."""
    return 45.0 + 20.0 * math.sin(t_s / 3000 * 2 * math.pi - 1.2)


def room_c(t_s: float) -> float:
    """Invented: the heating goes off and on, every two hours."""
    return 18.0 + 6.0 * math.cos(t_s / 7200 * 2 * math.pi)


TRACES: dict[str, Trace] = {
    PROBES["core"]: core_c,
    PROBES["surface"]: lambda t_s: core_c(t_s) - 3,
    PROBES["underside"]: lambda t_s: core_c(t_s) - 4,
    PROBES["room"]: room_c,
}


def run_service(folder: Path) -> None:
    """The service until it is killed."""
    # The worker would import this script, all of the service with it, and a killed service is gone before that.
    del sys.modules["__main__"].__file__
    Forecaster.run = _work  # type: ignore[method-assign]
    clock = MappedClock(folder / "clock")
    service = Service.open(read_settings(folder / "settings.toml"), clock)
    service.pace = Pace(speed=clock.speed)
    code = new_setup_code(service)
    if code is not None:
        (folder / "set-up-code").write_text(code, encoding="ascii")
    serve(service)


def _work(self: Forecaster, _stop: threading.Event) -> None:
    with suppress(BrokenExecutor):
        self._compute(time.sleep, 3600)


def run_bench(folder: Path, hours: float) -> None:
    """The station until it is killed, or its hours are over. The simulated time waits for the service."""
    config = station_from_file(folder / "station.toml")
    clock = MovingClock(folder / "clock")
    clock.advance(1.0)  # to start takes a moment, and no moment comes twice
    database = f"file:{folder / 'service' / 'pourlog.sqlite3'}?mode=ro"
    never = threading.Event()

    def after_sweep(_sweeps: int) -> None:
        while not settled(database, clock.stamp().boot_ms):
            never.wait(LOOK_S)

    # In the pour's own folder: a killed process tidies up nothing.
    bench = Bench(config.wiring, clock, folder / "bench", TRACES)
    bench.started = Stamp(POURED_AT_MS, clock.stamp().boot_id, BOOT_MS, True)
    left_s = hours * 3600 - (clock.stamp().boot_ms - BOOT_MS) / 1000
    run_station(
        config,
        bench.hardware,
        clock,
        threading.Event(),
        RunMode(
            transport=httpx.HTTPTransport(),
            end_after_s=left_s,
            obey_period=False,
            linger_s=0.0,
            after_sweep=after_sweep,
        ),
    )
    (folder / "done").touch()


def settled(database: str, boot_ms: int) -> bool:
    """Whether the newest sweep is stored and judged, and nothing that is due waits to be sent."""
    try:
        connection = sqlite3.connect(database, uri=True)
        try:
            (newest, last_boot_ms), (judged,), (due,) = (
                connection.execute(text).fetchone()
                for text in (
                    "SELECT id, boot_ms FROM reading ORDER BY id DESC LIMIT 1",
                    "SELECT judged_reading_id FROM pour",
                    "SELECT count(*) FROM outbox, boot WHERE boot.station_id IS NULL AND state = 'waiting' "
                    f"AND next_try_ms <= {boot_ms} + steady_offset_ms",
                )
            )
        finally:
            connection.close()
    except (sqlite3.Error, TypeError):
        return False
    return bool(last_boot_ms == boot_ms and judged == newest and due == 0)


def main(folder: Path, hours: float) -> None:
    """Starts what is asked for."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    the_rest()  # the pages' modules, which a service loads a moment after its start: here, once
    for line in sys.stdin:
        child = os.fork()
        if child:
            sys.stdout.write(f"{child}\n")
            sys.stdout.flush()
            continue
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        sys.stdin.close()
        logging.basicConfig(filename=folder / f"{line.strip()}.log", level="WARNING", force=True)
        try:
            if line.strip() == "service":
                run_service(folder)
            else:
                run_bench(folder, hours)
        except BaseException:
            logging.getLogger("nursery").exception("%s failed", line.strip())
            os._exit(1)
        os._exit(0)


if __name__ == "__main__":
    main(Path(sys.argv[1]), float(sys.argv[2]))
