"""A process that judges, raises and sends, and is killed at a point: run by test_crashes.py and bench/delivery.py.

Points are every beginning, end and commit of a write to the database and every beginning and end of a send, in the
order in which they are met. Imports and the database are made once; each run is a fork of that, killed with SIGKILL.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import apprise
import apprise.plugins
from sqlalchemy import Connection

from hardware.clock import Stamp
from logger.delivery.channels import MessageChannels, Outcome
from logger.delivery.compose import rules_of
from logger.delivery.sender import Sender
from logger.live.watch import Watch, WatchSettings
from logger.pour import Stage
from logger.settings import Messages
from logger.store import pours, readings, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading

START_MS = 1_795_593_600_000
CALM = {"curve": {"hours": [0.0, 100.0], "core_c": [21.0, 40.0]}}
PLAN = """
title = "Table"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 330
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[pour]
shape = "river"
depth_mm = 40
width_mm = 250
length_mm = 1800
[air]
room_c = 21
"""


@dataclass
class Clock:
    """Real seconds do not matter here: a killed sender's claim must run out at once."""

    boot_ms: int = 1_000_000

    def stamp(self) -> Stamp:
        """Now."""
        return Stamp(START_MS + self.boot_ms, "boot-a", self.boot_ms, True)

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Time passes at once."""
        self.boot_ms += round(seconds * 1000)
        return event.is_set()


@dataclass
class Points:
    """Counts the points that are passed, and ends the process at one of them."""

    kill_at: int
    passed: list[str] = field(default_factory=list)

    def at(self, name: str) -> None:
        """One point."""
        self.passed.append(name)
        if len(self.passed) == self.kill_at:
            os.kill(os.getpid(), signal.SIGKILL)


class CrashingStore(Store):
    """The store with points around each write."""

    points: Points | None = None
    who = ""

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A write transaction with three points: begun, written, committed."""
        points = self.points
        if points is None:
            with super().write() as tx:
                yield tx
            return
        with super().write() as tx:
            points.at(f"{self.who}: transaction begun")
            yield tx
            points.at(f"{self.who}: written, before the commit")
        points.at(f"{self.who}: committed")


def make_database(path: Path, clock: Clock) -> None:
    """A pour whose core has just passed its limit; nothing has been judged yet."""
    store = Store(f"sqlite:///{path}")
    timeline = Timeline(store, clock)
    with store.write() as tx:
        station_id, _token = stations.enrol(tx, "bench-1", 0)
        pour_id = pours.add_pour(
            tx,
            PlannedPour(title="Table", client="", plan_toml=PLAN, station_id=station_id),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        pours.freeze_prediction(tx, pour_id, CALM, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, pour_id, stage, "Ada", timeline)
    for number, core_c in enumerate((59.0, 59.5, 60.0, 60.5), 1):
        clock.boot_ms += 5000
        stamp = clock.stamp()
        row = WireReading("28-core", "core", stamp, round(core_c * 1000), None, "0", None, seq=number)
        with store.write() as tx:
            station = stations.by_name(tx, "bench-1")
            readings.save_batch(tx, ReadingBatch(station.id, "spool-1", stamp, [row]), timeline.true_ms())
    with store.write() as tx:
        tx.exec_driver_sql("SELECT 1")
    store.close()


def run(database: Path, urls: list[str], kill_at: int, clock: Clock) -> list[str]:
    """Judges and sends until nothing is due; killed at a point. Gives the points passed."""
    store = CrashingStore(f"sqlite:///{database}")
    timeline = Timeline(store, clock)
    messages = Messages(urls=urls, timeout_s=2)
    points = Points(kill_at)
    store.points = points
    send = MessageChannels(2)

    def channel(url: str, title: str, body: str) -> Outcome:
        points.at("sender: before the send")
        outcome = send(url, title, body)
        points.at("sender: after the send")
        return outcome

    watch = Watch(store, timeline, WatchSettings("http://shop.test", rules_of(messages)))
    sender = Sender(store, timeline, messages, channel, watch.memory_outbox)
    store.who = "watch"
    watch.judge_all()
    store.who = "sender"
    sender.send_due()
    store.close()
    return points.passed


def _load_the_rest(folder: Path, whole: Path, clock: Clock) -> None:
    """One run that tells nobody: what it imports and compiles no fork has to import and compile again."""
    run(Path(shutil.copy(whole, folder / "warm.sqlite3")), [], 0, Clock(clock.boot_ms))


def serve(folder: Path, urls: list[str]) -> None:
    """Reads {"name", "kill_at", "later_s"} lines; answers each with {"killed", "points"}; forks for each."""
    clock = Clock()
    whole = folder / "whole.sqlite3"
    make_database(whole, clock)
    apprise.Apprise().add(urls[0])  # loads the channels' code before the forks
    _load_the_rest(folder, whole, clock)
    for line in sys.stdin:
        asked: dict[str, Any] = json.loads(line)
        database = folder / f"{asked['name']}.sqlite3"
        if not database.exists():
            shutil.copy(whole, database)
        reader, writer = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(reader)
            later = Clock(clock.boot_ms + round(asked["later_s"] * 1000))
            passed = run(database, urls, asked["kill_at"], later)
            os.write(writer, json.dumps(passed).encode())
            os._exit(0)
        os.close(writer)
        with os.fdopen(reader, "rb") as answers:
            passed = answers.read()
        _pid, status = os.waitpid(child, 0)
        answer = {
            "killed": os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL,
            "status": status,
            "points": json.loads(passed) if passed else [],
        }
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    serve(Path(sys.argv[1]), sys.argv[2:])
