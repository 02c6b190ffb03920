"""When chances make a call, and when a forecast is due."""

from __future__ import annotations

from math import erf, sqrt

import numpy as np
import pytest

from logger.cure.forecast.decision import chance_needed, next_due_h
from logger.cure.forecast.decision import will_overheat as judged


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
    due = [next_due_h(0.0)]
    while next_due_h(due[-1]) < 24.0:
        due.append(next_due_h(due[-1]))
    assert 10 <= sum(h <= 1.0 for h in due) <= 12
    assert len(due) < 70
    assert due == sorted(due)


def test_long_before_the_limit_only_a_near_certainty_calls() -> None:
    """60 % waits for as long as a pour may well turn away; 60 % when the limit is all but reached calls."""
    assert chance_needed(2.0, 8.0) > 0.6 > chance_needed(7.9, 8.0)
    assert chance_needed(6.0, 8.0) > 0.6
    assert chance_needed(2.0, None) == chance_needed(0.0, 8.0)


def first_call_h(chances: list[float], needed: list[float], hours: list[float]) -> float:
    """When the first forecast is made after which the call stands; inf: never."""
    for i in range(len(hours)):
        if chances[i] >= needed[i] and judged(chances[: i + 1], needed[: i + 1]):
            return hours[i]
    return float("inf")


def test_a_chance_as_timid_as_the_forecast_calls_few_cool_pours_and_misses_hardly_a_hot_one() -> None:
    """Fewer than 1 in 20 cool pours are called, more than 299 in 300 hot ones, and those in doubt at first halfway.

    The expected margin over the limit moves as a Brownian motion whose clock is what has been learned, so the right
    chance is a martingale (Ville 1939 bounds how often one reaches a level in vain). What is still
    unknown at a part of the time falls about as the benchmark's errors do, and is thought 1.15 times as wide, as the
    benchmark's bands are. There is no model of a pour in this: only the rule is judged.
    """
    rng = np.random.default_rng(1)
    crossing_h, count = 20.0, 8000
    hours = [0.5]
    while crossing_h - hours[-1] > 0.05:
        hours.append(next_due_h(hours[-1], crossing_h - hours[-1]))
    part = np.array(hours) / crossing_h
    unknown = np.interp(
        part, [0.0, 0.1, 0.25, 0.5, 0.75, 0.95, 1.0], [1.0, 0.9, 0.78, 0.55, 0.28, 0.08, 0.04]
    )
    learned = np.diff(1.0 - unknown**2, prepend=0.0)
    steps = rng.standard_normal((count, len(part))) * np.sqrt(learned)
    margin = rng.normal(0.0, 3.0, (count, 1)) + np.cumsum(steps, axis=1)
    hot = margin[:, -1] + unknown[-1] * rng.standard_normal(count) > 0.0
    chances = 0.5 * (1.0 + np.vectorize(erf)(margin / unknown / 1.15 / sqrt(2.0)))
    needed = [chance_needed(hour, crossing_h) for hour in hours]
    called = np.array([first_call_h(row.tolist(), needed, hours) for row in chances])
    assert np.isfinite(called[~hot]).mean() < 1 / 20
    assert np.isinf(called[hot]).mean() < 1 / 300
    open_at_first = hot & (chances[:, 0] < 0.9)
    assert np.mean(1.0 - np.minimum(called[open_at_first] / crossing_h, 1.0)) > 0.5


def test_forecasts_come_closer_together_as_the_limit_comes_near() -> None:
    """At 16 h, with 2 h left, the next one is due within 20 minutes; with nothing to fear within an hour.

    A quick pour has minutes left: what calls it must not come after the limit.
    """
    assert next_due_h(16.0, 2.0) - 16.0 < 1.0 / 3.0
    assert 0.9 < next_due_h(16.0) - 16.0 <= 1.0
    assert next_due_h(0.1, 0.01) - 0.1 == pytest.approx(2.0 / 60.0)
