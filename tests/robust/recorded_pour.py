"""A station and its service in one process, writing down in a file what each has been promised. Run by power_cuts.py.

    python recorded_pour.py FOLDER SWEEPS SYNCHRONOUS CHECKPOINT_PAGES

Row number n carries n in its raw bytes. The marks: {"kept": n} when the spool has taken all rows up to n, {"stored": n}
when the service has acknowledged them, {"acknowledged": id} when a person's acknowledgement was accepted, {"sent": id}
when a message was taken by its channel and the service went on to the next.
"""

from __future__ import annotations

import json
import logging
import os
import random
import sys
from pathlib import Path
from typing import Any

import httpx
from fastapi.testclient import TestClient
from sqlalchemy import event

from hardware.bench.clock import SteppedClock
from logger.daemon.forward import Forwarder, ForwardStep, StationIdentity, open_client
from logger.daemon.keep import Keeper
from logger.delivery.channels import Outcome
from logger.delivery.sender import Sender
from logger.pour import Stage
from logger.settings import Messages, Settings
from logger.store import alarms, pours, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.wire import UnnumberedReading
from web.server.app import make_app
from web.service.service import Service

PLACES = ("core", "surface", "underside", "room")
#: A frozen prediction that stays cool (invented), so that a warm core raises alarms.
CALM = {
    "peak_c": 40.0,
    "peak_at_h": 20.0,
    "curve": {"hours": [0.0, 20.0, 100.0], "core_c": [21.0, 40.0, 22.0]},
}
PLAN = """
title = "Recorded (invented)"
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
TOKEN = "recorded"
STATION = "bench-1"


class Marks:
    """What has been promised so far."""

    def __init__(self, path: Path) -> None:
        self._file = os.open(path, os.O_CREAT | os.O_WRONLY | os.O_APPEND)

    def __call__(self, **promised: Any) -> None:
        """Writes a promise down, at once."""
        os.write(self._file, json.dumps(promised).encode())


class Line(httpx.BaseTransport):
    """From the station into the app. One request in twenty does not arrive, one answer in twenty is lost."""

    def __init__(self, client: TestClient, marks: Marks, chance: random.Random) -> None:
        self._client, self._marks, self._chance = client, marks, chance

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        """One batch."""
        fate = self._chance.random()
        if fate < 0.05:
            raise httpx.ConnectError("lost on the way", request=request)
        headers = {"Authorization": f"Bearer {TOKEN}", "Content-Type": "application/json"}
        answer = self._client.post("/api/batches", content=request.read(), headers=headers)
        rows = json.loads(request.content)["rows"]
        if answer.status_code == 200 and rows:
            self._marks(stored=int(rows[-1]["raw"], 16))
        if fate > 0.95:
            raise httpx.ReadTimeout("the answer was lost", request=request)
        return httpx.Response(answer.status_code, content=answer.content, request=request)


def weaken(store: Store, keeper: Keeper, synchronous: str, pages: int) -> None:
    """Sets how often it syncs (FULL is as shipped) and checkpoints, so that cuts fall into checkpoints as well."""
    pragmas = [f"PRAGMA wal_autocheckpoint={pages}"]
    if synchronous != "FULL":
        pragmas.append(f"PRAGMA synchronous={synchronous}")

    def connected(connection: Any, _record: Any) -> None:
        for pragma in pragmas:
            connection.execute(pragma)

    event.listen(store._writer, "connect", connected)
    store._writer.dispose()
    assert keeper._disk is not None
    connected(keeper._disk._db, None)


def begin(service: Service) -> None:
    """An enrolled station and a pour that has just been poured."""
    with service.store.write() as tx:
        station, _token = stations.enrol(tx, STATION, 0, TOKEN)
        pour = pours.add_pour(
            tx,
            PlannedPour(title="Recorded", client="", plan_toml=PLAN, station_id=station),
            by="Ada",
            now_ms=service.timeline.true_ms(),
        )
        pours.freeze_prediction(tx, pour, CALM, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, pour, stage, "Ada", service.timeline)


def core_milli_c(sweep: int) -> int:
    """The core goes over its limit of 60 °C and back, again and again: alarms come and go."""
    return 40_000 + 800 * min(sweep % 60, 60 - sweep % 60)


def rows_of(sweep: int, clock: SteppedClock) -> list[UnnumberedReading]:
    """One sweep; its rows are numbered on from the sweep before."""
    stamp = clock.stamp()
    return [
        UnnumberedReading(
            f"28-{i:012x}",
            place,
            stamp,
            core_milli_c(sweep) if i == 0 else 21_000,
            None,
            f"{sweep * len(PLACES) + i + 1:018x}",
            None,
        )
        for i, place in enumerate(PLACES)
    ]


def acknowledge(service: Service, marks: Marks) -> None:
    """A person takes the oldest alarm that nobody has taken."""
    with service.store.read() as connection:
        raised = [row.id for row in alarms.open_alarms(connection) if row.phase == "raised"]
    if raised:
        service.watch.act(raised[0], "Ada", lambda book, key, now: book.acknowledge(key, "Ada", now))
        marks(acknowledged=raised[0])


def main(folder: Path, sweeps: int, synchronous: str, pages: int) -> None:
    """Runs the pour."""
    chance = random.Random(5)
    marks = Marks(folder / "marks")
    clock = SteppedClock(1_795_624_200_000, boot_ms=3_600_000)
    store = Store(f"sqlite:///{folder / 'service' / 'pourlog.sqlite3'}")
    keeper = Keeper(folder / "spool.sqlite3")
    weaken(store, keeper, synchronous, pages)
    settings = Settings(data_dir=str(folder / "service"), messages=Messages(urls=["one://first"]))
    service = Service(store=store, timeline=Timeline(store, clock), settings=settings)
    begin(service)
    sender = Sender(
        store, service.timeline, settings.messages, lambda *_: Outcome(True), service.watch.memory_outbox
    )
    with (
        TestClient(make_app(service)) as client,
        open_client("http://s.invalid", Line(client, marks, chance)) as out,
    ):
        forwarder = Forwarder(
            StationIdentity(STATION, lambda: TOKEN), keeper, out, clock.beside(), linger_s=0
        )
        for sweep in range(sweeps):
            rows = rows_of(sweep, clock)
            assert keeper.store(rows, clock.stamp().boot_s)
            marks(kept=int(rows[-1].raw or "", 16))
            while forwarder.step() is ForwardStep.SENT:
                pass
            service.watch.judge_all()
            if sweep % 7 == 3:
                acknowledge(service, marks)
            sent = sender.send_due()
            if sent:
                marks(sent=sent)
            clock.advance(30)
    keeper.close()
    service.close()


if __name__ == "__main__":
    logging.disable()  # what the line loses is meant to be lost
    main(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3], int(sys.argv[4]))
