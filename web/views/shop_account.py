"""What the shop has learned and what is on its shelf, for page and programs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime

from sqlalchemy import Connection

from logger.record.json_values import JsonView
from logger.record.shop_history import Lessons, Lot, lessons, stock
from logger.store import pours, seals, shop_events
from web.service.service import Service


def lessons_of(connection: Connection) -> Lessons:
    """Return the account over every sealed record and what was added to it since."""
    return lessons(_sealed(connection))


def accounts_of(connection: Connection, on: date) -> tuple[Lessons, Lessons]:
    """Return the account over every sealed record, and that over the pours of this year, by the machine's zone."""
    records = _sealed(connection)
    of_year = [one for one in records if _day_of(one[1]["pour"]["poured_ms"] or 0).year == on.year]
    return lessons(records), lessons(of_year)


def _sealed(connection: Connection) -> list[tuple[int, JsonView, Sequence[JsonView]]]:
    records: list[tuple[int, JsonView, Sequence[JsonView]]] = []
    for pour_id, record in shop_events.sealed_records(connection):
        count = (pours.get_pour(connection, pour_id).seal or {})["events"]["count"]
        later = [
            {"kind": row.kind, "at_ms": row.at_ms, "by": row.by, "text": row.text, "data": row.data}
            for row in seals.events_after(connection, pour_id, count)
        ]
        records.append((pour_id, record, later))
    return records


def shelf_of(connection: Connection, on: date) -> list[Lot]:
    """Return the lots on the shelf."""
    received = [row.facts for row in shop_events.shop_events(connection, "stock")]
    used = [
        row.facts
        for row in shop_events.events_of_all_pours(connection, "lot", "addition")
        if row.kind == "lot" or row.facts.get("about") == "lot"
    ]
    return stock(received, used, on)


def today(service: Service) -> date:
    """Today, by the machine's time zone."""
    return _day_of(service.timeline.true_ms())


def _day_of(at_ms: int) -> date:
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone().date()
