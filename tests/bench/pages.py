"""How soon the pour page shows its answer in Chromium, with 72 h of six probes read every 5 s behind it. Run by hand:

    python tests/bench/pages.py [--runs 5] [--folder FOLDER]

A service in a process of its own on a loopback port, a database of 311,040 invented readings put in by plain SQL
(without the chain's hashes, which would take minutes), and a headless Chromium. "Cold": the service has just said that
it listens, and the browser has an empty cache. "Cached": the same browser comes back. "Useful": state, sentence and
temperatures are painted. "Chart": the measured curve is drawn as well. With --folder the database is used again.
"""

from __future__ import annotations

import argparse
import math
import os
import signal
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import httpx
import numpy as np
import tomli_w
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from hardware.clock import SystemClock
from logger.live.forecaster import ForecastTask, work_out
from logger.planning.examples import EXAMPLES
from logger.pour import Stage
from logger.record.downsample import thin
from logger.record.figures import Place
from logger.settings import Settings
from logger.store import forecasts, people, pours, stations
from web.actions import pours as pour_actions
from web.security.access import COOKIE
from web.service.service import Service

HOURS, STEP_S = 72.0, 5.0
#: Place → (start, rise) °C of the invented curves.
PLACES = {"core": (21, 34), "core-2": (21, 33), "core-3": (21, 31), "surface": (21, 19), "underside": (21, 14),
          "room": (20, 1)}  # fmt: skip
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
INSERT = """
INSERT INTO reading (station_id, spool, seq, pour_id, probe, place, boot, boot_ms, wall_ms, clock_set, milli_c, raw,
                     late, received_ms, link)
VALUES (1, 'be0c0000-0000-4000-8000-000000000003', ?, 1, ?, ?, 99, ?, ?, 1, ?, '57014b467fff0c10ab', 0, ?, ?)
"""
PROBE = """
INSERT INTO probe (station_id, rom, place, first_seen_ms, last_good_ms, last_milli_c, readings, faults)
VALUES (1, ?, ?, ?, ?, ?, ?, 0)
"""
#: Gives the first contentful paint, and when the chart was drawn with what was measured; ms after the navigation began.
PAINTED = """() => new Promise((done) => {
  const chart = document.getElementById('curve');
  const first = () => performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null;
  const look = () => {
    if (!Number(chart.dataset.measured)) { setTimeout(look, 4); return; }
    requestAnimationFrame(() => setTimeout(() => done([first(), performance.now()])));
  };
  look();
})"""


def celsius(place: str, hour: float) -> float:
    """An invented course: up to a peak at 14 h and down again."""
    start, rise = PLACES[place]
    return (
        start
        + rise * math.exp(-((math.log(max(hour, 1e-3) / 14.0) / 0.6) ** 2))
        + 0.05 * math.sin(997 * hour)
    )


def fill(folder: Path) -> str:
    """A live pour of 72 h with its readings and a forecast. Gives a token that signs somebody in."""
    service = Service.open(Settings(data_dir=str(folder)), SystemClock())
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        stations.enrol(tx, "bench-1", now_ms)
        person = people.add_person(tx, "Ada", people.Role.OWNER, "not a hash", now_ms)
        token = people.start_sign_in(tx, person, now_ms, "bench")
    plan_toml = (EXAMPLES / "wharf-lane-ready.toml").read_text(encoding="utf-8")
    pour = pour_actions.plan_pour(service, plan_toml, "A client (invented)", "bench-1", "Ada")
    for stage in (Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING):
        with service.store.write() as tx:
            pours.move_on(tx, pour, stage, "Ada", service.timeline)
    sweeps = round(HOURS * 3600 / STEP_S)
    hours = np.arange(sweeps) * STEP_S / 3600
    history = {
        place: Place(hours[::120], np.array([celsius(place, h) for h in hours[::120]])) for place in PLACES
    }
    body = work_out(ForecastTask(plan_toml, history, HOURS - 0.01, pour))
    with service.store.write() as tx:
        forecasts.add_forecast(tx, pour, HOURS - 0.01, now_ms, body)
    service.close()
    put_in(folder / "pourlog.sqlite3", now_ms, sweeps)
    return token


def milli_c(place: str, sweep: int) -> int:
    """What a probe reads in a sweep."""
    return round(1000 * celsius(place, sweep * STEP_S / 3600))


