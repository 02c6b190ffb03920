"""Readings are stored once, in order, with their true time, and never lost or doubled."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy import select

from hardware.clock import Stamp
from logger.errors import BadInput
from logger.pour import Stage
from logger.store import pours, readings, stations
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.store.readings import READING, Conflict, save_batch


def save(store: Any, rows: Any, clock: Any, timeline: Any, spool: str = "spool-1") -> Any:
    """Sends rows as the station would."""
    with store.write() as tx:
        station = stations.by_name(tx, "bench-1")
        return save_batch(tx, ReadingBatch(station.id, spool, clock.stamp(), rows), timeline.true_ms())


def test_a_batch_sent_twice_is_stored_once(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """The network may repeat; the store does not."""
    rows = rows_of(1, 10)
    first = save(store, rows, clock, timeline)
    again = save(store, rows, clock, timeline)
    assert (first.stored, first.repeated, first.acknowledged_seq) == (10, 0, 10)
    assert (again.stored, again.repeated, again.acknowledged_seq) == (0, 10, 10)
    with store.read() as connection:
        assert readings.counts(connection, pour_id) == (10, 0)


def test_overlapping_batches_keep_each_row_once(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """A half-acknowledged batch comes again with more rows behind it."""
    rows = rows_of(1, 20)
    save(store, rows[:12], clock, timeline)
    saved = save(store, rows[5:], clock, timeline)
    assert (saved.stored, saved.repeated) == (8, 7)
    with store.read() as connection:
        assert readings.counts(connection, pour_id) == (20, 0)


def test_other_contents_under_a_stored_number_are_a_conflict(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """Nothing is overwritten, and nothing of that batch is stored."""
    rows = rows_of(1, 3)
    save(store, rows, clock, timeline)
    altered = [*rows_of(1, 2), replace(rows[2], milli_c=99_000), *rows_of(4, 1)]
    with pytest.raises(Conflict, match="row 3 is stored with milli_c = 21002 but came again with 99000"):
        save(store, altered, clock, timeline)
    with store.read() as connection:
        assert readings.counts(connection, pour_id) == (3, 0)


def test_rows_that_come_again_under_a_new_spool_are_stored_once(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """The answer was lost and the spool goes on under a new name: what was stored is known by its moment."""
    rows = rows_of(1, 10)
    save(store, rows[:7], clock, timeline)
    renumbered = [replace(row, seq=row.seq - 4) for row in rows[4:]]
    saved = save(store, renumbered, clock, timeline, spool="spool-2")
    assert (saved.stored, saved.repeated, saved.acknowledged_seq) == (3, 3, 6)
    again = save(store, renumbered, clock, timeline, spool="spool-2")
    assert (again.stored, again.repeated, again.acknowledged_seq) == (0, 6, 6)
    with store.read() as connection:
        assert [row.milli_c for row in readings.series(connection, pour_id)] == [row.milli_c for row in rows]


def test_another_observation_of_the_same_moment_is_stored_too(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """A contact that bounced, or another temperature under a new spool: nothing is taken for a repetition by half."""
    (row,) = rows_of(1, 1)
    save(store, [row], clock, timeline)
    others = [
        replace(row, seq=1, milli_c=22_000),
        replace(row, seq=2, probe="28-000000000002"),
        replace(row, seq=3, stamp=replace(row.stamp, boot_id="another boot")),
    ]
    assert save(store, others, clock, timeline, spool="spool-2").stored == 3


def test_a_fault_is_stored_with_its_reason_and_no_temperature(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """A dead probe is never a calm pour."""
    row = replace(rows_of(1, 1)[0], milli_c=None, fault="empty-read")
    save(store, [row], clock, timeline)
    with store.read() as connection:
        (stored,) = readings.series(connection, pour_id)
        assert (stored.milli_c, stored.fault) == (None, "empty-read")
        (probe,) = stations.probes_of(connection, 1)
        assert (probe.faults, probe.last_good_ms, probe.last_fault) == (1, None, "empty-read")


def test_what_a_station_wrote_is_stored_letter_by_letter(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """Quotes, backslashes, braces, commas, line ends and other scripts; a zero byte costs nobody anything else."""
    notes = ['a "note", it\'s', "C:\\temp\\u0041", "{1,2}", "two\nlines", "60 °C, größer, 木, 🪵", "NULL", ""]
    rows = [replace(row, note=note) for row, note in zip(rows_of(1, len(notes)), notes, strict=True)]
    save(store, rows, clock, timeline)
    with store.read() as connection:
        kept = connection.execute(select(READING.c.note).order_by(READING.c.seq)).scalars().all()
    assert kept == notes
    if not store.is_sqlite:
        with pytest.raises(BadInput, match="cannot be kept"):
            save(store, [replace(rows_of(9, 1)[0], note="zero\0byte")], clock, timeline)


def test_a_clock_set_late_moves_the_whole_boot_and_keeps_the_order(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """Readings taken before the network set the clock get their true time without being rewritten."""
    clock.boot_id, clock.clock_set = "boot-without-clock", False
    before = rows_of(1, 3)
    save(store, before, clock, timeline)
    clock.move(60)
    # The wall clock of the station jumps by 90 days when it is set.
    now = clock.stamp()
    true_wall = now.wall_ms + 90 * 86_400_000
    after = [
        replace(row, stamp=Stamp(true_wall + i * 1000, "boot-without-clock", now.boot_ms + i * 1000, True))
        for i, row in enumerate(rows_of(4, 3))
    ]
    with store.write() as tx:
        station = stations.by_name(tx, "bench-1")
        save_batch(tx, ReadingBatch(station.id, "spool-1", after[0].stamp, after), true_wall)
    with store.read() as connection:
        times = [row.at_ms for row in readings.series(connection, pour_id)]
    assert times == sorted(times)
    assert times[3] - times[0] == 60_000, "60 s passed between the third-last and the first"
    assert times[3] == true_wall


def test_a_reading_that_arrives_long_after_it_was_taken_is_marked_late(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """An alarm on caught-up data must say that it is late."""
    rows = rows_of(1, 2)
    clock.move(3600)
    save(store, rows, clock, timeline)
    with store.read() as connection:
        assert [row.late for row in readings.series(connection, pour_id)] == [True, True]


@pytest.mark.parametrize(("seconds", "late"), [(120, False), (121, True)])
def test_late_is_what_came_more_than_two_minutes_after_it_was_taken(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any, seconds: float, late: bool
) -> None:
    """By the station's own steady time where it was not started again meanwhile, whatever its clock says."""
    for off_ms in (0, -3_600_000):
        rows = rows_of(1, 1)
        clock.move(seconds)
        clock.wall_ms += off_ms
        save(store, rows, clock, timeline, spool=f"spool {off_ms}")
        clock.wall_ms -= off_ms
    with store.read() as connection:
        assert [row.late for row in readings.series(connection, pour_id)] == [late, late]


