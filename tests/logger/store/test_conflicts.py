"""A contradicted row leaves a trace in the record."""

from __future__ import annotations

from typing import Any

from logger.store import stations
from logger.store.conflicts import CONFLICTING_ROWS, note_conflict
from logger.store.events import of_kind


def test_a_conflict_is_in_the_record_of_the_pour_that_is_watched(
    store: Any, timeline: Any, pour_id: int
) -> None:
    """Chained with the rest of it, and once, however often the station insists."""
    for text in ("row 3 came again", "row 3 came again", "row 4 came again"):
        with store.write() as tx:
            note_conflict(tx, stations.by_name(tx, "bench-1"), text, timeline.true_ms())
    with store.read() as connection:
        noted = of_kind(connection, pour_id, CONFLICTING_ROWS)
        assert of_kind(connection, None, CONFLICTING_ROWS) == []
    assert [row.text for row in noted] == ["row 3 came again", "row 4 came again"]
    assert all(row.link for row in noted)
