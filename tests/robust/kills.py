"""A watched pour whose station and service are killed again and again, and the same pour undisturbed."""

from __future__ import annotations

import json
import os
import random
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import tomli_w

from hardware.bench.mapped_clock import MappedClock, start_mapped_clock
from logger.delivery.wording import in_words
from logger.words.reader import METRIC
from web.demo.demo import BOOT_MS, POURED_AT_MS, Maker, write_station
from web.demo.scenarios import SCENARIOS

HERE = Path(__file__).resolve().parent
PERIOD_S = 30.0
#: In the environment of every process of a shop, theirs included: the shop's folder.
MARK = "POURLOG_SHOP"


class Receiver:
    """A phone: takes every message, in order."""

    def __init__(self) -> None:
        self.took: list[tuple[str, str]] = []
        took = self.took

        class Taking(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                took.append((self.path, body["title"]))
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: Any) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Taking)
        self.port = self.server.server_address[1]
        self._thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.05})
        self._thread.start()

    def close(self) -> None:
        """Nobody is there any more."""
        self.server.shutdown()
        self.server.server_close()
        self._thread.join()


@dataclass(slots=True)
class Told:
    """What a pour came to."""

    sweeps: int
    readings: int
    doubled: int
    whole: str
    alarms: list[tuple[Any, ...]]
    sent: list[tuple[str, str]]
    took: list[tuple[str, str]]
    lost: list[str] = field(default_factory=list)
    kills: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0