def put_in(path: Path, now_ms: int, sweeps: int) -> None:
    """The readings, and a pour that began so long ago."""
    first_ms = now_ms - round(HOURS * 3.6e6)
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA synchronous=OFF")
        database.execute(
            "INSERT INTO boot (id, station_id, boot_id, offset_ms, clock_set) VALUES (99, 1, 'b', 0, 1)"
        )
        rows = (
            (6 * i + n, f"28-00000000000{n}", place, at_ms, at_ms, milli_c(place, i), at_ms, "00" * 32)
            for i in range(sweeps)
            for at_ms in (first_ms + round(i * 1000 * STEP_S),)
            for n, place in enumerate(PLACES, start=1)
        )
        database.executemany(INSERT, rows)
        for n, place in enumerate(PLACES, start=1):
            last = round(1000 * celsius(place, HOURS))
            database.execute(
                PROBE, (f"28-00000000000{n}", place, now_ms - round(HOURS * 3.6e6), now_ms, last, sweeps)
            )
        database.execute(
            "UPDATE pour SET poured_boot_ms = poured_boot_ms - ?, judged_reading_id = ?",
            (round(HOURS * 3.6e6), 6 * sweeps),
        )
        database.commit()


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """The service in a process of its own; gives its address once it answers."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    settings = folder / "settings.toml"
    settings.write_text(tomli_w.dumps({"data_dir": str(folder), "port": port}), encoding="utf-8")
    address = f"http://127.0.0.1:{port}"
    command = [sys.executable, "-m", "web.command", "serve", str(settings)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
        try:
            with httpx.Client(trust_env=False) as client:
                while True:
                    try:
                        client.get(f"{address}/api/health").raise_for_status()
                        break
                    except httpx.TransportError:
                        time.sleep(0.01)
            yield address
        finally:
            process.send_signal(signal.SIGTERM)


def context_of(browser: Browser, address: str, token: str, outside: list[str]) -> BrowserContext:
    """A browser with an empty cache in which somebody is signed in; every request that leaves is noted."""
    context = browser.new_context(viewport={"width": 1440, "height": 900}, base_url=address)
    context.add_cookies([{"name": COOKIE, "value": token, "url": address}])
    context.on("request", lambda asked: None if asked.url.startswith(address) else outside.append(asked.url))
    return context


def shown(page: Page) -> tuple[float, float]:
    """Loads the pour page: ms to its answer, and to its measured curve."""
    page.goto("/pours/1", wait_until="commit")
    page.wait_for_selector("#curve", state="attached")
    first, chart = page.evaluate(PAINTED)
    assert "core" in page.locator("#now").inner_text().lower()
    return float(first), float(chart)


def data(address: str, token: str) -> tuple[float, float, int, int]:
    """Chart data: ms the first time and later (with the connection's own), bytes plain and compressed."""
    signed_in = {"cookie": f"{COOKIE}={token}"}
    with httpx.Client(trust_env=False, base_url=address, headers=signed_in) as client:
        client.get("/api/health")
        took = []
        for _ in range(9):
            began = time.perf_counter()
            answer = client.get("/api/pours/1/curve?width=1000", headers={"accept-encoding": "gzip"})
            answer.raise_for_status()
            took.append(1000 * (time.perf_counter() - began))
        sent = int(answer.headers.get("content-length", "0"))
    return took[0], statistics.median(took[1:]), len(answer.content), sent


def hot_samples(series: int) -> int:
    """How many of so many random curves lose their single hot sample when thinned: it has to be none."""
    dice = np.random.default_rng(7)
    lost = 0
    for _ in range(series):
        count, width = int(dice.integers(50, 3000)), int(dice.integers(20, 400))
        hours = np.sort(dice.uniform(0, 72, count))
        values = 20 + np.cumsum(dice.normal(0, 0.05, count))
        values[dice.integers(count)] = 95.0
        lost += not (thin(hours, values, width)[1] == 95.0).any()
    return lost


def main() -> None:
    """Prints the table."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--runs", type=int, default=5)
    asked.add_argument("--folder", type=Path)
    asked.add_argument("--series", type=int, default=10_000)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="pourlog-") as scratch, sync_playwright() as playwright:
        folder = given.folder or Path(scratch) / "service"
        kept = folder / "token"
        if not kept.exists():
            kept.parent.mkdir(parents=True, exist_ok=True)
            kept.write_text(fill(folder), encoding="ascii")
        token = kept.read_text(encoding="ascii")
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        outside: list[str] = []
        cold, cached = [], []
        for _ in range(given.runs):
            with served(folder) as address:
                context = context_of(browser, address, token, outside)
                page = context.new_page()
                cold.append(shown(page))
                cached += [shown(page) for _ in range(3)]
                context.close()
        with served(folder) as address:
            first_ms, later_ms, plain, sent = data(address, token)
        browser.close()
    for name, found, goal in (("cold", cold, 1000), ("cached", cached, 400)):
        useful, chart = ([pair[i] for pair in found] for i in (0, 1))
        print(
            f"{name}: useful {statistics.median(useful):.0f} ms (slowest {max(useful):.0f}; goal below {goal}), "
            f"chart drawn {statistics.median(chart):.0f} ms (slowest {max(chart):.0f})"
        )
    print(
        f"chart data: {later_ms:.1f} ms with the connection (goal below 50), the first time after a start "
        f"{first_ms:.0f} ms; {plain / 1000:.0f} kB, sent as {sent / 1000:.0f} kB (goal below 100)"
    )
    print(f"single hot samples lost in {given.series} random curves: {hot_samples(given.series)}")
    print(f"requests that left this machine: {len(outside)} {outside[:3]}; load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
