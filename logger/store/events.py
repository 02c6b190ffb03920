"""Events and notes: what people and the program did. Added, never changed, chained within their pour."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Row, insert, select, update

from logger.store.chain import EVENT_FIELDS, link
from logger.store.database import table
from logger.store.tables import Event, Pour

EVENT = table(Event)
_POUR = table(Pour)


def add_event(
    tx: Connection,
    pour_id: int | None,
    at_ms: int,
    kind: str,
    by: str,
    text: str = "",
    data: dict[str, Any] | None = None,
    shop_id: int | None = None,
) -> None:
    """Notes something, of one pour or of the whole shop (pour_id None).

    `shop_id` is given where nobody's request says which shop that is: at the doors.
    """
    values: dict[str, Any] = {"at_ms": at_ms, "kind": kind, "by": by, "text": text, "data": data}
    if pour_id is not None:
        head = tx.execute(select(_POUR.c.event_head).where(_POUR.c.id == pour_id)).scalar_one()
        values["link"] = link(head, values, EVENT_FIELDS)
        tx.execute(update(_POUR).where(_POUR.c.id == pour_id).values(event_head=values["link"]))
    if shop_id is not None:
        values["shop_id"] = shop_id
    tx.execute(insert(EVENT).values(pour_id=pour_id, **values))


def of_kind(connection: Connection, pour_id: int | None, kind: str) -> list[Row[Any]]:
    """A pour's events of one kind (None: the whole service's), oldest first."""
    wanted = select(EVENT).where(EVENT.c.pour_id == pour_id, EVENT.c.kind == kind).order_by(EVENT.c.id)
    return list(connection.execute(wanted))


def events_of(connection: Connection, pour_id: int) -> list[Row[Any]]:
    """A pour's events, oldest first."""
    return list(connection.execute(select(EVENT).where(EVENT.c.pour_id == pour_id).order_by(EVENT.c.id)))
