"""What the whole shop has: its events that belong to no pour, and its sealed records."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import Connection, Row, select

from logger.store.database import table
from logger.store.events import EVENT
from logger.store.pours import POUR
from logger.store.tables import SealedRecord

SEALED_RECORD = table(SealedRecord)


def shop_events(connection: Connection, *kinds: str) -> list[Row[Any]]:
    """Events of some kinds that belong to no pour, oldest first."""
    wanted = select(EVENT).where(EVENT.c.pour_id.is_(None), EVENT.c.kind.in_(kinds)).order_by(EVENT.c.id)
    return list(connection.execute(wanted))


def events_of_all_pours(connection: Connection, *kinds: str) -> list[Row[Any]]:
    """Events of some kinds of all pours, oldest first."""
    wanted = select(EVENT).where(EVENT.c.pour_id.is_not(None), EVENT.c.kind.in_(kinds)).order_by(EVENT.c.id)
    return list(connection.execute(wanted))


def sealed_records(connection: Connection) -> list[tuple[int, dict[str, Any]]]:
    """(pour, record as sealed) of every sealed pour, oldest first."""
    wanted = select(SEALED_RECORD.c.pour_id, SEALED_RECORD.c.body).order_by(SEALED_RECORD.c.pour_id)
    return [(row.pour_id, json.loads(row.body)) for row in connection.execute(wanted)]


def sealed_ids(connection: Connection) -> list[int]:
    """Every sealed pour, oldest first."""
    return list(
        connection.execute(select(SEALED_RECORD.c.pour_id).order_by(SEALED_RECORD.c.pour_id)).scalars()
    )


def titles(connection: Connection) -> dict[int, str]:
    """Pour → title."""
    return {row.id: row.title for row in connection.execute(select(POUR.c.id, POUR.c.title))}
