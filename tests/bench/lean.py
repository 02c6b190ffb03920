"""Weighs station and service as their units start them, side by side in one run. Run by hand:

    python tests/bench/lean.py                  # about three minutes
    python tests/bench/lean.py --seconds 120

A workshop in a temporary folder: six probes every 5 s and six pins on the bench, a pour that has been live for an hour
(invented readings), the watch, and a forecast as soon as the service starts. Goals: station below 45 MB and 2 % of a
core; service below 130 MB with a forecast running; each started within 2 s. MB are 10⁶ bytes of resident memory.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

from hardware.bench.w1_files import scratchpad
from hardware.clock import Stamp, SystemClock
from logger.pour import Stage
from logger.settings import Settings
from logger.store import forecasts, pours, readings, stations
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from web.actions import pours as pour_actions
from web.service.service import Service

SYSTEMD = Path(__file__).parents[2] / "systemd"
PROBES = 6
PLACES = ("core", "core-2", "surface", "underside", "room", "room-2")
PINS = "[pins]\nlamp = 23\nbuzzer = 24\nfan = 25\nwet = 17\nacknowledge = 27\nfan_proof = 22\n"
PLAN = """
title = "Weighed (invented)"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 330
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[resin.limits]
max_depth_mm = 50
[pour]
shape = "river"
depth_mm = 40
width_mm = 250
length_mm = 1800
[air]
room_c = 21
top_w_m2k = 9
bottom_w_m2k = 7
side_w_m2k = 5
"""
SINCE_S = 3600


class Earlier:
    """The machine's clock as it was some time ago, in the same boot."""

    def __init__(self) -> None:
        self.ago_s = float(SINCE_S)

    def stamp(self) -> Stamp:
        """Then."""
        now, ago_ms = SystemClock().stamp(), round(self.ago_s * 1000)
        return Stamp(now.wall_ms - ago_ms, now.boot_id, now.boot_ms - ago_ms, True)


def started(unit: str, file: Path) -> tuple[list[str], dict[str, str]]:
    """A unit's command, with this interpreter and another configuration file; and its environment."""
    lines = (SYSTEMD / unit).read_text().splitlines()
    words = next(line for line in lines if line.startswith("ExecStart=")).removeprefix("ExecStart=").split()
    program = Path(words[0]).name
    bare = program.startswith("python")
    head = sys.executable if bare else str(Path(sys.executable).with_name(program))
    given = [
        word for line in lines if line.startswith("Environment=") for word in line.partition("=")[2].split()
    ]
    return [head, *words[1:-1], str(file)], {**os.environ, **dict(word.split("=", 1) for word in given)}


def prepare(folder: Path) -> str:
    """A service's folder with an hour of a live pour; gives the station's token."""
    clock = Earlier()
    service = Service.open(Settings(data_dir=str(folder / "data")), clock)
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, "bench-1", service.timeline.true_ms())
    pour = pour_actions.plan_pour(service, PLAN, "", "bench-1", "Ada")
    with service.store.write() as tx:
        for stage in (Stage.READY, Stage.POURING, Stage.WATCHED):
            pours.move_on(tx, pour, stage, "Ada", service.timeline)
    seq = 0
    for second in range(0, SINCE_S, 30):
        clock.ago_s = SINCE_S - second
        stamp, rows = clock.stamp(), []
        for number, place in enumerate(PLACES):
            seq += 1
            celsius = 21.0 + (second / 1800 if place.startswith("core") else 0.0)
            raw = scratchpad(celsius).hex()
            rows.append(
                WireReading(
                    f"28-{number:012x}", place, stamp, round(celsius * 1000), None, raw, None, seq=seq
                )
            )
        with service.store.write() as tx:
            station = stations.by_name(tx, "bench-1")
            readings.save_batch(
                tx, ReadingBatch(station.id, "spool-before", stamp, rows), service.timeline.true_ms()
            )
    service.close()
    return token


def megabytes(pid: int, field: str = "VmRSS") -> float:
    """Resident memory of a process, MB (10⁶ bytes)."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(f"{field}:"):
            return int(line.split()[1]) * 1024 / 1e6
    return 0.0


def cpu_s(pid: int) -> float:
    """Processor seconds of a process."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def written(pid: int) -> int:
    """Bytes that a process has handed to write()."""
    lines = Path(f"/proc/{pid}/io").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("wchar:"))


def workers(pid: int) -> list[int]:
    """Child processes of a process that are not the resource tracker."""
    found = []
    for path in Path(f"/proc/{pid}/task").glob("*/children"):
        found += [int(word) for word in path.read_text().split()]
    return [child for child in found if "resource_tracker" not in Path(f"/proc/{child}/cmdline").read_text()]


def until_healthy(url: str, since: float) -> float:
    """Seconds until the service answers."""
    while True:
        try:
            with urllib.request.urlopen(f"{url}/api/health", timeout=1) as answer:
                if answer.status == 200:
                    return time.monotonic() - since
        except OSError:
            time.sleep(0.02)


def yardstick_s() -> float:
    """Seconds that importing three libraries alone takes here and now: how slow this machine is at the moment."""
    began = time.monotonic()
    subprocess.run([sys.executable, "-c", "import fastapi, sqlmodel, numpy"], check=True)
    return time.monotonic() - began


