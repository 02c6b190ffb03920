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
#: The event that keeps the units of a shop: data {"units": "c.mm.l.kg"}.
UNITS_CHOSEN = "units-chosen"


def shop_events(connection: Connection, *kinds: str) -> list[Row[Any]]:
    """Events of some kinds that belong to no pour, oldest first."""
    wanted = select(EVENT).where(EVENT.c.pour_id.is_(None), EVENT.c.kind.in_(kinds)).order_by(EVENT.c.id)
    return list(connection.execute(wanted))


def units_of(connection: Connection, shop_id: int | None = None) -> str | None:
    """The units that were chosen for a shop, as four words; None before. Without a shop: of whoever asks."""
    wanted = select(EVENT.c.data).where(EVENT.c.pour_id.is_(None), EVENT.c.kind == UNITS_CHOSEN)
    if shop_id is not None:
        wanted = wanted.where(EVENT.c.shop_id == shop_id)
    told = connection.execute(wanted.order_by(EVENT.c.id.desc()).limit(1)).scalar()
    return None if told is None else str(told["units"])


def units_of_pour(connection: Connection, pour_id: int) -> str | None:
    """The units that were chosen for a pour's shop, as four words; None before."""
    shop_id = connection.execute(select(POUR.c.shop_id).where(POUR.c.id == pour_id)).scalar()
    return units_of(connection, shop_id)


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
