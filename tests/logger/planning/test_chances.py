"""A plan's chances: its band holds what it promises, names what widens it, and costs little (all data invented)."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.cure.solver.prediction import long_enough, predict
from logger.plan.file import Plan, plan_from_table
from logger.planning import chances as module
from logger.planning.chances import (
    COUNT,
    FLOW,
    RESIN,
    ROOM,
    Chances,
    chances_of,
    draws_of,
    quick_chances,
    shares_of,
    sure_peak_c,
)

RATE = {"k1_per_s": 4e-7, "k2_per_s": 2.9e-5, "m": 1.0, "n": 2.0}


def planned(depth_mm: float, room_c: float, **more: Any) -> Plan:
    """A wide sheet of an invented slow resin; its coefficients given, so that it is solved in a tenth of the time."""
    resin = {"name": "invented", "heat_of_cure_j_g": 380.0, "rate": RATE} | more.pop("resin", {})
    air = {"room_c": room_c, "top_w_m2k": 7.0, "bottom_w_m2k": 5.0, "side_w_m2k": 5.0}
    pour = {"shape": "sheet", "depth_mm": depth_mm} | more.pop("pour", {})
    return plan_from_table({"title": "x", "resin": resin, "pour": pour, "air": air} | more)


def known(depth_mm: float, room_c: float) -> Plan:
    """The same of a resin that is known to a few per cent."""
    factors = {
        "rate": (0.97, 1.0, 1.03),
        "first": (1.0,) * 3,
        "energy": (1.0,) * 3,
        "heat": (0.99, 1.0, 1.01),
    }
    return planned(depth_mm, room_c, resin={"possible": factors})


def test_a_plan_on_a_cliff_is_not_told_as_one_number() -> None:
    """50 mm at 24 °C: a green peak by itself; the same plan a little off passes the limit by a hundred kelvin."""
    plan = planned(40.0, 22.0)
    assert predict(long_enough(plan)).peak_c < plan.resin.limits.max_core_c
    found = quick_chances(plan)
    assert 0.1 < found.over < 0.6
    assert found.peak_c(0.05) < 40.0
    assert found.peak_c(0.95) > 100.0


def test_a_shallow_pour_and_a_deep_one_are_as_good_as_certain() -> None:
    """A hand's breadth runs away however it turns out; a finger's stays cool."""
    assert quick_chances(planned(15.0, 20.0)).over < 0.05
    assert quick_chances(planned(110.0, 26.0)).over > 0.95


def test_the_chance_is_that_of_the_band() -> None:
    """What nineteen in twenty stay under is passed in one of twenty: light and range cannot contradict one another."""
    found = quick_chances(planned(35.0, 22.0))
    for part in (0.05, 0.25, 0.5, 0.75, 0.95):
        assert found.chance_over(found.peak_c(part)) == pytest.approx(1.0 - part, abs=1e-9)
    assert replace(found, limit_c=1000.0).over == 0.0


def test_what_nobody_knows_less_of_is_named() -> None:
    """An open resin widens the peak most; once it is known to a few per cent the room does."""
    assert quick_chances(planned(35.0, 22.0)).widest == RESIN
    found = quick_chances(known(35.0, 22.0))
    assert found.widest != RESIN
    assert sum(found.shares.values()) == pytest.approx(1.0)
    assert found.shares[ROOM] > 0.2


def test_shares_are_those_of_a_linear_model() -> None:
    """Closed form: of y = 3 a + b with equal spreads nine tenths of the variance come from a."""
    drawn = draws_of(planned(35.0, 22.0))
    drawn = {name: np.zeros(COUNT) for name in drawn} | {"rate": drawn["rate"], "room": 0.3 * drawn["room"]}
    peaks = 3.0 * drawn["rate"] / drawn["rate"].std() + drawn["room"] / drawn["room"].std()
    shares = shares_of(peaks, drawn)
    assert shares[RESIN] == pytest.approx(0.9, abs=0.05)
    assert shares[ROOM] == pytest.approx(0.1, abs=0.05)
    assert shares[FLOW] == 0.0


def test_the_draws_are_as_wide_as_they_say_and_hang_together_little() -> None:
    """Mean 0, the stated spread, and no two unknowns with each other: else one is taken for the other."""
    drawn = draws_of(planned(35.0, 22.0))
    assert drawn["rate"].std() == pytest.approx(0.30, rel=0.03)
    assert drawn["room"].mean() == pytest.approx(0.0, abs=1e-9)
    columns = np.stack([drawn[name] for name in drawn if drawn[name].std() > 0])
    assert np.abs(np.corrcoef(columns) - np.eye(len(columns))).max() < 0.3


def test_a_mix_whose_temperature_is_said_is_known_better() -> None:
    """Said, the mix is within half a kelvin; unsaid it stands anywhere about the room's."""
    said = draws_of(planned(35.0, 22.0, pour={"start_c": 22.0}))
    assert said["start"].std() < 0.5 * draws_of(planned(35.0, 22.0))["start"].std()


def test_release_and_hour_come_with_the_band() -> None:
    """Rising quantiles; the middle near the plan's own; the core's band drawn over the hours around its own course."""
    plan = known(30.0, 21.0)
    own = predict(long_enough(plan))
    found = chances_of(plan)
    told = found.to_json()
    for name in ("peak_c", "peak_at_h", "release_at_h"):
        assert told[name]["p05"] < told[name]["p50"] < told[name]["p95"]
    assert told["peak_c"]["p50"] == pytest.approx(own.peak_c, abs=1.0)
    assert told["peak_at_h"]["p50"] == pytest.approx(own.peak_at_h, rel=0.05)
    assert told["release_at_h"]["p50"] == pytest.approx(module._hard_h(plan), rel=0.15)
    assert found.band is not None
    at = np.array(found.band.hours)
    at = at[at <= own.curve.hours[-1]]
    core = np.interp(at, own.curve.hours, own.curve.core_c)
    assert np.all(np.array(found.band.p05)[: len(at)] <= core + 0.5)
    assert np.all(core - 0.5 <= np.array(found.band.p95)[: len(at)])


def test_a_runaway_has_no_release() -> None:
    """What boils and chars is not told by when it leaves the form."""
    found = chances_of(planned(110.0, 26.0))
    assert found.release_h(0.95) is None


def test_asked_twice_it_says_the_same() -> None:
    """No dice between two looks at a page."""
    plan = planned(35.0, 22.0)
    assert quick_chances(plan) == quick_chances(plan)


def test_chances_without_members_over_or_under() -> None:
    """All at one side: none, and all."""
    flat = Chances(60.0, (50.0,) * 8, (10.0,) * 8, (), {RESIN: 1.0})
    assert flat.over == 0.0
    assert replace(flat, limit_c=40.0).over == 1.0


@pytest.mark.parametrize(("depth_mm", "room_c"), [(35.0, 22.0), (50.0, 24.0), (25.0, 28.0), (20.0, 19.0)])
def test_what_nearly_all_stay_under_is_told_by_the_hottest_members_alone(
    depth_mm: float, room_c: float
) -> None:
    """The search solves a third of the members, and says what all of them would."""
    plan = planned(depth_mm, room_c)
    every = quick_chances(plan).peak_c(0.95)
    assert sure_peak_c(plan) == pytest.approx(every, abs=0.1) or min(sure_peak_c(plan), every) > 150.0
