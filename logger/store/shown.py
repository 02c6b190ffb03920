"""What pages ask of the database: read-only questions that no other noun's file needs."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Row, select

from logger.alarms.state import Phase
from logger.store.alarms import ALARM
from logger.store.events import EVENT
from logger.store.pours import POUR, POUR_PROBE
from logger.store.readings import READING
from logger.store.stations import PROBE


def unanswered(connection: Connection) -> list[Row[Any]]:
    """Alarms that nobody has acknowledged, the gravest first, each with `pour_title` (None: the watch itself)."""
    rows = connection.execute(
        select(ALARM, POUR.c.title.label("pour_title"))
        .join(POUR, POUR.c.id == ALARM.c.pour_id, isouter=True)
        .where(ALARM.c.phase.in_((Phase.RAISED, Phase.RETURNED)))
    )
    rank = {"high": 0, "medium": 1, "low": 2}
    return sorted(rows, key=lambda row: (rank[row.priority], row.phase != Phase.RAISED, row.raised_ms))


def probes_of_pour(connection: Connection, pour: Row[Any]) -> list[Row[Any]]:
    """The probes that watch a pour, each with its last reading: all of its station's, or those chosen for it."""
    if pour.station_id is None:
        return []
    chosen = set(
        connection.execute(select(POUR_PROBE.c.rom).where(POUR_PROBE.c.pour_id == pour.id)).scalars()
    )
    rows = connection.execute(
        select(PROBE).where(PROBE.c.station_id == pour.station_id).order_by(PROBE.c.place)
    )
    return [row for row in rows if not chosen or row.rom in chosen]


def newest_events(connection: Connection, pour_id: int, most: int = 200) -> list[Row[Any]]:
    """A pour's events, newest first."""
    return list(
        connection.execute(
            select(EVENT).where(EVENT.c.pour_id == pour_id).order_by(EVENT.c.id.desc()).limit(most)
        )
    )


def events_of_kind(connection: Connection, pour_id: int, *kinds: str) -> list[Row[Any]]:
    """A pour's events of some kinds, oldest first."""
    return list(
        connection.execute(
            select(EVENT).where(EVENT.c.pour_id == pour_id, EVENT.c.kind.in_(kinds)).order_by(EVENT.c.id)
        )
    )


def contacts_of(connection: Connection, pour_id: int) -> dict[str, Row[Any]]:
    """Place → the last change of each contact (rows with neither temperature nor fault)."""
    rows = connection.execute(
        select(READING)
        .where(READING.c.pour_id == pour_id, READING.c.milli_c.is_(None), READING.c.fault.is_(None))
        .order_by(READING.c.id)
    )
    return {row.place: row for row in rows}