class Shop:
    """The processes of one pour."""

    def __init__(self, folder: Path, hours: float) -> None:
        self.folder, self._hours = folder, hours
        folder.mkdir(parents=True)
        self.receiver = Receiver()
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self._port = int(probe.getsockname()[1])
        start_mapped_clock(folder / "clock", POURED_AT_MS, BOOT_MS, 1000.0)
        self._clock = MappedClock(folder / "clock")
        phone = f"json://127.0.0.1:{self.receiver.port}"
        settings = {
            "data_dir": str(folder / "service"),
            "port": self._port,
            "watch_period_s": 0.05,
            "messages": {"urls": [f"{phone}/first"], "second_urls": [f"{phone}/second"]},
        }
        (folder / "settings.toml").write_text(tomli_w.dumps(settings), encoding="utf-8")
        write_station(folder, self._port)
        with (folder / "station.toml").open("a", encoding="utf-8") as file:
            file.write(f"\n[periods]\nfirst_hour_s = {PERIOD_S}\nlater_s = {PERIOD_S}\n")
        self._nursery = subprocess.Popen(
            [sys.executable, str(HERE / "nursery.py"), str(folder), str(hours)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={
                **os.environ,
                MARK: str(folder),
                "PYTHONPATH": str(HERE.parents[1]),
                "OPENBLAS_NUM_THREADS": "1",
            },
        )
        self._running: dict[str, int] = {}

    def start(self, what: str) -> None:
        """Starts the station or the service."""
        assert self._nursery.stdin is not None
        assert self._nursery.stdout is not None
        self._nursery.stdin.write(f"{what}\n")
        self._nursery.stdin.flush()
        self._running[what] = int(self._nursery.stdout.readline())

    def kill(self, what: str) -> None:
        """The process is gone from one moment to the next."""
        self._signal(what, signal.SIGKILL)

    def end(self, what: str) -> None:
        """The process is asked to end, and finishes what it is at."""
        self._signal(what, signal.SIGTERM)

    def _signal(self, what: str, how: signal.Signals, within_s: float = 60.0) -> None:
        with suppress(ProcessLookupError):
            os.kill(self._running[what], how)
        until = time.monotonic() + within_s
        while Path(f"/proc/{self._running[what]}").exists():
            assert time.monotonic() < until, f"the {what} does not end"
            time.sleep(0.001)

    def run(self, chance: random.Random | None, longest_pause_s: float, kills: int) -> Told:
        """The whole pour; with `chance`, something is killed and started again after each random pause.

        Between two kills there is mostly a sweep: a station that is killed whenever it starts is silent, and that is
        rightly told. One kill in ten comes while something is still starting.
        """
        began, killed = time.monotonic(), Counter[str]()
        self.start("service")
        maker = Maker(self.folder, self._port)
        maker.wait_for_service()
        maker.set_up()
        maker.plan(SCENARIOS["calm"])
        maker.client.close()
        self.start("station")
        while not (self.folder / "done").exists():
            if chance is None or killed.total() >= kills:
                time.sleep(0.05)
            else:
                if chance.random() < 0.9:
                    self._wait_for_a_sweep()
                time.sleep(chance.uniform(0, longest_pause_s))
                what = chance.choice(("station", "service"))
                if (self.folder / "done").exists():
                    break
                self.kill(what)
                killed[what] += 1
                self.start(what)
            assert time.monotonic() - began < 900, "the pour does not end"
        # Not killed: time goes on after the last sweep, and a reminder that falls due then may be on its way just now.
        self.end("service")
        told = self._look()
        told.kills, told.seconds = killed, time.monotonic() - began
        return told

    def _wait_for_a_sweep(self) -> None:
        began_ms = self._clock.stamp().boot_ms
        while (
            self._clock.stamp().boot_ms < began_ms + PERIOD_S * 1000 and not (self.folder / "done").exists()
        ):
            time.sleep(0.005)

    def left_over(self, within_s: float = 5.0) -> list[str]:
        """Processes that are still there although everything was ended, after this long at most."""
        until = time.monotonic() + within_s
        while (found := _marked(self.folder)) and time.monotonic() < until:
            time.sleep(0.05)
        return found

    def close(self) -> None:
        """Ends everything."""
        self._clock.close()
        for what in self._running:
            self.kill(what)
        assert self._nursery.stdin is not None
        self._nursery.stdin.close()
        self._nursery.wait(10)
        if self._nursery.stdout is not None:
            self._nursery.stdout.close()
        self.receiver.close()

    def _look(self) -> Told:
        with closing(sqlite3.connect(self.folder / "service" / "pourlog.sqlite3")) as database:
            (whole,) = database.execute("PRAGMA integrity_check").fetchone()
            numbers = [seq for (seq,) in database.execute("SELECT seq FROM reading ORDER BY spool, seq")]
            (sweeps,) = database.execute("SELECT count(DISTINCT boot_ms) FROM reading").fetchone()
            (distinct,) = database.execute(
                "SELECT count(*) FROM (SELECT DISTINCT probe, boot_ms FROM reading)"
            ).fetchone()
            (spools,) = database.execute("SELECT count(DISTINCT spool) FROM reading").fetchone()
            alarms = database.execute(
                "SELECT kind, subject, activation, priority, phase FROM alarm ORDER BY kind, subject, activation"
            ).fetchall()
            rows = database.execute(
                'SELECT "to", title, state, created_ms FROM outbox ORDER BY id'
            ).fetchall()
            # A message is said when it is sent, within moments of being written: a time of day needs no date then.
            sent = [
                (to, in_words(title, "", replace(METRIC, now_ms=made_ms)).title, state)
                for to, title, state, made_ms in rows
            ]
        lost = []
        if spools != 1 or numbers != list(range(1, len(numbers) + 1)):
            lost.append(f"{spools} spools, {len(numbers)} rows up to number {max(numbers)}")
        with closing(sqlite3.connect(self.folder / "spool.sqlite3")) as database:
            (highest,) = database.execute(
                "SELECT max(ifnull((SELECT max(seq) FROM row), 0), forgotten) FROM name"
            ).fetchone()
        if highest != len(numbers):
            lost.append(f"the spool has counted {highest}, the service stores {len(numbers)}")
        took = [(path.strip("/"), title) for path, title in self.receiver.took]
        for to, title, state in sent:
            if state == "sent" and (to, title) not in took:
                lost.append(f"message never delivered: {title}")
        return Told(
            sweeps,
            len(numbers),
            len(numbers) - distinct,
            whole,
            alarms,
            [(to, title) for to, title, state in sent if state == "sent"],
            took,
            lost,
        )


def _marked(folder: Path) -> list[str]:
    """Command lines of all processes that belong to the shop in this folder."""
    mark, found = f"{MARK}={folder}".encode(), []
    for process in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            if mark in (process / "environ").read_bytes().split(b"\0"):
                found.append(
                    f"{process.name}: {(process / 'cmdline').read_bytes().replace(bytes(1), b' ')!r}"
                )
    return found


def differences(calm: Told, killed: Told) -> list[str]:
    """What the kills changed. At most one message a kill may come twice.

    A station that was started again sweeps at other seconds than the undisturbed one, so that a reminder more or less
    may fall into the pour; which alarms came, and what was told of each, may not differ.
    """
    found = list(killed.lost)
    if killed.whole != "ok":
        found.append(f"integrity_check: {killed.whole}")
    if killed.doubled:
        found.append(f"{killed.doubled} readings are there twice")
    if killed.alarms != calm.alarms:
        found.append(f"alarms: {sorted(set(killed.alarms) ^ set(calm.alarms))}")
    extra = len(killed.took) - len(killed.sent)
    if not 0 <= extra <= killed.kills.total():
        found.append(f"{len(killed.sent)} messages were sent, {len(killed.took)} came")
    for path, kind in sorted({(path, _kind(title)) for path, title in calm.took + killed.took}):
        was, now = (_about(told.took, path, kind) for told in (calm, killed))
        if _once(was) != _once(now):
            found.append(f"told of {kind} to {path}: {was} became {now}")
    missing = set(killed.sent) - set(killed.took)
    if missing:
        found.append(f"not received: {missing}")
    return found


def _once(titles: list[str]) -> list[str]:
    """What was told, without reminders and without what came twice in a row."""
    # What led a title (the pour was in danger for another reason as well) is of its moment, not of its alarm.
    news = [title for title in titles if "Again:" not in title and ". Also: " not in title]
    return [title for number, title in enumerate(news) if number == 0 or news[number - 1] != title]


def _kind(title: str) -> str:
    lead, also, kind = title.partition(". Also: ")
    return kind if also else lead.rsplit(" - ", 1)[0].rsplit(": ", 1)[-1]


def _about(told: list[tuple[str, str]], path: str, kind: str) -> list[str]:
    return [title for to, title in told if to == path and _kind(title) == kind]
