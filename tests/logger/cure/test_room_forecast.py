"""How the room may go on."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.forecast.room_forecast import room_draws
from logger.plan.file import Plan, plan_from_text

PLAN = """
title = "Invented"
[resin]
name = "Invented"
heat_of_cure_j_g = 330.0
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[pour]
shape = "sheet"
depth_mm = 30.0
[air]
room_c = 20.0
"""


@pytest.fixture
def plan() -> Plan:
    return plan_from_text(PLAN)


def test_after_two_days_of_a_daily_swing_the_third_is_foreseen(plan: Plan) -> None:
    """A sine of 2.5 K around 22 °C, measured for 48 h: the next day's mean is right within 1 K, its band holds it."""
    hours = np.arange(0.0, 48.0, 1.0 / 12.0)
    swing = lambda h: 22.0 + 2.5 * np.sin(2.0 * np.pi * h / 24.0)  # noqa: E731
    celsius = swing(hours) + 0.05 * np.random.default_rng(3).standard_normal(len(hours))
    before, ahead = room_draws(
        plan, (hours, celsius), at_h=48.0, until_h=72.0, rng=np.random.default_rng(1), count=400
    )
    later = ahead.hours > 48.5
    assert np.abs(ahead.celsius.mean(axis=0)[later] - swing(ahead.hours[later])).max() < 1.0
    low, high = np.quantile(ahead.celsius[:, later], (0.05, 0.95), axis=0)
    assert np.mean((low < swing(ahead.hours[later])) & (swing(ahead.hours[later]) < high)) > 0.9
    assert before.celsius == pytest.approx(swing(before.hours), abs=0.15)


def test_what_is_not_yet_measured_is_the_less_certain_the_further_off(plan: Plan) -> None:
    """All ways on agree on now, and differ more after a day than after two hours."""
    hours = np.arange(0.0, 6.0, 1.0 / 12.0)
    _, ahead = room_draws(
        plan,
        (hours, np.full(len(hours), 21.0)),
        at_h=6.0,
        until_h=54.0,
        rng=np.random.default_rng(2),
        count=400,
    )
    spread = ahead.celsius.std(axis=0)
    at = lambda h: float(np.interp(h, ahead.hours, spread))  # noqa: E731
    assert at(6.0) == pytest.approx(0.0, abs=1e-9)
    assert at(8.0) < at(30.0)
    assert ahead.celsius[:, ahead.hours <= 6.0] == pytest.approx(21.0, abs=0.2)


def test_without_a_room_probe_the_plans_room_stands(plan: Plan) -> None:
    """The mean of the ways on is the plan's 20 °C within its own error."""
    none = np.zeros(0)
    _, ahead = room_draws(
        plan, (none, none), at_h=0.1, until_h=24.0, rng=np.random.default_rng(2), count=2000
    )
    assert ahead.celsius.mean() == pytest.approx(20.0, abs=0.2)
