"""What contacts last said: rows with neither temperature nor fault, raw "1" or "0"."""

from __future__ import annotations

from sqlalchemy import Connection, select

from logger.store.database import table
from logger.store.tables import ReadingRow

READING = table(ReadingRow)


def fan_turns(connection: Connection, station_id: int) -> bool | None:
    """Whether the fan's proof contact says that it turns; None where there is none.

    Looks through all readings: asked once after a start, and then followed.
    """
    raw = connection.execute(
        select(READING.c.raw)
        .where(READING.c.station_id == station_id)
        .where(READING.c.place == "fan", READING.c.milli_c.is_(None), READING.c.fault.is_(None))
        .order_by(READING.c.id.desc())
        .limit(1)
    ).scalar()
    return None if raw is None else raw == "1"
