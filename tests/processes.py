"""Real service processes over one database, a station that feeds them and a phone that is told: for hand-overs."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import httpx
import tomli_w

from hardware.clock import SystemClock
from logger.pour import Stage
from logger.store import alarms, lease, outbox, pours, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour

CALM = {"curve": {"hours": [0.0, 20.0, 100.0], "core_c": [21.0, 40.0, 22.0]}, "release_at_h": 60.0}


class Phone:
    """Takes every message."""

    def __init__(self) -> None:
        self.taken: list[str] = []
        phone = self

        class Take(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                phone.taken.append(json.loads(body)["title"])
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_args: Any) -> None:
                """Says nothing."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Take)
        self.url = f"json://127.0.0.1:{self._server.server_port}/"
        self._thread = threading.Thread(target=self._server.serve_forever)
        self._thread.start()

    def close(self) -> None:
        """Ends it."""
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


class Process:
    """One `pourlog serve`."""

    def __init__(self, folder: Path, database_url: str | None, urls: list[str], **settings: Any) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        made = {"data_dir": str(folder), "port": self.port, "messages": {"urls": urls}} | settings
        if database_url is not None:
            made["database_url"] = database_url
        path = folder / f"settings-{self.port}.toml"
        path.write_text(tomli_w.dumps(made), encoding="utf-8")
        self._log = (folder / f"log-{self.port}").open("wb")
        self.log = folder / f"log-{self.port}"
        self._process = subprocess.Popen(
            [sys.executable, "-m", "web.command", "serve", str(path)],
            stdout=self._log,
            stderr=self._log,
            env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
        )
        self.pid = self._process.pid
        self.client = httpx.Client(base_url=f"http://127.0.0.1:{self.port}", timeout=20, trust_env=False)

    def ready(self, seconds: float = 60) -> None:
        """Waits until it answers."""
        until = time.monotonic() + seconds
        while True:
            try:
                self.client.get("/api/health").raise_for_status()
            except httpx.HTTPError:
                if time.monotonic() > until or self._process.poll() is not None:
                    raise
                time.sleep(0.05)
            else:
                return

    def kill(self) -> None:
        """SIGKILL."""
        os.kill(self.pid, signal.SIGKILL)
        self._process.wait()
        self.client.close()
        self._log.close()

    def stop(self) -> int:
        """SIGTERM; the exit code."""
        if self._process.poll() is None:
            self._process.terminate()
        code = self._process.wait(20)
        self.client.close()
        self._log.close()
        return code


class Bench:
    """A pour of its own, watched by a station of its own, with readings sent to any process."""

    def __init__(self, store: Store, plan_toml: str, name: str) -> None:
        self._store, self._name, self._seq = store, name, 0
        self._last: dict[str, Any] = {}
        self._clock = SystemClock()
        self._timeline = timeline = Timeline(store, self._clock)
        with store.write() as tx:
            station_id, self._token = stations.enrol(tx, name, timeline.true_ms())
            self.pour_id = pours.add_pour(
                tx,
                PlannedPour(title=f"Table at {name}", client="", plan_toml=plan_toml, station_id=station_id),
                by="Ada",
                now_ms=timeline.true_ms(),
            )
            pours.freeze_prediction(tx, self.pour_id, CALM, "test")
            for stage in (Stage.READY, Stage.POURING):
                pours.move_on(tx, self.pour_id, stage, "Ada", timeline)

    def sweep(self, process: Process, core_c: float, ago_s: float = 0.0) -> None:
        """One sweep, taken some seconds ago, to one of the processes."""
        now, ago_ms = self._clock.stamp(), round(ago_s * 1000)
        boot = {"boot_id": f"boot of {self._name}", "clock_set": True}
        sent = boot | {"wall_ms": now.wall_ms, "boot_ms": now.boot_ms}
        stamp = boot | {"wall_ms": now.wall_ms - ago_ms, "boot_ms": now.boot_ms - ago_ms}
        rows = []
        for place, celsius in (("core", core_c), ("room", 21.0)):
            self._seq += 1
            rows.append(
                {
                    "seq": self._seq,
                    "probe": f"28-{place}",
                    "place": place,
                    "stamp": stamp,
                    "milli_c": round(celsius * 1000),
                    "fault": None,
                    "raw": "0",
                    "note": None,
                }
            )
        self._last = {"station": self._name, "spool": "spool-1", "sent": sent, "rows": rows}
        self.again(process)

    def again(self, process: Process) -> None:
        """The last sweep once more, as a station does that got no answer."""
        process.client.post(
            "/api/batches", json=self._last, headers={"Authorization": f"Bearer {self._token}"}
        ).raise_for_status()

    def becomes_hot(self, process: Process) -> None:
        """A core that warms up over the last minute, but not yet too far."""
        for ago_s, core_c in ((60, 56.0), (50, 56.8), (40, 57.6), (30, 58.2), (20, 58.8), (10, 59.4)):
            self.sweep(process, core_c, ago_s)

    def alarms(self, kind: str = "core-hot") -> list[Any]:
        """Activations of one kind of this pour."""
        with self._store.read() as connection:
            return [row for row in alarms.alarms_of(connection, self.pour_id) if row.kind == kind]

    def messages(self, alarm_id: int) -> list[tuple[str, str]]:
        """(why, state) of the messages about an alarm."""
        with self._store.read() as connection:
            return [(row.why, row.state) for row in outbox.messages_of(connection, alarm_id)]

    def end(self) -> None:
        """The pour is over."""
        with self._store.write() as tx:
            pours.move_on(tx, self.pour_id, Stage.SPOILED, "Ada", self._timeline)


def decider(store: Store, processes: list[Process], seconds: float = 30) -> Process:
    """The process that decides, once one of these does."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        with store.read() as connection:
            found = lease.holding(connection)
        if found is not None:
            for process in processes:
                if found.holder.split(":")[1] == str(process.pid):
                    return process
        time.sleep(0.05)
    raise TimeoutError("none of the processes decides")


def wait_for(what: Any, seconds: float) -> float:
    """Waits until something is true; how long that took, s. Raises TimeoutError."""
    began = time.monotonic()
    while not what():
        if time.monotonic() - began > seconds:
            raise TimeoutError(f"not within {seconds} s")
        time.sleep(0.05)
    return time.monotonic() - began
