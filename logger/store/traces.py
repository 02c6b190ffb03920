"""A pour's readings as columns: what figures, plots and fits are made of. Much lighter than rows of objects."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import Connection, func, or_, select

from logger.store.boots import BOOT
from logger.store.readings import READING

_AT_MS = (READING.c.boot_ms + BOOT.c.offset_ms).label("at_ms")


@dataclass(frozen=True, slots=True)
class Trace:
    """One probe's readings in the order in which they were taken: at_ms (N,), celsius (N,), NaN for a fault."""

    probe: str
    place: str
    at_ms: npt.NDArray[np.int64]
    celsius: npt.NDArray[np.float64]


def traces(connection: Connection, pour_id: int) -> list[Trace]:
    """Each of a pour's thermometers, sorted by place."""
    query = (
        select(READING.c.probe, READING.c.place, _AT_MS, READING.c.milli_c)
        .join(BOOT, BOOT.c.id == READING.c.boot)
        .where(
            READING.c.pour_id == pour_id, or_(READING.c.milli_c.is_not(None), READING.c.fault.is_not(None))
        )
        .order_by("at_ms", READING.c.id)
    )
    gathered: dict[tuple[str, str], tuple[list[int], list[float]]] = {}
    for probe, place, at_ms, milli_c in _plain(connection, query):
        times, values = gathered.setdefault((place, probe), ([], []))
        times.append(at_ms)
        values.append(np.nan if milli_c is None else milli_c)
    return [
        Trace(probe, place, np.array(times, dtype=np.int64), np.array(values) / 1000)
        for (place, probe), (times, values) in sorted(gathered.items())
    ]


def humidity(connection: Connection, pour_id: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """(at_ms, %) of a pour's air, in the order in which it was read."""
    query = (
        select(_AT_MS, READING.c.milli_rh)
        .join(BOOT, BOOT.c.id == READING.c.boot)
        .where(READING.c.pour_id == pour_id, READING.c.milli_rh.is_not(None))
        .order_by("at_ms")
    )
    rows = _plain(connection, query)
    return np.array([row[0] for row in rows], dtype=np.int64), np.array([row[1] for row in rows]) / 1000


def faults(connection: Connection, pour_id: int) -> list[dict[str, Any]]:
    """Failed reads by probe, place and reason: how many, the first and the last (at_ms)."""
    at_ms = READING.c.boot_ms + BOOT.c.offset_ms
    query = (
        select(
            READING.c.probe,
            READING.c.place,
            READING.c.fault,
            func.count().label("count"),
            func.min(at_ms).label("first_ms"),
            func.max(at_ms).label("last_ms"),
        )
        .join(BOOT, BOOT.c.id == READING.c.boot)
        .where(READING.c.pour_id == pour_id, READING.c.fault.is_not(None))
        .group_by(READING.c.probe, READING.c.place, READING.c.fault)
        .order_by("first_ms", READING.c.probe)
    )
    return [dict(row) for row in connection.execute(query).mappings()]


def contacts(connection: Connection, pour_id: int) -> list[dict[str, Any]]:
    """Return the changes of contacts (wet under the form, fan): at_ms, place, raw and what it means."""
    query = (
        select(_AT_MS, READING.c.place, READING.c.raw, READING.c.note)
        .join(BOOT, BOOT.c.id == READING.c.boot)
        .where(
            READING.c.pour_id == pour_id,
            READING.c.milli_c.is_(None),
            READING.c.fault.is_(None),
            READING.c.milli_rh.is_(None),
        )
        .order_by("at_ms")
    )
    return [dict(row) for row in connection.execute(query).mappings()]


def _plain(connection: Connection, query: Any) -> list[Any]:
    # The driver's own rows: three hundred thousand wrapped ones would take seconds.
    return list(connection.execute(query).cursor.fetchall())
