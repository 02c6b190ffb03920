"""When something happens in the members, where it may never happen within the run."""

from __future__ import annotations

import json

import numpy as np
import pytest

from logger.cure.forecast.predictive import _curves, clear_in, middle_member, moment


def test_hours_that_all_members_reach_have_the_quantiles_of_a_reference_library() -> None:
    """Hazen's rule (Hyndman & Fan 1996, Am. Stat. 50:361, rule 5), as numpy has it."""
    rng = np.random.default_rng(3)
    for count in (1, 2, 5, 19, 64):
        hours = 40.0 * rng.random(count)
        found = moment(hours, 72.0)
        wanted = np.quantile(hours, (0.05, 0.5, 0.95), method="hazen")
        assert (found.p05, found.p50, found.p95) == pytest.approx(tuple(wanted))
        assert found.chance == 1.0


@pytest.mark.parametrize(
    ("never", "told"), [(0, 3), (2, 3), (3, 2), (31, 2), (32, 1), (60, 1), (61, 0), (64, 0)]
)
def test_a_quantile_that_leans_on_a_member_that_never_gets_there_is_none(never: int, told: int) -> None:
    """64 members: with three that stay soft the upper end is open, with half of them the middle, at last all of it."""
    hours = np.concatenate([np.linspace(20.0, 60.0, 64 - never), np.full(never, np.inf)])
    found = moment(hours, 72.0)
    given = [found.p05, found.p50, found.p95]
    assert given[told:] == [None] * (3 - told)
    assert all(hour is not None and 20.0 <= hour <= 60.0 for hour in given[:told])
    assert found.chance == pytest.approx((64 - never) / 64)
    assert json.loads(json.dumps(found.to_json(), allow_nan=False))["within_h"] == 72.0


def test_it_is_clear_by_the_hour_at_which_the_courses_part() -> None:
    """Two of four members run away from hour 2 on: by a reading they are told apart from then on, and not before."""
    hours = np.arange(0.0, 5.0, 0.5)
    cool = 30.0 + hours
    hot = cool + np.maximum(hours - 2.0, 0.0) * 10.0
    core = np.stack([cool, cool + 0.1, hot, hot + 0.1])
    over = np.array([False, False, True, True])
    assert clear_in(hours, core, over) == pytest.approx(2.5)
    assert clear_in(hours, core, np.zeros(4, dtype=bool)) is None
    assert clear_in(hours, np.stack([cool] * 4), over) is None


def test_the_middle_that_is_drawn_reaches_the_peak_that_is_said() -> None:
    """Peaks at different hours: the median of each hour would stay far below every one of them."""
    hours = np.linspace(0.0, 10.0, 240)
    at_h = np.array([3.0, 5.0, 7.0])
    core = 25.0 + 80.0 * np.exp(-(((hours[None, :] - at_h[:, None]) / 0.4) ** 2))
    middle = middle_member(core.max(axis=1) + np.array([-1.0, 0.0, 1.0]))
    drawn = _curves(hours, (core, core, core / 200), middle, (5.003, 105.2))
    assert drawn.core_c[1].max() == pytest.approx(105.2)
    assert np.median(core, axis=0).max() < 40.0, "so the test can fail"
    assert (np.diff(drawn.hours) > 0).all()
