"""How many stations one service carries: real HTTP, real batches, an honest clock, beside raw inserts in the same run.

Run by hand (everything on loopback, in a temporary folder):

    python tests/bench/load.py knee [--database postgresql] [--processes 2]
    python tests/bench/load.py full [--database postgresql] [--processes 2]
    python tests/bench/load.py hold [--database postgresql] [--seconds 600] [--stations 10000] [--pours 100]

`knee`: batches of six readings at a rising rate until acknowledgements come late or not at all. `full`: batches of 500
as quickly as they are acknowledged, beside raw multi-row inserts of the same rows into the same table, before and
after. `hold`: so many stations with six probes each, one reading in 30 s, so many of them at a live pour; now and then
one becomes too hot, and its alarm is timed.

A batch's time counts from when it was due, not from when a connection was free for it: a service that stands still
for a second makes every batch of that second late. Temperatures are invented.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import math
import os
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from itertools import cycle
from pathlib import Path
from typing import Any

import psycopg

# The checkout as well: else tests/logger hides the package of that name.
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from cluster import Cluster
from processes import CALM, Process

from hardware.clock import SystemClock
from logger.pour import Stage
from logger.store import alarms, pours, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.dialect import insert_many
from logger.store.pours import PlannedPour
from logger.store.reading_batches import READING

PROBES = ("core", "surface", "underside", "room", "surface-2", "underside-2")
#: Connections of the load; a service takes this many from one address.
CONNECTIONS = 48
LATE_S = 1.0


@dataclass
class One:
    """One simulated station."""

    number: int
    name: str
    token: str
    pour_id: int | None = None
    seq: int = 0

    def batch(self, wall_ms: int, boot_ms: int, rows: int, core_c: float) -> bytes:
        """A whole HTTP request. Written by hand: the load must not cost more than what it loads."""
        stamp = '{"wall_ms":%d,"boot_id":"boot of %s","boot_ms":%d,"clock_set":true}'
        told = []
        for number in range(rows):
            self.seq += 1
            place = PROBES[number % 6]
            celsius = core_c if place == "core" else 21.0 + number % 6
            at = stamp % (wall_ms - rows + number, self.name, boot_ms - rows + number)
            told.append(
                f'{{"seq":{self.seq},"probe":"28-{self.number:011x}{number % 6}","place":"{place}","stamp":{at},'
                f'"milli_c":{round(celsius * 1000)},"fault":null,"raw":"57014b467fff0c10ab","note":null}}'
            )
        sent = stamp % (wall_ms, self.name, boot_ms)
        body = (
            f'{{"station":"{self.name}","spool":"spool-1","sent":{sent},"rows":[{",".join(told)}]}}'.encode()
        )
        head = (
            f"POST /api/batches HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
            f"Authorization: Bearer {self.token}\r\nContent-Length: {len(body)}\r\n\r\n"
        )
        return head.encode() + body


@dataclass
class Told:
    """What came of a run."""

    took_s: list[float] = field(default_factory=list)
    readings: int = 0
    failed: int = 0
    seconds: float = 0.0

    def at(self, part: float) -> float:
        """A quantile of the times, s."""
        return (
            sorted(self.took_s)[min(len(self.took_s) - 1, int(part * len(self.took_s)))]
            if self.took_s
            else 0.0
        )


class Line:
    """One connection that is kept open; made anew when the service has closed it."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def ask(self, request: bytes) -> dict[str, Any]:
        """Sends a request and gives the answer's JSON. Raises OSError when it was refused."""
        for attempt in (1, 2):
            try:
                return await self._ask(request)
            except (asyncio.IncompleteReadError, ConnectionError):
                self._streams = None
                if attempt == 2:
                    raise
        raise AssertionError

    async def _ask(self, request: bytes) -> dict[str, Any]:
        if self._streams is None:
            self._streams = await asyncio.open_connection("127.0.0.1", self._port)
        reader, writer = self._streams
        writer.write(request)
        head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").lower()
        length = int(head.partition("content-length:")[2].partition("\r\n")[0])
        body = await reader.readexactly(length)
        if " 200 " not in head.partition("\r\n")[0]:
            raise OSError(body[:200])
        found: dict[str, Any] = json.loads(body)
        return found

    def close(self) -> None:
        """Ends it."""
        if self._streams is not None:
            self._streams[1].close()


