"""Brings a pour over from a parcel: in short transactions, so that readings and alarms never wait, and unseen until all
of it is there. What fails on the way is taken out again; so is what a killed process has left.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import islice
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, update

from logger.errors import NotAllowed, NotFound, StoreError
from logger.facts import Fact, fact
from logger.store.alarms import ALARM
from logger.store.boots import BOOT
from logger.store.database import Store, table
from logger.store.events import EVENT, add_event
from logger.store.forecasts import FORECAST
from logger.store.parcel import Parcel
from logger.store.pours import POUR, POUR_PROBE, WHOLE, get_pour
from logger.store.readings import READING
from logger.store.rows import PourRow
from logger.store.seals import SEALED_RECORD
from logger.store.stations import STATION
from logger.store.tables import SharedLink
from logger.store.transfer import Begun, begin, pour_of, put_rows, recorded_station, rows_of

LINK = table(SharedLink)
#: Rows in one transaction: the write lock is held for some ten milliseconds, on a Pi for a tenth of a second.
MANY = 1000
#: What has not grown for this long is left over from a process that is gone, ms.
LEFT_OVER_MS = 15 * 60_000
#: The station that past logs are filed under; it can send nothing.
PAST_STATION = "past-logs"

#: Waits as long as was just worked, so that whoever waits for the write lock gets it; False: stop.
Rest = Callable[[], bool]


class ArrivalStopped(StoreError):
    """The service ends, and what was being brought in is not there."""


def begin_foreign(
    tx: Connection, parcel: Connection, body: str, origin: Mapping[str, Any], now_ms: int
) -> Begun:
    """Return the row of a record from elsewhere, not to be seen yet. Raises NotAllowed when it is here already.

    Its station and the service that recorded it are its own: whatever they are called, they are none of ours.
    """
    pour = pour_of(parcel, Parcel.POUR)
    same = select(POUR.c.id, POUR.c.seal, POUR.c.partial_ms).where(
        POUR.c.created_ms == pour["created_ms"],
        POUR.c.reading_head == pour["reading_head"],
        POUR.c.seal.is_not(None),
    )
    for stored in tx.execute(same):
        if stored.seal == pour["seal"]:
            raise NotAllowed(_here_already(fact("arriving-record"), stored.id, stored.partial_ms))
    boots = list(rows_of(parcel, Parcel.POUR, "boots"))
    of = {row[3] for row in boots}
    stations = {
        "station": None if pour["station"] is None else recorded_station(tx, pour["station"], now_ms),
        "service": recorded_station(tx, "service", now_ms) if "service" in of else None,
    }
    return begin(tx, pour, body, boots, stations, origin=dict(origin), partial_ms=now_ms)


def begin_past(tx: Connection, parcel: Connection, now_ms: int) -> Begun:
    """Return the row of the shop's own pour from a past log, not to be seen yet. Raises NotAllowed when it is here
    already.
    """
    pour = pour_of(parcel, Parcel.POUR)
    not_here_yet(tx, parcel.execute(select(READING.c.spool).limit(1)).scalar_one())
    station_id = _past_station(tx, now_ms)
    boots = rows_of(parcel, Parcel.POUR, "boots")
    return begin(tx, pour, None, boots, {"station": station_id, "service": None}, partial_ms=now_ms)


def not_here_yet(connection: Connection, spool: str) -> None:
    """Raise NotAllowed when the past log with that spool's name has been brought in."""
    query = select(POUR.c.id, POUR.c.partial_ms).join(READING, READING.c.pour_id == POUR.c.id)
    mine = STATION.c.name == PAST_STATION
    query = query.join(STATION, STATION.c.id == READING.c.station_id).where(mine, READING.c.spool == spool)
    row = connection.execute(query.limit(1)).first()
    if row is not None:
        raise NotAllowed(_here_already(fact("arriving-log"), row.id, row.partial_ms))


def copy(store: Store, parcel: Parcel, begun: Begun, now_ms: Callable[[], int], rest: Rest) -> None:
    """All rows of a pour that has begun. Raises Stopped, and NotFound when somebody has taken it out meanwhile."""
    with parcel.open() as there:
        for name in ("events", "alarms", "forecasts"):
            rows = rows_of(there, Parcel.POUR, name)
            while many := list(islice(rows, MANY)):
                _put(store, begun, name, many, now_ms, rest)
        after = 0
        while readings := parcel.readings(there, after, MANY):
            after = readings[-1][0]
            _put(store, begun, "readings", [row[1:] for row in readings], now_ms, rest)


def _put(
    store: Store,
    begun: Begun,
    name: str,
    many: Sequence[Sequence[Any]],
    now_ms: Callable[[], int],
    rest: Rest,
) -> None:
    with store.write() as tx:
        grown = update(POUR).where(POUR.c.id == begun.pour_id, ~WHOLE).values(partial_ms=now_ms())
        if tx.execute(grown).rowcount != 1:
            raise NotFound(fact("pour-taken-out-meanwhile", pour=begun.pour_id))
        put_rows(tx, begun, name, many)
    if not rest():
        raise ArrivalStopped(fact("service-ends-bring-in-again"))


