"""The shop's resin systems: each as it was kept last. Kept as events of the shop, so that who changed what stays."""

from __future__ import annotations

import hashlib
from typing import Any

from sqlalchemy import Connection

from logger.errors import NotFound
from logger.facts import fact
from logger.store import events, shop_events
from logger.store.rows import EventRow

#: data of "resin-kept": {"key", "name", "note", "sheet_toml" or null, "fit", "table", "mix", "source"}.
KEPT, DROPPED = "resin-kept", "resin-dropped"


def resin_key(name: str) -> str:
    """Return what a resin goes by in addresses: a digest of its name, whatever its capitals and spaces."""
    return hashlib.sha256(" ".join(name.split()).casefold().encode()).hexdigest()[:12]


def listed(connection: Connection) -> dict[str, EventRow]:
    """Key → the newest event of each resin that is on the list (at_ms, by, data)."""
    resins: dict[str, EventRow] = {}
    for row in shop_events.shop_events(connection, KEPT, DROPPED):
        if row.kind == KEPT:
            resins[row.facts["key"]] = row
        else:
            resins.pop(row.facts["key"], None)
    return resins


def history(connection: Connection, key: str) -> list[EventRow]:
    """Every state in which a resin was kept, oldest first."""
    return [row for row in shop_events.shop_events(connection, KEPT) if row.facts["key"] == key]


def dropped(connection: Connection) -> dict[str, EventRow]:
    """Key → how each resin stood that was taken off the list and not put back."""
    on = listed(connection)
    return {
        row.facts["key"]: row
        for row in shop_events.shop_events(connection, KEPT)
        if row.facts["key"] not in on
    }


def get(connection: Connection, key: str) -> EventRow:
    """One resin of the list. Raises NotFound."""
    resin = listed(connection).get(key)
    if resin is None:
        raise NotFound(fact("no-resin-on-list"))
    return resin


def put(tx: Connection, at_ms: int, by: str, data: dict[str, Any]) -> str:
    """Put a resin on the list, or another state of it. Gives its key."""
    key = resin_key(data["name"])
    events.add_event(tx, None, at_ms, KEPT, by, data["name"], data | {"key": key})
    return key


def drop(tx: Connection, at_ms: int, by: str, key: str) -> None:
    """Take a resin off the list; plans that were made with it keep it. Raises NotFound."""
    name = get(tx, key).facts["name"]
    events.add_event(tx, None, at_ms, DROPPED, by, name, {"key": key})


def put_back(tx: Connection, at_ms: int, by: str, key: str) -> None:
    """Put one that was dropped on the list again, as it was. Raises NotFound."""
    row = dropped(tx).get(key)
    if row is None:
        raise NotFound(fact("no-resin-taken-off"))
    events.add_event(tx, None, at_ms, KEPT, by, row.facts["name"], row.facts)
