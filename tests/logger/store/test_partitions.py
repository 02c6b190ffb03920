"""Months of readings on PostgreSQL: made ahead, filled, dropped when nothing that must stay is in them."""

from __future__ import annotations

from typing import Any

import pytest

from logger.errors import NotAllowed, NotFound
from logger.pour import Stage
from logger.store import partitions, pours, readings, stations
from logger.store.partitions import Month
from logger.store.reading_batches import ReadingBatch, save_batch

#: All of this is about the server alone.
ONLY_SQLITE = True


@pytest.fixture
def database() -> str:
    """A server."""
    return "postgresql"


def save(store: Any, clock: Any, timeline: Any, rows: Any) -> None:
    """Stores rows now."""
    with store.write() as tx:
        save_batch(
            tx,
            ReadingBatch(stations.by_name(tx, "bench-1").id, "spool-1", clock.stamp(), rows),
            timeline.true_ms(),
        )


def in_table(store: Any, name: str) -> int:
    """Rows of one table."""
    with store.read() as connection:
        return int(connection.exec_driver_sql(f"SELECT count(*) FROM {name}").scalar_one())


def test_what_came_before_its_month_had_a_table_is_moved_into_it(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """The tables are made late: no reading is lost, and its place is the month's."""
    save(store, clock, timeline, rows_of(1, 5))
    assert in_table(store, "reading_other") == 5
    with store.write() as tx:
        assert [str(month) for month in partitions.keep_ahead(tx, timeline.true_ms())] == [
            "2026-11",
            "2026-12",
        ]
        assert partitions.keep_ahead(tx, timeline.true_ms()) == []
    assert (in_table(store, "reading_other"), in_table(store, "reading_2026_11")) == (0, 5)
    clock.move(10 * 86_400)
    save(store, clock, timeline, rows_of(6, 3))
    assert in_table(store, "reading_2026_12") == 3
    with store.read() as connection:
        assert readings.counts(connection, pour_id) == (8, 0)


def test_a_month_is_dropped_only_when_its_pours_are_sealed_and_somebody_says_so(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """An open pour's readings never go; a sealed one's only by name; then they are gone at once."""
    with store.write() as tx:
        partitions.keep_ahead(tx, timeline.true_ms())
    save(store, clock, timeline, rows_of(1, 5))
    november = Month(2026, 11)
    with store.write() as tx, pytest.raises(NotAllowed, match="not sealed"):
        partitions.drop(tx, november, also_sealed=True)
    with store.write() as tx:
        for stage in (Stage.WATCHED, Stage.CURING, Stage.RELEASED, Stage.CLOSED):
            pours.move_on(tx, pour_id, stage, "Ada", timeline)
    with store.write() as tx, pytest.raises(NotAllowed, match="export their records first"):
        partitions.drop(tx, november)
    with store.write() as tx:
        assert partitions.drop(tx, november, also_sealed=True) == (5, [pour_id])
    with store.read() as connection:
        assert readings.counts(connection, pour_id) == (0, 0)
        assert pours.get_pour(connection, pour_id).reading_head, "what the seal rests on stays"
    with store.write() as tx, pytest.raises(NotFound):
        partitions.drop(tx, november)


@pytest.mark.parametrize(
    ("at_ms", "name", "after"),
    [
        (1_795_593_600_000, "2026-11", "2026-12"),
        (1_798_761_599_999, "2026-12", "2027-01"),
        (0, "1970-01", "1970-02"),
    ],
)
def test_months_are_those_of_the_calendar(at_ms: int, name: str, after: str) -> None:
    """2026-12-31T23:59:59.999Z is still December."""
    month = partitions.month_of(at_ms)
    assert (str(month), str(month.next)) == (name, after)
    assert month.from_ms <= at_ms < month.next.from_ms
