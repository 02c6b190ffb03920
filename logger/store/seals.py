"""Sealed records: the seal in the pour's row, the record's text beside it. Written once, in one transaction."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, func, insert, select, update

from logger.errors import NotAllowed
from logger.facts import fact
from logger.store.alarms import ALARM
from logger.store.boots import BOOT
from logger.store.database import table
from logger.store.events import EVENT, EVENTS
from logger.store.forecasts import FORECAST
from logger.store.pours import POUR, POUR_PROBE
from logger.store.readings import READING
from logger.store.rows import EventRow, PourRow, all_rows
from logger.store.tables import SealedRecord

SEALED_RECORD = table(SealedRecord)
#: Columns of a pour's row that its record rests on.
POUR_FIELDS = (
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
)


def keep_seal(tx: Connection, pour_id: int, seal: Mapping[str, Any], body: str) -> None:
    """Keep a pour's seal and its record's text. Raises NotAllowed when there is one already."""
    if tx.execute(select(POUR.c.seal).where(POUR.c.id == pour_id)).scalar() is not None:
        raise NotAllowed(fact("sealed-already", pour=pour_id))
    tx.execute(update(POUR).where(POUR.c.id == pour_id).values(seal=dict(seal)))
    tx.execute(insert(SEALED_RECORD).values(pour_id=pour_id, body=body))


def sealed_body(connection: Connection, pour_id: int) -> str | None:
    """Return the text of a pour's record as it was sealed, or None."""
    return connection.execute(select(SEALED_RECORD.c.body).where(SEALED_RECORD.c.pour_id == pour_id)).scalar()


def counted(connection: Connection, pour_id: int) -> int:
    """How many readings a pour has."""
    return int(connection.execute(select(func.count()).where(READING.c.pour_id == pour_id)).scalar_one())


def boots_of(connection: Connection, pour_id: int) -> dict[str, int]:
    """Name of each boot that a pour's readings came from → its offset, ms."""
    used = select(READING.c.boot).where(READING.c.pour_id == pour_id).distinct()
    return {
        row.boot_id: row.offset_ms
        for row in connection.execute(select(BOOT.c.boot_id, BOOT.c.offset_ms).where(BOOT.c.id.in_(used)))
    }


def poured_boot(connection: Connection, pour: PourRow) -> dict[str, Any] | None:
    """Return the service's boot in which pouring started: boot_id, offset_ms; None before pouring."""
    rows = connection.execute(
        select(BOOT.c.boot_id, BOOT.c.offset_ms).where(BOOT.c.id == pour.poured_boot_id)
    )
    row = rows.first()
    return None if row is None else {"boot_id": row.boot_id, "offset_ms": row.offset_ms}


def probes_chosen(connection: Connection, pour_id: int) -> list[str]:
    """Return the probes that were chosen for a pour; empty when it takes all of its station's."""
    return sorted(
        connection.execute(select(POUR_PROBE.c.rom).where(POUR_PROBE.c.pour_id == pour_id)).scalars()
    )


def ids_of_alarms(connection: Connection, pour_id: int) -> list[int]:
    """Return a pour's alarms, oldest first."""
    return list(
        connection.execute(
            select(ALARM.c.id).where(ALARM.c.pour_id == pour_id).order_by(ALARM.c.id)
        ).scalars()
    )


def ids_of_forecasts(connection: Connection, pour_id: int) -> list[int]:
    """Return a pour's forecasts, oldest first."""
    query = select(FORECAST.c.id).where(FORECAST.c.pour_id == pour_id).order_by(FORECAST.c.id)
    return list(connection.execute(query).scalars())


def alarm_row(connection: Connection, alarm_id: int) -> Mapping[str, Any]:
    """One alarm's columns."""
    return dict(connection.execute(select(ALARM).where(ALARM.c.id == alarm_id)).mappings().one())


def forecast_row(connection: Connection, forecast_id: int) -> Mapping[str, Any]:
    """One forecast's columns."""
    return dict(connection.execute(select(FORECAST).where(FORECAST.c.id == forecast_id)).mappings().one())


def pour_column(connection: Connection, pour_id: int, name: str) -> Any:
    """One column of a pour's row."""
    return connection.execute(select(POUR.c[name]).where(POUR.c.id == pour_id)).scalar()


def events_after(connection: Connection, pour_id: int, count: int) -> list[EventRow]:
    """Return a pour's events but the first `count`, oldest first."""
    query = EVENTS.where(EVENT.c.pour_id == pour_id).order_by(EVENT.c.id).offset(count)
    return all_rows(connection, query.limit(-1) if connection.dialect.name == "sqlite" else query, EventRow)
