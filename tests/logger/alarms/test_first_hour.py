"""The first hour by the form."""

from __future__ import annotations

import pytest

from logger.alarms.first_hour import (
    LevelMark,
    Look,
    LookResult,
    Rhythm,
    advice,
    due_times_ms,
    level_fell,
    next_due_ms,
    summarize_looks,
    volume_differs,
)
from logger.errors import OutOfRange
from logger.facts import fact
from logger.words.reader import METRIC
from logger.words.render import say

T0 = 1_790_000_000_000
M = 60_000
PLAIN = Rhythm()


def looks(*minutes: float, finding: LookResult = LookResult.DRY) -> list[Look]:
    return [Look(T0 + round(minute * M), "Jo", finding) for minute in minutes]


def test_looks_are_due_every_five_minutes_for_half_an_hour_and_every_ten_until_the_hour() -> None:
    """Common practice, no source: at least half an hour, better an hour."""
    assert [(due - T0) / M for due in due_times_ms(T0, PLAIN)] == [5, 10, 15, 20, 25, 30, 40, 50, 60]


@pytest.mark.parametrize(
    ("rhythm", "minutes"),
    [
        (Rhythm(10, 30, 15, 60), [10, 20, 30, 45, 60]),
        (Rhythm(5, 0, 20, 60), [20, 40, 60]),
        (Rhythm(5, 60, 10, 30), [5, 10, 15, 20, 25, 30]),
        (Rhythm(5, 30, 10, 0), []),
    ],
)
def test_the_rhythm_is_settable(rhythm: Rhythm, minutes: list[float]) -> None:
    """A shop with a leaky form looks more often, and one may need no looks at all."""
    assert [(due - T0) / M for due in due_times_ms(T0, rhythm)] == minutes


@pytest.mark.parametrize(
    "wrong", [{"every_min": 0}, {"then_every_min": 0.5}, {"until_min": -1}, {"first_min": 9999}]
)
def test_a_rhythm_that_never_ends_is_refused(wrong: dict[str, float]) -> None:
    """Zero minutes between looks would be due without end."""
    with pytest.raises(OutOfRange, match=next(iter(wrong))):
        Rhythm(**wrong)


def test_a_look_a_little_early_counts_and_a_late_one_settles_what_was_due() -> None:
    """At 4 min for 5; at 17 min for both 10 and 15, and the next is at 20."""
    assert next_due_ms(T0, PLAIN, []) == T0 + 5 * M
    assert next_due_ms(T0, PLAIN, looks(4)) == T0 + 10 * M
    assert next_due_ms(T0, PLAIN, looks(4, 17)) == T0 + 20 * M
    assert next_due_ms(T0, PLAIN, looks(4, 58.5)) is None


def test_an_overdue_look_is_known_until_somebody_looks() -> None:
    """And since when it has been due."""
    assert summarize_looks(T0, PLAIN, [], T0 + 4 * M).overdue_since_ms is None
    assert summarize_looks(T0, PLAIN, [], T0 + 9 * M).overdue_since_ms == T0 + 5 * M
    assert summarize_looks(T0, PLAIN, looks(9), T0 + 9 * M).overdue_since_ms is None


def test_the_hour_ends_with_its_last_look_or_an_hour_later() -> None:
    """A look that nobody made is not due for ever."""
    assert summarize_looks(T0, PLAIN, looks(60), T0 + 61 * M).over
    late = summarize_looks(T0, PLAIN, looks(30), T0 + 100 * M)
    assert (late.overdue_since_ms, late.over) == (T0 + 40 * M, False)
    gone = summarize_looks(T0, PLAIN, looks(30), T0 + 120 * M)
    assert (gone.overdue_since_ms, gone.over) == (None, True)


def test_the_last_look_that_says_anything_about_leaking_counts() -> None:
    """A smell of heat says nothing about a leak."""
    leak = [*looks(5), *looks(10, finding=LookResult.LEAKING), *looks(12, finding=LookResult.HOT)]
    assert summarize_looks(T0, PLAIN, leak, T0 + 12 * M).leaking is True
    assert summarize_looks(T0, PLAIN, [*leak, *looks(15)], T0 + 15 * M).leaking is False
    fell = summarize_looks(T0, PLAIN, looks(10, finding=LookResult.LEVEL_FELL), T0 + 10 * M)
    assert (fell.leaking, fell.finding, fell.by) == (True, fact("level-went-down"), "Jo")
    assert summarize_looks(T0, PLAIN, looks(10, finding=LookResult.OTHER), T0 + 10 * M).leaking is None


def test_what_was_found_says_what_to_do() -> None:
    """Leak: the salvage steps, resin saved. Heat: keep out, fire service."""
    leak = say(" ".join(advice(LookResult.LEAKING)), METRIC)
    for step in ("Stop pouring", "clean tray", "hot glue or silicone", "absorb it first"):
        assert step in leak
    assert "fire service" in say(" ".join(advice(LookResult.HOT)), METRIC)
    assert advice(LookResult.DRY) == ()
    assert advice(LookResult.OTHER)


def test_a_level_that_falls_by_more_than_wood_drinks_is_a_leak() -> None:
    """5 mm over 0.3 m² are 1.5 L (volume = area × fall)."""
    marks = [LevelMark(T0, 50.0, "Jo"), LevelMark(T0 + 20 * M, 45.0, "Jo")]
    text = level_fell(marks, 0.3)
    assert text is not None
    assert "5.0 mm in 20 min, about 1.5 L" in say(text, METRIC)
    assert level_fell([LevelMark(T0, 50.0, "Jo"), LevelMark(T0 + M, 48.5, "Jo")]) is None
    assert level_fell(marks[:1]) is None


def test_a_volume_off_its_plan_says_on_which_side() -> None:
    """More went in than fits: a leak, a void or a deeper pour."""
    assert volume_differs(10.0, 10.4) is None
    assert "20 % more than planned: a leak" in say(str(volume_differs(10.0, 12.0)), METRIC)
    assert "less than planned" in say(str(volume_differs(10.0, 8.0)), METRIC)
    with pytest.raises(OutOfRange):
        volume_differs(0.0, 8.0)