def finish(tx: Connection, begun: Begun, now_ms: int, by: str, facts: Mapping[str, Any] | None) -> None:
    """Let it be seen from now on. `facts`: for the shop's event; None for a past log, whose own events have them."""
    last = select(func.coalesce(func.max(READING.c.id), 0)).where(READING.c.pour_id == begun.pour_id)
    done = update(POUR).where(POUR.c.id == begun.pour_id, ~WHOLE)
    if tx.execute(done.values(partial_ms=None, judged_reading_id=last.scalar_subquery())).rowcount != 1:
        raise NotFound(fact("pour-taken-out-meanwhile", pour=begun.pour_id))
    if facts is not None:
        add_event(
            tx,
            None,
            now_ms,
            "imported",
            by,
            fact("event-imported", workshop=str(facts["workshop"])),
            {"pour": begun.pour_id} | dict(facts),
        )


def foreign_pour(connection: Connection, pour_id: int) -> PourRow:
    """Return a record from elsewhere. Raises NotFound, and NotAllowed for the shop's own: those are never deleted."""
    pour = get_pour(connection, pour_id)
    if pour.origin is None:
        raise NotAllowed(fact("pour-kept-for-good", pour=pour_id))
    return pour


def delete_foreign(
    store: Store, pour_id: int, by: str, now_ms: Callable[[], int], rest: Rest
) -> frozenset[str]:
    """Take a record from elsewhere out, unseen from the first moment on. Gives the hashes of its photos.

    Raises NotFound, NotAllowed. What a process that is killed meanwhile leaves goes later (`take_out_left_over`).
    """
    with store.write() as tx:
        pour = foreign_pour(tx, pour_id)
        pictures = _pictures(tx, pour_id)
        tx.execute(update(POUR).where(POUR.c.id == pour_id).values(partial_ms=now_ms()))
        facts = {"pour": pour_id, "title": pour.title} | (pour.origin or {})
        text = fact("event-record-deleted", title=pour.title, workshop=str(facts["workshop"]))
        add_event(tx, None, now_ms(), "record-deleted", by, text, facts)
    take_out(store, pour_id, rest)
    return pictures


def take_out(store: Store, pour_id: int, rest: Rest = lambda: True) -> None:
    """Delete a pour that is not whole, with all that is its own, some rows at a time."""
    gone = MANY
    while gone == MANY:
        with store.write() as tx:
            mine = select(READING.c.id).join(POUR, POUR.c.id == READING.c.pour_id)
            some = list(tx.execute(mine.where(POUR.c.id == pour_id, ~WHOLE).limit(MANY)).scalars())
            gone = len(some)
            tx.execute(delete(READING).where(READING.c.id.in_(some)))
        if not rest():
            return
    with store.write() as tx:
        pour = tx.execute(select(POUR).where(POUR.c.id == pour_id, ~WHOLE)).first()
        if pour is None:
            return
        for mine_too in (EVENT, ALARM, FORECAST, POUR_PROBE, SEALED_RECORD, LINK):
            tx.execute(delete(mine_too).where(mine_too.c.pour_id == pour_id))
        poured = tx.execute(select(BOOT).where(BOOT.c.id == pour.poured_boot_id)).first()
        tx.execute(delete(POUR).where(POUR.c.id == pour_id))
        if pour.origin is None:
            # A past log's boots are named after its file: nothing else rests on them.
            name = "" if poured is None else poured.boot_id
            tx.execute(delete(BOOT).where(BOOT.c.boot_id == name, BOOT.c.boot_id.startswith("log-")))
            return
        # Only what came with it: a station of ours, and its boots, stay.
        stations = [pour.station_id, None if poured is None else poured.station_id]
        recorded = STATION.c.id.in_(
            [one for one in stations if one is not None]
        ) & STATION.c.recorded_as.is_not(None)
        tx.execute(delete(BOOT).where(BOOT.c.station_id.in_(select(STATION.c.id).where(recorded))))
        tx.execute(delete(STATION).where(recorded))


def take_out_left_over(store: Store, now_ms: int) -> int:
    """Delete what processes that are gone have left half brought in or half deleted; how many pours."""
    with store.read() as connection:
        left = list(
            connection.execute(select(POUR.c.id).where(POUR.c.partial_ms < now_ms - LEFT_OVER_MS)).scalars()
        )
    for pour_id in left:
        take_out(store, pour_id)
    return len(left)


def unused(connection: Connection, pictures: frozenset[str]) -> frozenset[str]:
    """Those photos' hashes that no pour names any more. For whoever sees all shops: they share one folder."""
    kinds = EVENT.c.kind.in_(("photo", "addition"))
    named = {
        str((row.data or {}).get("sha256"))
        for row in connection.execute(select(EVENT.c.data).where(EVENT.c.pour_id.is_not(None), kinds))
    }
    return pictures - named


def _pictures(connection: Connection, pour_id: int) -> frozenset[str]:
    rows = connection.execute(
        select(EVENT.c.data).where(EVENT.c.pour_id == pour_id, EVENT.c.kind.in_(("photo", "addition")))
    )
    return frozenset(str(row.data["sha256"]) for row in rows if row.data and "sha256" in row.data)


def _here_already(what: Fact, pour_id: int, partial_ms: int | None) -> Fact:
    if partial_ms is not None:
        return fact("being-brought-in", what=what)
    return fact("here-already", what=what, pour=pour_id)


def _past_station(tx: Connection, now_ms: int) -> int:
    value = tx.execute(select(STATION.c.id).where(STATION.c.name == PAST_STATION)).scalar()
    if value is None:
        values = {
            "name": PAST_STATION,
            "clock_set": True,
            "fan_on": False,
            "enrolled_ms": now_ms,
            "revoked_ms": now_ms,
        }
        value = tx.execute(insert(STATION).values(**values).returning(STATION.c.id)).scalar_one()
    return int(value)
