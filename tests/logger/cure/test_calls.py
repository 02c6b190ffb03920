"""When chances make a call, and when a forecast is due."""

from __future__ import annotations

import pytest

from logger.cure.calls import chance_needed, due_hours, next_due_h
from logger.cure.calls import will_overheat as judged


def will_overheat(chances: list[float]) -> bool:
    """With half a chance needed at every hour."""
    return judged(chances, [0.5] * len(chances))


def test_one_high_chance_alone_calls_nothing() -> None:
    """A single forecast is not believed."""
    assert not will_overheat([0.1, 0.95, 0.1, 0.1])


def test_two_of_three_high_chances_call() -> None:
    """Also when the one between them was low."""
    assert will_overheat([0.2, 0.9, 0.3, 0.95])


def test_a_call_stands_while_the_chance_hovers_and_ends_when_it_is_low_for_good() -> None:
    """Chances between the two levels neither raise nor clear."""
    standing = [0.9, 0.95]
    assert will_overheat([*standing, 0.4, 0.45, 0.4, 0.3])
    assert will_overheat([*standing, 0.1, 0.1])
    assert not will_overheat([*standing, 0.1, 0.1, 0.1])
    assert not will_overheat([*standing, 0.1, 0.1, 0.1, 0.4, 0.45])


def test_a_chance_that_swings_around_the_limit_raises_once() -> None:
    """Noise around the level makes one activation, no chatter."""
    chances = [0.9, 0.95, *[0.45, 0.6] * 20]
    stands = [will_overheat(chances[: i + 1]) for i in range(len(chances))]
    assert sum(now and not before for before, now in zip([False, *stands], stands, strict=False)) == 1


def test_forecasts_are_due_every_five_minutes_at_first_and_less_often_later() -> None:
    """The first hour has about twelve, and a day no more than seventy."""
    due = due_hours(24.0)
    assert 10 <= sum(h <= 1.0 for h in due) <= 12
    assert len(due) < 70
    assert due == sorted(due)
    assert due[-1] < 24.0


def test_long_before_the_limit_only_a_near_certainty_calls() -> None:
    """60 % at a quarter of the way waits; 60 % when three quarters are gone calls."""
    assert chance_needed(2.0, 8.0) > 0.6 > chance_needed(6.0, 8.0)
    assert chance_needed(2.0, None) == chance_needed(0.0, 8.0)


def test_forecasts_come_closer_together_as_the_limit_comes_near() -> None:
    """At 16 h, with 2 h left, the next one is due within 20 minutes; with nothing to fear within an hour."""
    assert next_due_h(16.0, 2.0) - 16.0 < 1.0 / 3.0
    assert 0.9 < next_due_h(16.0) - 16.0 <= 1.0
    assert next_due_h(0.1, 0.01) - 0.1 == pytest.approx(next_due_h(0.0))
