"""What the whole shop has: its events that belong to no pour, and its sealed records."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from logger.store.database import table
from logger.store.events import EVENT, EVENTS, ours
from logger.store.pours import OWN, POUR, WHOLE
from logger.store.rows import EventRow, ForeignPour, ForeignRecord, all_rows, columns
from logger.store.tables import SealedRecord

SEALED_RECORD = table(SealedRecord)
#: The event that keeps how a shop reads: data {"units": "c.mm.l.kg", "language": "en"}; of before, without language.
UNITS_CHOSEN = "units-chosen"
#: The event that keeps what is the same in most of a shop's plans: data is a part of a plan file, as a table.
USUAL = "shop-usual"


def shop_events(connection: Connection, *kinds: str) -> list[EventRow]:
    """Events of some kinds that belong to no pour, oldest first."""
    query = EVENTS.where(EVENT.c.pour_id.is_(None), EVENT.c.kind.in_(kinds)).order_by(EVENT.c.id)
    return all_rows(connection, query, EventRow)


@dataclass(frozen=True, slots=True)
class Reading:
    """In which units (four words, "c.mm.l.kg") and language somebody reads; None: not chosen."""

    units: str | None = None
    language: str | None = None


def reading_of(connection: Connection, shop_id: int | None = None) -> Reading:
    """Return how a shop reads. Without a shop: that of whoever asks."""
    query = select(EVENT.c.data).where(EVENT.c.pour_id.is_(None), EVENT.c.kind == UNITS_CHOSEN)
    if shop_id is not None:
        query = query.where(EVENT.c.shop_id == shop_id)
    value = connection.execute(query.order_by(EVENT.c.id.desc()).limit(1)).scalar()
    return Reading() if value is None else Reading(str(value["units"]), value.get("language"))


def readings_of_shops(connection: Connection) -> dict[int, Reading]:
    """Return how each shop reads that has chosen."""
    query = select(EVENT.c.shop_id, EVENT.c.data).where(
        EVENT.c.pour_id.is_(None), EVENT.c.kind == UNITS_CHOSEN
    )
    return {
        row.shop_id: Reading(str(row.data["units"]), row.data.get("language"))
        for row in connection.execute(query.order_by(EVENT.c.id))
    }


def units_of(connection: Connection, shop_id: int | None = None) -> str | None:
    """Return the units that were chosen for a shop, as four words; None before. Without a shop: of whoever asks."""
    return reading_of(connection, shop_id).units


def usual_of(connection: Connection) -> dict[str, Any]:
    """Return what the shop keeps for every new plan, as a part of a plan file (room, people, pails, scale, form)."""
    query = select(EVENT.c.data).where(EVENT.c.pour_id.is_(None), EVENT.c.kind == USUAL)
    return dict(connection.execute(query.order_by(EVENT.c.id.desc()).limit(1)).scalar() or {})


def units_of_pour(connection: Connection, pour_id: int) -> str | None:
    """Return the units that were chosen for a pour's shop, as four words; None before."""
    return reading_of_pour(connection, pour_id).units


def reading_of_pour(connection: Connection, pour_id: int) -> Reading:
    """Return how a pour's shop reads."""
    shop_id = connection.execute(select(POUR.c.shop_id).where(POUR.c.id == pour_id)).scalar()
    return reading_of(connection, shop_id)


def events_of_all_pours(connection: Connection, *kinds: str) -> list[EventRow]:
    """Events of some kinds of all of the shop's own pours, oldest first."""
    query = EVENTS.where(EVENT.c.pour_id.is_not(None), EVENT.c.kind.in_(kinds), ours(EVENT.c.pour_id))
    return all_rows(connection, query.order_by(EVENT.c.id), EventRow)


def sealed_records(connection: Connection) -> list[tuple[int, dict[str, Any]]]:
    """(pour, record as sealed) of every sealed pour of the shop's own, oldest first."""
    query = select(SEALED_RECORD.c.pour_id, SEALED_RECORD.c.body).where(ours(SEALED_RECORD.c.pour_id))
    query = query.order_by(SEALED_RECORD.c.pour_id)
    return [(row.pour_id, json.loads(row.body)) for row in connection.execute(query)]


def foreign_pours(connection: Connection) -> list[ForeignPour]:
    """Return the records from elsewhere, newest first: id, title and origin."""
    query = select(*columns(POUR, ForeignPour)).where(~OWN, WHOLE)
    return all_rows(connection, query.order_by(POUR.c.id.desc()), ForeignPour)


def foreign_records(connection: Connection) -> list[ForeignRecord]:
    """Return the same with `body`, the text of the record (None: it has none)."""
    query = select(*columns(POUR, ForeignRecord, SEALED_RECORD.c.body))
    query = query.join(SEALED_RECORD, SEALED_RECORD.c.pour_id == POUR.c.id, isouter=True)
    return all_rows(connection, query.where(~OWN, WHOLE).order_by(POUR.c.id.desc()), ForeignRecord)


def sealed_ids(connection: Connection) -> list[int]:
    """Every sealed pour of the shop's own, oldest first."""
    query = select(SEALED_RECORD.c.pour_id).where(ours(SEALED_RECORD.c.pour_id))
    return list(connection.execute(query.order_by(SEALED_RECORD.c.pour_id)).scalars())


def titles(connection: Connection, *, own: bool = False) -> dict[int, str]:
    """Pour → title; of all pours, or only of the shop's own."""
    query = select(POUR.c.id, POUR.c.title).where(WHOLE)
    return {row.id: row.title for row in connection.execute(query.where(OWN) if own else query)}
