"""Readings and faults as they are stored: what came after a row, all of a pour's, how many."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Row, bindparam, func, select

from logger.store.boots import BOOT
from logger.store.reading_batches import READING, Conflict, Saved, save_batch
from logger.store.stations import STATION

__all__ = [
    "READING",
    "Conflict",
    "Saved",
    "after",
    "counts",
    "hottest_core",
    "many_readings",
    "newest_core",
    "points_after",
    "save_batch",
    "series",
]


# With every judgement; built once.
_AFTER = (
    select(
        READING,
        (READING.c.boot_ms + BOOT.c.offset_ms).label("at_ms"),
        STATION.c.name.label("station_name"),
    )
    .join(BOOT, BOOT.c.id == READING.c.boot)
    .join(STATION, STATION.c.id == READING.c.station_id)
    .where(READING.c.pour_id == bindparam("pour"), READING.c.id > bindparam("after"))
    .order_by(READING.c.id)
    .limit(bindparam("most"))
)


def after(connection: Connection, pour_id: int, reading_id: int, most: int = 5000) -> list[Row[Any]]:
    """Return a pour's readings that arrived after a given one, oldest arrival first, with `at_ms` (true time)."""
    return list(connection.execute(_AFTER, {"pour": pour_id, "after": reading_id, "most": most}))


def points_after(
    connection: Connection, pour_id: int, reading_id: int, most: int = 10_000
) -> list[tuple[Any, ...]]:
    """Return what a chart needs of a pour's readings that arrived after a given one: id, boot, boot_ms, probe, place,
    milli_c; so many at a time, since other threads stand still while the driver fetches.

    Plain tuples of the driver, few columns, no join: three days of six probes in half a second instead of two.
    """
    c = READING.c
    query = select(c.id, c.boot, c.boot_ms, c.probe, c.place, c.milli_c)
    rows = connection.execute(query.where(c.pour_id == pour_id, c.id > reading_id).order_by(c.id).limit(most))
    return list(rows.cursor.fetchall()) if rows.cursor is not None else []


def many_readings(connection: Connection, pour_id: int, more_than: int) -> bool:
    """Whether a pour has more readings than so many; as many are counted, and no more."""
    query = select(READING.c.id).where(READING.c.pour_id == pour_id).order_by(READING.c.id)
    return connection.execute(query.offset(more_than).limit(1)).first() is not None


def hottest_core(connection: Connection, pour_id: int, from_ms: int) -> Any:
    """Return a pour's hottest core reading from a moment on: at_ms and milli_c; None when there is none."""
    at_ms = READING.c.boot_ms + BOOT.c.offset_ms
    query = select(at_ms.label("at_ms"), READING.c.milli_c).join(BOOT, BOOT.c.id == READING.c.boot)
    query = query.where(READING.c.pour_id == pour_id, READING.c.place.startswith("core"), at_ms >= from_ms)
    hottest_first = query.where(READING.c.milli_c.is_not(None)).order_by(READING.c.milli_c.desc(), at_ms)
    return connection.execute(hottest_first.limit(1)).first()


def newest_core(connection: Connection, pour_id: int) -> Any:
    """Return the temperature of a pour's core that arrived last: at_ms and milli_c; None when there is none."""
    at_ms = READING.c.boot_ms + BOOT.c.offset_ms
    query = select(at_ms.label("at_ms"), READING.c.milli_c).join(BOOT, BOOT.c.id == READING.c.boot)
    query = query.where(
        READING.c.pour_id == pour_id, READING.c.place == "core", READING.c.milli_c.is_not(None)
    )
    return connection.execute(query.order_by(READING.c.id.desc()).limit(1)).first()


def series(connection: Connection, pour_id: int, until_id: int | None = None) -> list[Row[Any]]:
    """All of a pour's readings in the order in which they were taken: at_ms, probe, place, milli_c, fault, late."""
    query = select(
        (READING.c.boot_ms + BOOT.c.offset_ms).label("at_ms"),
        READING.c.probe,
        READING.c.place,
        READING.c.milli_c,
        READING.c.fault,
        READING.c.late,
    ).join(BOOT, BOOT.c.id == READING.c.boot)
    query = query.where(READING.c.pour_id == pour_id)
    if until_id is not None:
        query = query.where(READING.c.id <= until_id)
    return list(connection.execute(query.order_by("at_ms", READING.c.id)))


def counts(connection: Connection, pour_id: int) -> tuple[int, int]:
    """(rows, of which faults) of a pour."""
    row = connection.execute(
        select(func.count(), func.count(READING.c.fault)).where(READING.c.pour_id == pour_id)
    ).one()
    return int(row[0]), int(row[1])
