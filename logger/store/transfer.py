"""A pour's rows out of the database as plain tuples, and into another database with its links as they were."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from logger.errors import NotAllowed
from logger.store.alarms import ALARM
from logger.store.boots import BOOT
from logger.store.chain import EVENT_FIELDS, READING_FIELDS
from logger.store.database import table
from logger.store.events import EVENT
from logger.store.forecasts import FORECAST
from logger.store.pours import POUR, POUR_PROBE
from logger.store.readings import READING
from logger.store.stations import STATION
from logger.store.tables import SealedRecord

#: Table of a bundle → its columns, in order.
COLUMNS: dict[str, tuple[str, ...]] = {
    "readings": (*READING_FIELDS, "link"),
    "events": (*EVENT_FIELDS, "link"),
    "alarms": ("subject", "kind", "activation", "priority", "phase", "reason", "value", "limit", "late",
               "raised_ms", "acknowledged_ms", "acknowledged_by", "returned_ms", "ended_ms"),
    "forecasts": ("made_ms", "at_h", "body"),
    "boots": ("boot_id", "offset_ms", "clock_set", "of"),
}  # fmt: skip
#: Columns of a pour's own row that go along.
POUR_COLUMNS = ("title", "client", "stage", "plan_toml", "prediction", "model_version", "created_ms",
                "poured_boot_ms", "released_ms", "closed_ms", "reading_head", "event_head", "seal")  # fmt: skip
#: Rows put in with one statement.
_MANY = 5000


def rows_of(connection: Connection, pour_id: int, name: str) -> Iterator[tuple[Any, ...]]:
    """One table's rows of a pour, in the order in which they were stored."""
    if name == "boots":
        yield from _boots(connection, pour_id)
        return
    if name == "readings":
        wanted = select(
            *(BOOT.c.boot_id if column == "boot_id" else READING.c[column] for column in COLUMNS[name])
        )
        wanted = wanted.join(BOOT, BOOT.c.id == READING.c.boot).where(READING.c.pour_id == pour_id)
        wanted = wanted.order_by(READING.c.id)
    else:
        source: Table = {"events": EVENT, "alarms": ALARM, "forecasts": FORECAST}[name]
        wanted = select(*(source.c[column] for column in COLUMNS[name]))
        wanted = wanted.where(source.c.pour_id == pour_id).order_by(source.c.id)
    for row in connection.execute(wanted):
        values = tuple(row)
        # An alarm's subject starts with this database's number of the pour, which means nothing elsewhere.
        yield (values[0].partition("/")[2], *values[1:]) if name == "alarms" else values


def pour_of(connection: Connection, pour_id: int) -> dict[str, Any]:
    """A pour's own row with the names of its station, its boot and its probes."""
    row = connection.execute(
        select(
            *(POUR.c[name] for name in POUR_COLUMNS),
            STATION.c.name.label("station"),
            BOOT.c.boot_id.label("poured_boot_id"),
        )
        .join(STATION, STATION.c.id == POUR.c.station_id, isouter=True)
        .join(BOOT, BOOT.c.id == POUR.c.poured_boot_id, isouter=True)
        .where(POUR.c.id == pour_id)
    ).one()
    chosen = connection.execute(select(POUR_PROBE.c.rom).where(POUR_PROBE.c.pour_id == pour_id)).scalars()
    return dict(row._mapping) | {"probes": sorted(chosen)}


def put_in(
    tx: Connection,
    pour: Mapping[str, Any],
    body: str | None,
    tables: Mapping[str, Iterable[Sequence[Any]]],
    now_ms: int,
) -> int:
    """A pour from another database with everything that is its own. Gives its number here.

    Raises NotAllowed when it is here already, or when a boot of that name is known with another time of day.
    """
    if pour["seal"] is not None:
        for known in tx.execute(select(POUR.c.id, POUR.c.seal).where(POUR.c.seal.is_not(None))):
            if known.seal == pour["seal"]:
                raise NotAllowed(f"this record is here already: it is pour {known.id}")
    station_id = None if pour["station"] is None else _station(tx, pour["station"], now_ms)
    boots: dict[tuple[str, str], int] = {}
    for boot_id, offset_ms, clock_set, of in tables["boots"]:
        boots[of, boot_id] = _boot(tx, station_id if of == "station" else None, boot_id, offset_ms, clock_set)
    values = {name: pour[name] for name in POUR_COLUMNS} | {
        "station_id": station_id,
        "poured_boot_id": boots.get(("service", str(pour["poured_boot_id"]))),
        "judged_reading_id": 0,
    }
    pour_id = int(tx.execute(insert(POUR).values(**values).returning(POUR.c.id)).scalar_one())
    if pour["probes"]:
        tx.execute(insert(POUR_PROBE), [{"pour_id": pour_id, "rom": rom} for rom in pour["probes"]])
    if body is not None:
        tx.execute(insert(table(SealedRecord)).values(pour_id=pour_id, body=body))
    for name, target in (
        ("events", EVENT),
        ("alarms", ALARM),
        ("forecasts", FORECAST),
        ("readings", READING),
    ):
        many: list[dict[str, Any]] = []
        for row in tables[name]:
            made = dict(zip(COLUMNS[name], row, strict=True)) | {"pour_id": pour_id}
            if name == "alarms":
                made["subject"] = f"{pour_id}/{made['subject']}"
            elif name == "readings":
                made["boot"] = boots["station", made.pop("boot_id")]
                made["station_id"] = station_id
            many.append(made)
            if len(many) == _MANY:
                tx.execute(insert(target), many)
                many = []
        if many:
            tx.execute(insert(target), many)
    return pour_id


def _boots(connection: Connection, pour_id: int) -> Iterator[tuple[Any, ...]]:
    used = select(READING.c.boot).where(READING.c.pour_id == pour_id).distinct()
    columns = (BOOT.c.boot_id, BOOT.c.offset_ms, BOOT.c.clock_set)
    for row in connection.execute(select(*columns).where(BOOT.c.id.in_(used)).order_by(BOOT.c.id)):
        yield (*row, "station")
    poured = select(POUR.c.poured_boot_id).where(POUR.c.id == pour_id)
    for row in connection.execute(select(*columns).where(BOOT.c.id.in_(poured))):
        yield (*row, "service")


def _station(tx: Connection, name: str, now_ms: int) -> int:
    """The station of that name here, or one that can send nothing: a record needs only its name."""
    found = tx.execute(select(STATION.c.id).where(STATION.c.name == name)).scalar()
    if found is None:
        found = tx.execute(
            insert(STATION)
            .values(name=name, clock_set=False, fan_on=False, enrolled_ms=now_ms, revoked_ms=now_ms)
            .returning(STATION.c.id)
        ).scalar_one()
    return int(found)


def _boot(tx: Connection, station_id: int | None, boot_id: str, offset_ms: int, clock_set: bool) -> int:
    mine = BOOT.c.station_id.is_(None) if station_id is None else BOOT.c.station_id == station_id
    found = tx.execute(select(BOOT.c.id, BOOT.c.offset_ms).where(mine, BOOT.c.boot_id == boot_id)).first()
    if found is None:
        values = {
            "station_id": station_id, "boot_id": boot_id, "offset_ms": offset_ms, "clock_set": clock_set
        }  # fmt: skip
        return int(tx.execute(insert(BOOT).values(**values).returning(BOOT.c.id)).scalar_one())
    if found.offset_ms != offset_ms:
        raise NotAllowed(
            f"boot {boot_id} is known here with another time of day ({found.offset_ms} ms, not {offset_ms} ms): "
            "one of the two databases was altered; verify both records"
        )
    return int(found.id)