class Rig:
    """The database, the service processes and the simulated stations."""

    def __init__(self, database: str, processes: int, count: int, live: int, folder: Path) -> None:
        self._stack = ExitStack()
        self.kind, self.cluster = database, None
        self.url = f"sqlite:///{folder / 'pourlog.sqlite3'}"
        if database == "postgresql":
            self.cluster = Cluster(fsync=True)
            self._stack.callback(self.cluster.close)
            self.url = self.cluster.address(self.cluster.create())
        self.store = Store(self.url)
        self._stack.callback(self.store.close)
        self.clock = SystemClock()
        self.timeline = Timeline(self.store, self.clock)
        self.stations = [One(number, f"s-{number:05d}", f"token-{number}") for number in range(count)]
        with self.store.write() as tx:
            insert_many(
                tx,
                stations.STATION,
                [
                    {
                        "name": one.name,
                        "token_hash": stations.token_hash(one.token),
                        "enrolled_ms": 0,
                        "clock_set": False,
                        "fan_on": False,
                    }
                    for one in self.stations
                ],
            )
            for one in self.stations[:live]:
                one.pour_id = pours.add_pour(
                    tx,
                    PlannedPour(
                        title=f"Table {one.name}",
                        client="",
                        plan_toml=PLAN,
                        station_id=stations.by_name(tx, one.name).id,
                    ),
                    by="Ada",
                    now_ms=self.timeline.true_ms(),
                )
                pours.freeze_prediction(tx, one.pour_id, CALM, "test")
                for stage in (Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING):
                    pours.move_on(tx, one.pour_id, stage, "Ada", self.timeline)
        self.running = [
            Process(folder, self.url, []) if database == "postgresql" else Process(folder, None, [])
            for _ in range(processes)
        ]
        for process in self.running:
            self._stack.callback(process.stop)
        for process in self.running:
            process.ready()

    def lines(self) -> list[Line]:
        """Connections, spread over the processes."""
        return [Line(self.running[number % len(self.running)].port) for number in range(CONNECTIONS)]

    def cpu_s(self) -> dict[str, float]:
        """Processor seconds of the services and of the database server so far."""
        found = {"service": 0.0, "database": 0.0}
        mine = {process.pid for process in self.running}
        tick = os.sysconf("SC_CLK_TCK")
        for path in Path("/proc").glob("[0-9]*/stat"):
            try:
                words = path.read_text().rpartition(")")[2].split()
            except OSError:
                continue
            used = (int(words[11]) + int(words[12])) / tick
            pid, parent = int(path.parent.name), int(words[1])
            if pid in mine or parent in mine:
                found["service"] += used
            elif self.cluster is not None and (path.parent / "comm").read_text().strip() == "postgres":
                found["database"] += used
        return found

    def close(self) -> None:
        """Ends all."""
        self._stack.close()


async def offered(
    rig: Rig,
    rate: float,
    seconds: float,
    rows: int,
    core_c: Any = lambda _one, _s: 40.0,
) -> Told:
    """Batches due at an even rate, whoever is free sends the oldest that is due."""
    told, waiting = Told(), asyncio.Queue[tuple[float, One] | None]()
    lines, began = rig.lines(), time.monotonic()

    async def send(line: Line) -> None:
        while (due := await waiting.get()) is not None:
            due_s, one = due
            now = rig.clock.stamp()
            try:
                answer = await line.ask(one.batch(now.wall_ms, now.boot_ms, rows, core_c(one, due_s - began)))
                told.readings += answer["stored"]
                told.took_s.append(time.monotonic() - due_s)
            except OSError as error:
                told.failed += 1
                if told.failed == 1:
                    print(
                        f"the first that failed, {due_s - began:.1f} s after the start: {error}", flush=True
                    )

    senders = [asyncio.create_task(send(line)) for line in lines]
    count = round(rate * seconds)
    for number in range(count):
        due_s = began + number / rate
        if (ahead := due_s - time.monotonic()) > 0:
            await asyncio.sleep(ahead)
        waiting.put_nowait((due_s, rig.stations[number % len(rig.stations)]))
        if waiting.qsize() > rate * 20:
            print(
                f"far behind after {time.monotonic() - began:.0f} s: this rate is past the knee", flush=True
            )
            break
    for _ in senders:
        waiting.put_nowait(None)
    await asyncio.gather(*senders)
    told.seconds = time.monotonic() - began
    for line in lines:
        line.close()
    return told


