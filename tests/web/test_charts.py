"""What a chart opens with, and what is marked on it."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from logger.pour import Stage
from logger.store.rows import AlarmRow, EventRow
from logger.words.reader import METRIC
from web.views.charts import (
    HOUR_MS,
    MOST_POINTS,
    Stand,
    chosen_range,
    clock_offsets,
    marks_of,
    peak_of,
    ranges_of,
    thinned,
)

#: A pour of three days whose core peaks at 14 h.
POUR = Stand(Stage.CURING, 6.0, 14.0, 18.0, 72.0)
POURED_MS = 1_764_000_000_000


def alarm(kind: str, hour: float, *, priority: str = "high", quiet: bool = False) -> AlarmRow:
    """An alarm raised at an hour after pouring."""
    raised = POURED_MS + round(hour * HOUR_MS)
    return AlarmRow(
        7,
        1,
        "core",
        kind,
        1,
        priority,
        "active",
        "",
        61.0,
        60.0,
        False,
        quiet,
        raised,
        None,
        None,
        None,
        None,
    )


def deed(kind: str, hour: float, text: str = "") -> EventRow:
    """Something done at an hour after pouring."""
    return EventRow(3, 1, POURED_MS + round(hour * HOUR_MS), kind, "Ada", text, None, None, None, None, None)


@pytest.mark.parametrize(
    ("stand", "name"),
    [
        (Stand(Stage.PLANNED, None, 14.0, 14.0, 72.0), "to-peak"),
        (Stand(Stage.READY, None, None, None, 72.0), "all"),
        (replace(POUR, stage=Stage.POURING, now_h=0.1), "first-hour"),
        (replace(POUR, stage=Stage.WATCHED, now_h=0.9), "first-hour"),
        (POUR, "to-peak"),
        (replace(POUR, now_h=15.0), "to-peak"),  # the peak itself is still looked at
        (replace(POUR, now_h=20.0), "since-pouring"),
        (replace(POUR, peak_h=None, peak_until_h=None), "since-pouring"),
        (replace(POUR, stage=Stage.POURING, now_h=0.4, astray=True), "since-pouring"),
        (replace(POUR, stage=Stage.RELEASED, now_h=80.0), "all"),
        (replace(POUR, stage=Stage.CLOSED, now_h=8000.0), "all"),
    ],
)
def test_the_range_that_is_looked_at_in_a_stage_is_chosen_by_itself(stand: Stand, name: str) -> None:
    """And it is always one that has a button."""
    assert chosen_range(stand) == name
    assert name in [one.name for one in ranges_of(stand)]


def test_the_first_hour_is_never_squeezed() -> None:
    """In a pour of three days that has stood for half an hour, the half hour fills a good part of the chart."""
    stand = replace(POUR, stage=Stage.WATCHED, now_h=0.5)
    shown = {one.name: one.until_h for one in ranges_of(stand)}
    assert 0.5 / shown[chosen_range(stand)] > 0.4


def test_the_peak_and_what_follows_it_are_in_its_range() -> None:
    """With the hour by which it is past in 95 of 100 cases."""
    assert {one.name: one.until_h for one in ranges_of(POUR)}["to-peak"] == 18.0
    assert {one.name: one.until_h for one in ranges_of(replace(POUR, peak_until_h=14.0))}["to-peak"] > 16.0


def test_a_core_gone_astray_is_seen_with_the_hours_it_may_still_rise() -> None:
    """Nothing predicted holds for it: what fills the chart are its readings."""
    stand = replace(POUR, now_h=0.8, astray=True)
    assert {one.name: one.until_h for one in ranges_of(stand)}["since-pouring"] == pytest.approx(1.6)


def test_an_expected_peak_goes_before_a_read_one_and_a_read_one_before_the_plans() -> None:
    """The chart leads to the peak that is to come."""
    plan = {"hours": [0.0, 9.0, 20.0], "core_c": [20.0, 50.0, 30.0]}
    assert peak_of({}) == (None, None)
    assert peak_of(plan) == (9.0, 9.0)
    assert peak_of(plan, None, (63.0, 11.0)) == (11.0, 11.0)


def test_alarms_and_deeds_are_marked_in_their_order_with_their_words() -> None:
    """What nobody was told of, what was before pouring, and what is no deed at the form are left out."""
    marks = marks_of(
        [alarm("core-hot", 10.0), alarm("core-hot", 4.0, quiet=True)],
        [
            deed("note", 2.0, "Tape pressed on"),
            deed("signed", 1.0),
            deed("ready", -3.0),
            deed("pouring", 0.0),
        ],
        POURED_MS,
        METRIC,
    )
    assert [(mark.at_h, mark.rank) for mark in marks] == [(0.0, "deed"), (2.0, "deed"), (10.0, "high")]
    assert [mark.text for mark in marks] == [
        "Pouring began",
        "Note: Tape pressed on",
        "Alarm: The core is too hot",
    ]
    assert [mark.href for mark in marks] == [None, None, "/alarms/7"]


def test_a_long_note_is_shortened_on_its_mark() -> None:
    """It stands whole in the log."""
    (mark,) = marks_of([], [deed("note", 2.0, "word " * 100)], POURED_MS, METRIC)
    assert len(mark.text) <= 160
    assert mark.text.endswith("…")


def test_the_workshops_clock_is_followed_where_it_is_changed() -> None:
    """Summer time in Central Europe ended on 26 October 2025 at 01:00 UTC (Directive 2000/84/EC, article 3)."""
    changed_ms = 1_761_440_400_000
    offsets = clock_offsets(changed_ms - 10 * HOUR_MS, changed_ms + 10 * HOUR_MS, ZoneInfo("Europe/Berlin"))
    assert [minutes for _from, minutes in offsets] == [120, 60]
    assert offsets[1][0] == changed_ms


def test_a_thinned_line_keeps_its_ends_and_its_peak() -> None:
    """A peak of one point between two kept ones is what the chart is looked at for."""
    hours = [i / 100 for i in range(5000)]
    core = [20.0] * 5000
    core[3001] = 71.0
    kept = thinned({"hours": hours, "core_c": core})
    assert len(kept["hours"]) == len(kept["core_c"]) <= MOST_POINTS + 4
    assert (kept["hours"][0], kept["hours"][-1], max(kept["core_c"])) == (0.0, hours[-1], 71.0)