def main() -> None:
    """Prints the figures."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seconds", type=float, default=60)
    seconds = asked.parse_args().seconds
    with (
        tempfile.TemporaryDirectory(prefix="pourlog-lean-") as name,
        socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd,
    ):
        folder = Path(name)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        url = f"http://127.0.0.1:{port}"
        token = prepare(folder)
        (folder / "service.toml").write_text(f'data_dir = "{folder / "data"}"\nport = {port}\n')
        probes = "".join(
            f'[[probe]]\nid = "28-{n:012x}"\nplace = "{PLACES[n]}"\nbench = "{22 + n}.3"\n'
            for n in range(PROBES)
        )
        (folder / "station.toml").write_text(
            f'name = "bench-1"\nservice_url = "{url}"\nhardware = "bench"\n{probes}{PINS}'
        )
        (folder / "station.token").write_text(token)
        print(f"yardstick: fastapi, sqlmodel, numpy {yardstick_s():7.2f} s     (a quiet desktop core: 0.4)")
        command, environ = started("pourlog-service.service", folder / "service.toml")
        began = time.monotonic()
        service = subprocess.Popen(command, env=environ, stdout=subprocess.DEVNULL)
        taken_s = until_healthy(url, began)
        print(
            f"service: start to first answer      {taken_s:7.2f} s     (goal < 2; processor {cpu_s(service.pid):.2f} s)"
        )
        systemd.bind(str(folder / "notify"))
        command, environ = started("pourlog-station.service", folder / "station.toml")
        began = time.monotonic()
        station = subprocess.Popen(command, env=environ | {"NOTIFY_SOCKET": str(folder / "notify")})
        while not systemd.recv(4096).startswith(b"READY=1"):
            pass
        # Somebody has to take the station's mail, as systemd would.
        threading.Thread(
            target=lambda: [None for _ in iter(lambda: systemd.recv(4096), b"")], daemon=True
        ).start()
        taken_s = time.monotonic() - began
        print(
            f"station: start to first sweep       {taken_s:7.2f} s     (goal < 2; processor {cpu_s(station.pid):.2f} s)"
        )
        service_peak = worker_peak = 0.0
        busy, made, until = 0, False, time.monotonic() + 240
        with socket.create_connection(("127.0.0.1", port)):
            while time.monotonic() < until and not made:
                children = workers(service.pid)
                if children:
                    busy += 1
                    service_peak = max(service_peak, megabytes(service.pid))
                    worker_peak = max(worker_peak, *(megabytes(child) for child in children))
                time.sleep(0.1)
                made = forecast_made(folder)
        time.sleep(3)
        cpu, wrote, at = cpu_s(station.pid), written(station.pid), time.monotonic()
        cpu_service, wrote_service, rows = cpu_s(service.pid), written(service.pid), stored(folder)
        time.sleep(seconds)
        taken_s, fresh = time.monotonic() - at, stored(folder) - rows
        at_s, of_s = megabytes(station.pid), megabytes(station.pid, "VmHWM")
        print(f"station: resident                   {at_s:7.1f} MB    (goal < 45; highest {of_s:.1f})")
        share = 100 * (cpu_s(station.pid) - cpu) / taken_s
        print(
            f"station: share of a core            {share:7.2f} %     (goal < 2; {fresh} readings in {taken_s:.0f} s)"
        )
        at_s, of_s = megabytes(service.pid), megabytes(service.pid, "VmHWM")
        print(f"service: resident, watching         {at_s:7.1f} MB    (goal < 130; highest {of_s:.1f})")
        print(
            f"service: while a forecast was made  {service_peak:7.1f} MB    (goal < 130; looked {busy} times)"
        )
        both = service_peak + worker_peak
        print(f"  its worker's own process          {worker_peak:7.1f} MB    (together {both:.1f})")
        share = 100 * (cpu_s(service.pid) - cpu_service) / taken_s
        print(f"service: share of a core, watching  {share:7.2f} %")
        for what, pid, before in (("station", station.pid, wrote), ("service", service.pid, wrote_service)):
            each = (written(pid) - before) / max(fresh, 1)
            # A pour's first hour at 5 s, the rest of the day at 30 s.
            first, later = (each * PROBES * sweeps / 1e6 for sweeps in (3600 / 5 + 82_800 / 30, 2880))
            print(f"{what}: card writes                {each:7.0f} bytes a reading")
            print(f"  a pour's first day, a later one   {first:7.0f} {later:.0f} MB")
        for process in (station, service):
            process.send_signal(signal.SIGTERM)
            process.wait(30)
        print(json.dumps({"forecast_made": made}))


def forecast_made(folder: Path) -> bool:
    """Whether the service has kept a forecast."""
    return bool(_count(folder, str(forecasts.FORECAST.name)))


def stored(folder: Path) -> int:
    """Readings that the service has."""
    return _count(folder, "reading")


def _count(folder: Path, table: str) -> int:
    database = sqlite3.connect(f"file:{folder / 'data' / 'pourlog.sqlite3'}?mode=ro", uri=True)
    try:
        return int(database.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
    finally:
        database.close()


if __name__ == "__main__":
    main()