async def as_quick_as_it_goes(rig: Rig, feed: Iterator[One], rows: int, core_c: float = 40.0) -> Told:
    """Each connection sends the next station's batch as soon as its last was acknowledged."""
    told, lines, began = Told(), rig.lines()[:16], time.monotonic()

    async def send(line: Line) -> None:
        for one in feed:
            now, asked_s = rig.clock.stamp(), time.monotonic()
            answer = await line.ask(one.batch(now.wall_ms, now.boot_ms, rows, core_c))
            told.took_s.append(time.monotonic() - asked_s)
            told.readings += answer["stored"]

    await asyncio.gather(*(send(line) for line in lines))
    told.seconds = time.monotonic() - began
    for line in lines:
        line.close()
    return told


def in_turn(stations: Sequence[One], seconds: float) -> Iterator[One]:
    """One after the other, again and again until the time is over."""
    until_s = time.monotonic() + seconds
    for one in cycle(stations):
        if time.monotonic() >= until_s:
            return
        yield one


def raw(rig: Rig, seconds: float, rows: int) -> float:
    """Readings a second that the driver alone puts into the same table, one transaction a batch, fsync and all."""
    names = [column.name for column in READING.c if column.name != "id"]
    made = number = 0
    spool = f"raw-{time.monotonic_ns()}"

    def many() -> list[tuple[Any, ...]]:
        nonlocal number
        found = []
        now = rig.clock.stamp()
        for _ in range(rows):
            number += 1
            values = {
                "station_id": 1,
                "spool": spool,
                "seq": number,
                "pour_id": None,
                "probe": "28-000000000001",
                "place": "core",
                "boot": 1,
                "boot_ms": now.boot_ms,
                "wall_ms": now.wall_ms,
                "clock_set": True,
                "milli_c": 21_000,
                "fault": None,
                "raw": "57014b467fff0c10ab",
                "note": None,
                "milli_rh": None,
                "late": False,
                "received_ms": now.wall_ms,
                "link": None,
            }
            found.append(tuple(values[name] for name in names))
        return found

    columns = ", ".join(f'"{name}"' for name in names)
    began = time.perf_counter()
    if rig.kind == "sqlite":
        with sqlite3.connect(rig.url.removeprefix("sqlite:///"), timeout=30) as file:
            file.execute("PRAGMA synchronous=FULL")
            file.execute("PRAGMA foreign_keys=ON")
            marks = ", ".join("?" for _ in names)
            while time.perf_counter() - began < seconds:
                file.executemany(f"INSERT INTO reading ({columns}) VALUES ({marks})", many())
                file.commit()
                made += rows
        file.close()
    else:
        marks = ", ".join(f"({', '.join(['%s'] * len(names))})" for _ in range(rows))
        with psycopg.connect(rig.url) as server:
            while time.perf_counter() - began < seconds:
                flat = [value for row in many() for value in row]
                server.execute(f"INSERT INTO reading ({columns}) VALUES {marks}", flat)
                server.commit()
                made += rows
    return made / (time.perf_counter() - began)


def knee(rig: Rig) -> None:
    """Rising rates of batches of six readings."""
    print(f"{'offered/s':>10} {'stored/s':>9} {'p50 ms':>8} {'p99 ms':>8} {'failed':>7} {'cores':>6}")
    # As many stations as send a batch each within some seconds: the first batch of a station costs more, once.
    rig.stations = rig.stations[:600]
    asyncio.run(offered(rig, 60, 12, 6))
    for rate in rising():
        before = rig.cpu_s()
        told = asyncio.run(offered(rig, rate, 12, 6))
        after = rig.cpu_s()
        cores = sum(after[name] - before[name] for name in after) / told.seconds
        print(
            f"{rate * 6:10.0f} {told.readings / told.seconds:9.0f} {told.at(0.5) * 1000:8.1f} "
            f"{told.at(0.99) * 1000:8.1f} {told.failed:7} {cores:6.2f}",
            flush=True,
        )
        if told.at(0.99) > LATE_S or told.failed:
            return


def rising() -> Iterator[float]:
    """Batches a second."""
    rate = 100.0
    while rate < 5000:
        yield rate
        rate *= 1.3


