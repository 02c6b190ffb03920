"""The shop's own pours: the batch's rate and heat are found, and judged on pours that the fit has not seen."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.fit.refit import RecordedPour, fit_from_pours
from logger.cure.solver.ensemble import RoomHistory
from logger.cure.solver.prediction import predict
from logger.errors import BadInput
from logger.words.reader import METRIC
from logger.words.render import say

RATE, HEAT = 1.25, 0.95
#: Coefficients of the faces, W/(m²·K), where a plan may give them: the fit solves each pour dozens of times, ten times
#: quicker than where they follow the temperatures.
GIVEN = {"top_w_m2k": 7.0, "bottom_w_m2k": 5.0, "side_w_m2k": 5.0}


def recorded(plan_of, resin, depth_mm, room_c, noise, rate=RATE, heat=HEAT, **more):
    """A pour whose batch cures RATE times as fast with HEAT times the heat, read with noise: invented."""
    given = resin["rate"]
    batch = dict(
        resin,
        heat_of_cure_j_g=resin["heat_of_cure_j_g"] * heat,
        rate=dict(given, k1_per_s=given["k1_per_s"] * rate, k2_per_s=given["k2_per_s"] * rate),
    )
    tables = {"air": GIVEN, "run": {"hours": 48.0}}
    true = predict(plan_of(batch, "sheet", depth_mm, room_c, **tables), fineness=0.8)
    hours = np.arange(0.25, 48.0, 0.25)
    draw = np.random.default_rng(noise)
    # Each probe has its own offset as well as noise.
    core_c = np.interp(hours, true.curve.hours, true.curve.core_c) + draw.normal(0, 0.3, len(hours))
    core_c += draw.normal(0, 0.3)
    core_c[10:14] = np.nan
    return RecordedPour(plan_of(resin, "sheet", depth_mm, room_c, **tables), hours, core_c, **more)


def test_the_batch_is_found_and_pours_left_out_are_predicted_better(plan_of, slow_casting):
    """Rate and heat come back within 3 %; on each pour left out the error falls to probe level, from several
    kelvins."""
    pours = [
        recorded(plan_of, slow_casting, 40.0, 23.0, 1), recorded(plan_of, slow_casting, 46.0, 22.0, 2),
        recorded(plan_of, slow_casting, 36.0, 25.0, 3),
    ]  # fmt: skip
    found = fit_from_pours(pours)
    assert found.rate_factor == pytest.approx(RATE, rel=0.03)
    assert found.heat_factor == pytest.approx(HEAT, rel=0.03)
    assert found.rate_range[0] < RATE < found.rate_range[1]
    assert found.heat_range[0] < HEAT < found.heat_range[1]
    for one in found.left_out:
        assert one.rms_before_k > 3.0
        assert one.rms_after_k < 1.0
        assert abs(one.peak_after_k) < abs(one.peak_before_k)
    before, after = found.better_k
    assert after < 0.25 * before
    assert "take it" in say(found.message(), METRIC)
    assert found.resin.rate.k2_per_s == pytest.approx(slow_casting["rate"]["k2_per_s"] * found.rate_factor)


def test_batches_that_differ_widen_the_range(plan_of, slow_casting):
    """Three batches of different speed: the range of the rate spans their differences instead of shrinking."""
    speeds = (0.85, 1.0, 1.2)
    pours = [recorded(plan_of, slow_casting, 30.0, 26.0, i, rate=r, heat=1.0) for i, r in enumerate(speeds)]
    found = fit_from_pours(pours)
    assert found.rate_range[1] / found.rate_range[0] > 1.2


def test_one_pour_cannot_prove_anything(plan_of, slow_casting):
    """A single pour is fitted, but says that nothing shows it got better; the measured room is used."""
    room = RoomHistory(np.array([0.0, 48.0]), np.array([24.0, 24.0]))
    found = fit_from_pours([recorded(plan_of, slow_casting, 40.0, 24.0, 5, room=room)])
    assert found.left_out == ()
    assert found.better_k is None
    assert "record another" in say(found.message(), METRIC)
    assert found.rate_factor == pytest.approx(RATE, rel=0.05)


def test_a_resin_that_was_right_is_kept(plan_of, slow_casting):
    """Pours of exactly the resin as planned: the factors hold 1, and the message does not promise what is not there."""
    pours = [recorded(plan_of, slow_casting, d, 24.0, d, rate=1.0, heat=1.0) for d in (34, 38)]
    found = fit_from_pours([RecordedPour(p.plan, p.hours, p.core_c) for p in pours])
    assert found.rate_range[0] < 1.0 < found.rate_range[1]
    assert found.better_k[1] < 1.0


def test_what_cannot_be_fitted_is_refused(plan_of, slow_casting, quick_coating):
    """No pours, two resins, too few readings, hours out of order: each refused with its remedy."""
    plan = plan_of(slow_casting, "sheet", 30.0, 22.0)
    other = plan_of(quick_coating, "sheet", 3.0, 22.0)
    hours, core_c = np.arange(1.0, 20.0), np.full(19, 25.0)
    with pytest.raises(BadInput, match="record a pour first"):
        fit_from_pours([])
    with pytest.raises(BadInput, match="one resin at a time"):
        fit_from_pours([RecordedPour(plan, hours, core_c), RecordedPour(other, hours, core_c)])
    with pytest.raises(BadInput, match="too few readings"):
        fit_from_pours([RecordedPour(plan, hours[:5], core_c[:5])])
    with pytest.raises(BadInput, match="sort the readings"):
        fit_from_pours([RecordedPour(plan, hours[::-1], core_c)])
    with pytest.raises(BadInput, match="differ in length"):
        fit_from_pours([RecordedPour(plan, hours, core_c[:5])])
