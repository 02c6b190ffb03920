"""What becomes of a station's row that contradicts a stored one: it is refused, and written down for good."""

from __future__ import annotations

from sqlalchemy import Connection

from logger.store.events import add_event, of_kind
from logger.store.pours import live_pours
from logger.store.rows import StationRow

#: Kind of the event.
CONFLICTING_ROWS = "conflicting-rows"


def note_conflict(tx: Connection, station: StationRow, text: str, now_ms: int) -> None:
    """Note a conflict with the station's live pours, or with none; once, however often the station insists."""
    live: list[int | None] = [pour.id for pour in live_pours(tx) if pour.station_id == station.id]
    for pour_id in live or [None]:
        if text not in [row.text for row in of_kind(tx, pour_id, CONFLICTING_ROWS)]:
            add_event(tx, pour_id, now_ms, CONFLICTING_ROWS, station.name, text)