def full(rig: Rig, seconds: float) -> None:
    """Large and small batches as quickly as they are acknowledged, between two runs of raw inserts."""
    for rows in (500, 6):
        asyncio.run(as_quick_as_it_goes(rig, in_turn(rig.stations[:64], 3.0), rows))
        before = raw(rig, seconds / 2, rows)
        told = asyncio.run(as_quick_as_it_goes(rig, in_turn(rig.stations[:64], seconds), rows))
        after = raw(rig, seconds / 2, rows)
        rate, beside = told.readings / told.seconds, (before + after) / 2
        print(
            f"batches of {rows}: {rate:,.0f} readings/s acknowledged (p50 {told.at(0.5) * 1000:.0f} ms, p99 "
            f"{told.at(0.99) * 1000:.0f} ms); raw inserts alone {before:,.0f} and {after:,.0f}: ratio "
            f"{rate / beside:.2f}",
            flush=True,
        )


def hold(rig: Rig, seconds: float) -> None:
    """Every station at one sweep in 30 s; every pour becomes too hot once."""
    live = [one for one in rig.stations if one.pour_id is not None]
    hot_s = {one.name: 95 + (seconds - 130) * number / max(1, len(live)) for number, one in enumerate(live)}
    sent_ms: dict[str, int] = {}

    def core_c(one: One, at_s: float) -> float:
        if one.pour_id is None:
            return 22.0
        to_go_s = hot_s[one.name] - at_s
        if to_go_s <= 0:
            sent_ms.setdefault(one.name, rig.clock.stamp().wall_ms)
            return 60.6
        return max(45.0, 59.6 - 1.2 * (to_go_s // 30))

    # In the first round every station, boot and probe is new to the service, and to the database's planner.
    joined = asyncio.run(as_quick_as_it_goes(rig, iter(rig.stations), 6, 45.0))
    print(
        f"{len(joined.took_s):,} stations joined in {joined.seconds:.0f} s; acknowledged p99 "
        f"{joined.at(0.99) * 1000:.0f} ms",
        flush=True,
    )
    before = rig.cpu_s()
    told = asyncio.run(offered(rig, len(rig.stations) / 30, seconds, 6, core_c))
    after = rig.cpu_s()
    time.sleep(6)
    delays, missed = [], 0
    with rig.store.read() as connection:
        for one in live:
            raised = [row for row in alarms.alarms_of(connection, one.pour_id or 0) if row.kind == "core-hot"]
            if one.name in sent_ms and len(raised) == 1:
                delays.append((raised[0].raised_ms - sent_ms[one.name]) / 1000)
            elif one.name in sent_ms:
                missed += 1
    delays.sort()
    if not delays:
        delays = [math.nan]
    print(
        f"{told.readings / told.seconds:,.0f} readings/s of {len(rig.stations):,} stations for {told.seconds:.0f} s, "
        f"{told.failed} failed; acknowledged p50 {told.at(0.5) * 1000:.1f} ms, p99 {told.at(0.99) * 1000:.1f} ms, "
        f"longest {max(told.took_s) * 1000:.0f} ms"
    )
    print(
        f"{len(live)} live pours, {len(sent_ms)} became too hot: alarm raised after p50 "
        f"{delays[len(delays) // 2]:.2f} s, longest {delays[-1]:.2f} s; {missed} missed or doubled"
    )
    for name, used in after.items():
        print(f"{name}: {(used - before[name]) / told.seconds:.2f} cores")


PLAN = """
title = "River table (invented)"
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


def main() -> None:
    """Reads the command line."""
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("what", choices=("knee", "full", "hold"))
    told.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")
    told.add_argument("--processes", type=int, default=1)
    told.add_argument("--stations", type=int, default=10_000)
    told.add_argument("--pours", type=int, default=100)
    told.add_argument("--seconds", type=float, default=60.0)
    given = told.parse_args()
    if given.database == "sqlite" and given.processes > 1:
        told.error("SQLite has one service process")
    print(f"{given.what}: {given.database}, {given.processes} process(es)", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        live = given.pours if given.what == "hold" else 0
        rig = Rig(given.database, given.processes, given.stations, live, Path(folder))
        try:
            {
                "knee": knee,
                "full": lambda rig: full(rig, min(10.0, given.seconds)),
                "hold": lambda rig: hold(rig, given.seconds),
            }[given.what](rig)
        finally:
            rig.close()


if __name__ == "__main__":
    main()