def test_a_row_at_the_very_edge_of_what_is_stored_is_stored_once(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """The last row alone once more: under its number, and under another of a new spool with the same moment."""
    rows = rows_of(1, 5)
    save(store, rows, clock, timeline)
    saved = save(store, rows[4:], clock, timeline)
    assert (saved.stored, saved.repeated, saved.acknowledged_seq) == (0, 1, 5)
    saved = save(store, [replace(rows[4], seq=6)], clock, timeline)
    assert saved.stored == 1, "the same spool under another number is another row"
    saved = save(store, [replace(rows[4], seq=1)], clock, timeline, spool="spool-2")
    assert (saved.stored, saved.repeated) == (0, 1)


def test_readings_of_the_quarter_of_an_hour_before_the_pour_are_its_own(
    store: Any, clock: Any, timeline: Any, station_id: int, plan_toml: str, rows_of: Any
) -> None:
    """The form and the mix as they were; what was read before that is nobody's."""
    early, within = rows_of(1, 1), None
    clock.move(60)
    within = rows_of(2, 1)
    clock.move(15 * 60 - 1)
    with store.write() as tx:
        made = pours.add_pour(
            tx,
            PlannedPour(title="Table", client="", plan_toml=plan_toml, station_id=station_id),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        pours.freeze_prediction(tx, made, {"peak_c": 40.0, "peak_at_h": 20.0}, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, made, stage, "Ada", timeline)
    save(store, [*early, *within], clock, timeline)
    with store.read() as connection:
        assert [row.milli_c for row in readings.series(connection, made)] == [within[0].milli_c]


def test_readings_before_the_pour_belong_to_no_pour(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """Yesterday's bench readings are no part of today's record."""
    rows = [
        replace(row, stamp=Stamp(row.stamp.wall_ms - 86_400_000, "boot-of-yesterday", 5000 + i * 1000, True))
        for i, row in enumerate(rows_of(1, 2))
    ]
    saved = save(store, rows, clock, timeline)
    assert saved.stored == 2
    assert saved.pours == frozenset()
    with store.read() as connection:
        assert readings.counts(connection, pour_id) == (0, 0)


def test_a_gap_in_the_numbers_is_not_acknowledged_over(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any
) -> None:
    """The station must not forget rows that never arrived."""
    rows = rows_of(1, 6)
    saved = save(store, rows[:2] + rows[4:], clock, timeline)
    assert saved.acknowledged_seq == 2
