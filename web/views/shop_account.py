"""What the shop has learned and what is on its shelf, for page and programs."""

from __future__ import annotations

from datetime import UTC, date, datetime

from sqlalchemy import Connection

from logger.record.shop_history import Lessons, Lot, lessons, stock
from logger.store import pours, seals, shop_events
from web.service.service import Service


def lessons_of(connection: Connection) -> Lessons:
    """Return the account over every sealed record and what was added to it since."""
    records = []
    for pour_id, record in shop_events.sealed_records(connection):
        count = (pours.get_pour(connection, pour_id).seal or {})["events"]["count"]
        later = [
            {"kind": row.kind, "at_ms": row.at_ms, "by": row.by, "text": row.text, "data": row.data}
            for row in seals.events_after(connection, pour_id, count)
        ]
        records.append((pour_id, record, later))
    return lessons(records)


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
    return datetime.fromtimestamp(service.timeline.true_ms() / 1000, UTC).astimezone().date()
