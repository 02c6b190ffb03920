"""What is found after a cut, held against what had been promised before it."""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import recorded_pour as recorded
from fastapi.testclient import TestClient
from power_cuts import Disk, Event, Luck

from hardware.bench.clock import SteppedClock
from logger.daemon.forward import Forwarder, ForwardStep, StationIdentity, open_client
from logger.daemon.keep import Keeper
from logger.record.verify import verify
from logger.settings import Settings
from logger.store import pours
from web.server.app import make_app
from web.service.service import Service

DATABASE, SPOOL = "service/pourlog.sqlite3", "spool.sqlite3"


def losses(folder: Path, promised: dict[str, Any]) -> list[str]:
    """What was promised and is not there, or is there and damaged. Looks at the files as any SQLite would."""
    found: list[str] = []
    stored: list[int] = []
    if "stored" in promised or (folder / DATABASE).exists():
        try:
            with _opened(folder / DATABASE) as database:
                stored = _look_at_service(database, promised, found)
        except sqlite3.DatabaseError as error:
            found += [f"service: {error}"] if "stored" in promised or "malformed" in str(error) else []
    kept: set[int] = set()
    if "kept" in promised or (folder / SPOOL).exists():
        try:
            with _opened(folder / SPOOL) as database:
                kept = _look_at_spool(database, found)
        except sqlite3.DatabaseError as error:
            found += [f"spool: {error}"] if "kept" in promised or "malformed" in str(error) else []
    gone = set(range(1, promised.get("kept", 0) + 1)) - kept - set(stored)
    if gone:
        found.append(f"kept by the station and in neither: {len(gone)} rows from {min(gone)}")
    return found


def _look_at_service(database: sqlite3.Connection, promised: dict[str, Any], found: list[str]) -> list[int]:
    if not _whole(database, "service", found):
        return []
    raws = [raw for (raw,) in database.execute("SELECT raw FROM reading ORDER BY id")]
    stored = [int(raw, 16) for raw in raws if raw]
    gone = set(range(1, promised.get("stored", 0) + 1)) - set(stored)
    if gone:
        found.append(f"acknowledged by the service and gone: {len(gone)} rows from {min(gone)}")
    if len(stored) != len(set(stored)):
        found.append("a reading is stored twice")
    if "acknowledged" in promised:
        (by,) = database.execute(
            "SELECT acknowledged_by FROM alarm WHERE id = ?", (promised["acknowledged"],)
        ).fetchone() or (None,)
        if by != "Ada":
            found.append(f"a person's acknowledgement of alarm {promised['acknowledged']} is gone")
    head, last = database.execute(
        "SELECT reading_head, (SELECT link FROM reading WHERE pour_id = pour.id ORDER BY id DESC LIMIT 1) FROM pour"
    ).fetchone() or ("", None)
    if head != (last or ""):
        found.append("the pour's chain does not end at its last reading")
    return stored


def _look_at_spool(database: sqlite3.Connection, found: list[str]) -> set[int]:
    if not _whole(database, "spool", found):
        return set()
    rows = database.execute("SELECT raw FROM row WHERE seq > (SELECT forgotten FROM name)")
    return {int(raw, 16) for (raw,) in rows if raw}


def _whole(database: sqlite3.Connection, name: str, found: list[str]) -> bool:
    (verdict,) = database.execute("PRAGMA integrity_check(1)").fetchone()
    if verdict != "ok":
        found.append(f"{name}: damaged: {verdict}")
    return bool(verdict == "ok")


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA synchronous=OFF")
        yield database


def starts_again(folder: Path, promised: dict[str, Any], work: Path) -> list[str]:
    """Starts station and service over a copy of the files; what is wrong once they have caught up."""
    shutil.copytree(folder, work)
    found: list[str] = []
    clock = SteppedClock(1_795_624_200_000 + 86_400_000, boot_id="after-the-cut", boot_ms=10_000)
    service = Service.open(Settings(data_dir=str(work / "service")), clock)
    keeper = Keeper(work / SPOOL)
    try:
        with service.store.read() as connection:
            begun = bool(pours.live_pours(connection))
        if not begun:
            return ["the pour is gone"] if "stored" in promised else []
        pending = keeper.pending
        catch_up(service, keeper, clock)
        if keeper.trouble or keeper.pending:
            found.append(f"{keeper.pending} of {pending} rows cannot be sent on: {keeper.trouble}")
        service.watch.judge_all()
        if service.watch.trouble:
            found.append(service.watch.trouble)
        with service.store.read() as connection:
            raws = connection.exec_driver_sql("SELECT raw FROM reading").scalars()
            stored = sorted(int(raw, 16) for raw in raws)
            verdict = verify(connection, 1)
        if stored != list(range(1, len(stored) + 1)) or len(stored) < promised.get("kept", 0):
            found.append(
                f"after catching up {len(stored)} rows are stored, {promised.get('kept', 0)} were kept"
            )
        if not verdict.ok:
            found.append(f"the record does not verify: {verdict}")
    finally:
        keeper.close()
        service.close()
        shutil.rmtree(work)
    return found


def catch_up(service: Service, keeper: Keeper, clock: SteppedClock) -> None:
    """The station's forwarder sends what it has."""

    class Line(httpx.BaseTransport):
        def handle_request(self, request: httpx.Request) -> httpx.Response:
            answer = client.post("/api/batches", content=request.read(), headers=dict(request.headers))
            return httpx.Response(answer.status_code, content=answer.content, request=request)

    with TestClient(make_app(service)) as client, open_client("http://s.invalid", Line()) as out:
        forwarder = Forwarder(
            StationIdentity(recorded.STATION, lambda: recorded.TOKEN), keeper, out, clock.beside(), linger_s=0
        )
        for _ in range(10):
            while forwarder.step() is ForwardStep.SENT:
                pass
            if not keeper.pending:
                return


@dataclass(slots=True)
class Cuts:
    """What many cuts came to."""

    cuts: int = 0
    started: int = 0
    with_loss: int = 0
    examples: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return f"{self.cuts} cuts ({self.started} started again and caught up), {self.with_loss} with a loss"


def cut_many(events: list[Event], folder: Path, cuts: int, *, seed: int, start_every: int = 0) -> Cuts:
    """Cuts the power so many times, spread over everything that happened; every `start_every`th starts again."""
    chance, disk, told = random.Random(seed), Disk(events), Cuts()
    lucks = (Luck.SOME, Luck.NONE, Luck.SOME, Luck.ALL)
    for number, at in enumerate(sorted(chance.randint(1, len(events)) for _ in range(cuts))):
        disk.go_to(at)
        found_at = folder / "cut"
        found_at.mkdir()
        disk.cut(found_at, lucks[number % len(lucks)], chance)
        found = []
        if start_every and number % start_every == start_every // 2:
            told.started += 1
            found += starts_again(found_at, disk.promised, folder / "again")
        found += losses(found_at, disk.promised)
        told.cuts += 1
        told.with_loss += bool(found)
        told.examples += [f"cut {number} at event {at}: {text}" for text in found]
        shutil.rmtree(found_at)
    return told
