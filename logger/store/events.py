"""Events and notes: what people and the program did. Added, never changed, chained within their pour."""

from __future__ import annotations

from collections.abc import Mapping
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, exists, insert, select, update
from sqlalchemy.exc import IntegrityError

from logger.errors import BeingDone, NotAllowed
from logger.facts import fact
from logger.store.database import table
from logger.store.hash_chain import EVENT_FIELDS, link
from logger.store.rows import EventRow, all_rows, columns, first_row
from logger.store.tables import Event, Pour

EVENT = table(Event)
#: Every event; a question adds its where.
EVENTS = select(*columns(EVENT, EventRow))
_POUR = table(Pour)
#: By whom an event is that the watch has made.
WATCH = fact("the-watch")
_FOREIGN = _POUR.alias("foreign_pour")


@dataclass(slots=True)
class Request:
    """A request that is carried out once, however often it is sent: its key and hash go with its first event."""

    key: str
    sha256: str
    noted: bool = False


#: The request that is carried out now, where its client gave it a key.
REQUEST: ContextVar[Request | None] = ContextVar("request", default=None)


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
    """Note something, of one pour or of the whole shop (pour_id None).

    `shop_id` is given where nobody's request says which shop that is: at the doors. The first event of a request with
    a key keeps that. Raises BeingDone when another has kept it meanwhile, and NotAllowed for a record from elsewhere,
    to which nothing is ever added.
    """
    values: dict[str, Any] = {"at_ms": at_ms, "kind": kind, "by": by, "text": text, "data": data}
    if pour_id is not None:
        pour = tx.execute(select(_POUR.c.event_head, _POUR.c.origin).where(_POUR.c.id == pour_id)).one()
        must_be_own(pour_id, pour.origin)
        values["link"] = link(pour.event_head, values, EVENT_FIELDS)
        tx.execute(update(_POUR).where(_POUR.c.id == pour_id).values(event_head=values["link"]))
    if shop_id is not None:
        values["shop_id"] = shop_id
    request = REQUEST.get()
    if request is None or request.noted:
        tx.execute(insert(EVENT).values(pour_id=pour_id, **values))
        return
    values |= {"request_key": request.key, "request_sha256": request.sha256}
    try:
        tx.execute(insert(EVENT).values(pour_id=pour_id, **values))
    except IntegrityError as error:
        raise BeingDone(fact("request-just-carried-out")) from error
    request.noted = True


def of_request(connection: Connection, key: str) -> EventRow | None:
    """Return the event of the request with that key, if it was carried out."""
    return first_row(connection, EVENTS.where(EVENT.c.request_key == key), EventRow)


def must_be_own(pour_id: int, origin: Mapping[str, Any] | None) -> None:
    """Raise NotAllowed for a record from elsewhere: whatever is done to pours is not done to it."""
    if origin is not None:
        raise NotAllowed(fact("record-from-elsewhere", pour=pour_id, workshop=str(origin["workshop"])))


def ours(pour_id: ColumnElement[Any]) -> ColumnElement[bool]:
    """Rows of the shop's own pours and of no pour: not those that came with a record from elsewhere."""
    return ~exists().where(_FOREIGN.c.id == pour_id, _FOREIGN.c.origin.is_not(None))


def of_kind(connection: Connection, pour_id: int | None, kind: str) -> list[EventRow]:
    """Return a pour's events of one kind (None: the whole service's), oldest first."""
    query = EVENTS.where(EVENT.c.pour_id == pour_id, EVENT.c.kind == kind).order_by(EVENT.c.id)
    return all_rows(connection, query, EventRow)


def events_of(connection: Connection, pour_id: int) -> list[EventRow]:
    """Return a pour's events, oldest first."""
    return all_rows(connection, EVENTS.where(EVENT.c.pour_id == pour_id).order_by(EVENT.c.id), EventRow)
