"""A pour's rows out of the database as plain tuples, and into another database with its links as they were."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from logger.errors import NotAllowed
from logger.facts import fact
from logger.store.alarms import ALARM
from logger.store.boots import BOOT
from logger.store.database import table
from logger.store.dialect import insert_many
from logger.store.events import EVENT
from logger.store.forecasts import FORECAST
from logger.store.hash_chain import EVENT_FIELDS, READING_FIELDS
from logger.store.pours import POUR, POUR_PROBE
from logger.store.readings import READING
from logger.store.stations import NAME, STATION
from logger.store.tables import SealedRecord

#: Table of a bundle → its columns, in order.
COLUMNS: dict[str, tuple[str, ...]] = {
    "readings": (*READING_FIELDS, "link"),
    "events": (*EVENT_FIELDS, "link"),
    "alarms": (
        "subject",
        "kind",
        "activation",
        "priority",
        "phase",
        "reason",
        "value",
        "limit",
        "late",
        "raised_ms",
        "acknowledged_ms",
        "acknowledged_by",
        "returned_ms",
        "ended_ms",
    ),
    "forecasts": ("made_ms", "at_h", "body"),
    "boots": ("boot_id", "offset_ms", "clock_set", "of"),
}
#: Columns of a pour's own row that go along.
POUR_COLUMNS = (
    "title",
    "client",
    "stage",
    "plan_toml",
    "prediction",
    "model_version",
    "created_ms",
    "poured_boot_ms",
    "released_ms",
    "closed_ms",
    "reading_head",
    "event_head",
    "seal",
)
_TABLES: dict[str, Table] = {"events": EVENT, "alarms": ALARM, "forecasts": FORECAST}


def rows_of(connection: Connection, pour_id: int, name: str) -> Iterator[tuple[Any, ...]]:
    """One table's rows of a pour, in the order in which they were stored."""
    if name == "boots":
        yield from _boots(connection, pour_id)
        return
    if name == "readings":
        query = select(
            *(BOOT.c.boot_id if column == "boot_id" else READING.c[column] for column in COLUMNS[name])
        )
        query = query.join(BOOT, BOOT.c.id == READING.c.boot).where(READING.c.pour_id == pour_id)
        query = query.order_by(READING.c.id)
    else:
        source = _TABLES[name]
        query = select(*(source.c[column] for column in COLUMNS[name]))
        query = query.where(source.c.pour_id == pour_id).order_by(source.c.id)
    for row in connection.execute(query):
        values = tuple(row)
        # An alarm's subject starts with this database's number of the pour, which means nothing elsewhere.
        yield (values[0].partition("/")[2], *values[1:]) if name == "alarms" else values


def pour_of(connection: Connection, pour_id: int) -> dict[str, Any]:
    """Return a pour's own row with the names of its station, its boot and its probes."""
    row = connection.execute(
        select(
            *(POUR.c[name] for name in POUR_COLUMNS),
            NAME.label("station"),
            BOOT.c.boot_id.label("poured_boot_id"),
        )
        .join(STATION, STATION.c.id == POUR.c.station_id, isouter=True)
        .join(BOOT, BOOT.c.id == POUR.c.poured_boot_id, isouter=True)
        .where(POUR.c.id == pour_id)
    ).one()
    chosen = connection.execute(select(POUR_PROBE.c.rom).where(POUR_PROBE.c.pour_id == pour_id)).scalars()
    return dict(row._mapping) | {"probes": sorted(chosen)}


@dataclass(frozen=True, slots=True)
class Begun:
    """A pour whose own row is there, and to which its other rows are put."""

    pour_id: int
    station_id: int | None
    #: (station or service, name of its boot) → the boot's row.
    boots: Mapping[tuple[str, str], int]


def begin(
    tx: Connection,
    pour: Mapping[str, Any],
    body: str | None,
    boots: Iterable[Sequence[Any]],
    stations: Mapping[str, int | None],
    **also: Any,
) -> Begun:
    """Write a pour's own row, its boots, its probes and its sealed record's text. `also`: more columns of its row.

    `stations`: whose boots are whose: the station's row and the service's (None: this service).
    """
    rows = {}
    for boot_id, offset_ms, clock_set, of in boots:
        values = {
            "station_id": stations[of],
            "boot_id": boot_id,
            "offset_ms": offset_ms,
            "clock_set": clock_set,
        }
        rows[of, boot_id] = int(tx.execute(insert(BOOT).values(**values).returning(BOOT.c.id)).scalar_one())
    columns = {name: pour[name] for name in POUR_COLUMNS if pour[name] is not None} | {
        "station_id": stations["station"],
        "poured_boot_id": rows.get(("service", str(pour["poured_boot_id"]))),
        "judged_reading_id": 0,
    }
    pour_id = int(tx.execute(insert(POUR).values(**(columns | also)).returning(POUR.c.id)).scalar_one())
    if pour["probes"]:
        tx.execute(insert(POUR_PROBE), [{"pour_id": pour_id, "rom": rom} for rom in pour["probes"]])
    if body is not None:
        tx.execute(insert(table(SealedRecord)).values(pour_id=pour_id, body=body))
    return Begun(pour_id, stations["station"], rows)


def put_rows(tx: Connection, begun: Begun, name: str, rows: Iterable[Sequence[Any]]) -> int:
    """Write some rows of one table of a pour, in order, and return how many. Raises NotAllowed for an unknown boot."""
    many = []
    for row in rows:
        values = dict(zip(COLUMNS[name], row, strict=True)) | {"pour_id": begun.pour_id}
        if name == "alarms":
            values["subject"] = f"{begun.pour_id}/{values['subject']}"
        elif name == "readings":
            boot = begun.boots.get(("station", values.pop("boot_id")))
            if boot is None:
                raise NotAllowed(fact("reading-names-no-boot", reading=values["seq"], spool=values["spool"]))
            values |= {"boot": boot, "station_id": begun.station_id}
        many.append(values)
    if not many:
        return 0
    if name == "readings":
        insert_many(tx, READING, many)
    else:
        tx.execute(insert(_TABLES[name]), many)
    return len(many)


def recorded_station(tx: Connection, name: str, now_ms: int) -> int:
    """Add and return a station that only a record names.

    It can send nothing, and its boots and readings are that record's alone.
    """
    values = {
        "name": f"record-{secrets.token_hex(16)}",
        "recorded_as": name,
        "clock_set": False,
        "fan_on": False,
        "enrolled_ms": now_ms,
        "revoked_ms": now_ms,
    }
    return int(tx.execute(insert(STATION).values(**values).returning(STATION.c.id)).scalar_one())


def _boots(connection: Connection, pour_id: int) -> Iterator[tuple[Any, ...]]:
    used = select(READING.c.boot).where(READING.c.pour_id == pour_id).distinct()
    columns = (BOOT.c.boot_id, BOOT.c.offset_ms, BOOT.c.clock_set)
    for row in connection.execute(select(*columns).where(BOOT.c.id.in_(used)).order_by(BOOT.c.id)):
        yield (*row, "station")
    poured = select(POUR.c.poured_boot_id).where(POUR.c.id == pour_id)
    for row in connection.execute(select(*columns).where(BOOT.c.id.in_(poured))):
        yield (*row, "service")
