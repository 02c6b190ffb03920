"""Liquid resin that moves until it gels, in the solver."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.solver.ensemble import EnsembleRun, Members, run_ensemble
from logger.cure.solver.march import Accuracy
from logger.cure.solver.prediction import predict
from logger.errors import BadPlan

#: Invented: a slow system as pours are simulated with, 60 mm deep, which runs away at rest and does not in motion.
DEEP = {
    "name": "invented deep casting system",
    "heat_of_cure_j_g": 330.0,
    "rate": {"k1_per_s": 5e-7, "k2_per_s": 1.4e-5},
}
AIR = {"top_w_m2k": 12.0, "bottom_w_m2k": 5.0, "side_w_m2k": 5.0}
ONCE = Accuracy()
#: What the solver of 29 November said of it, without motion: peak °C, hour of the core's peak, mean conversion.
BEFORE_MOTION = (98.2088861839058, 15.850873029300608, 0.9460391075378336)


def _deep(plan_of, viscosity=None, depth=60.0, resin=None, **more):
    flow = {} if viscosity is None else {"flow": {"viscosity_pa_s": viscosity}}
    return plan_of((resin or DEEP) | flow, "river", depth, 24.0, air=AIR, **more)


def test_a_plan_that_says_nothing_of_its_flow_is_predicted_as_before_flow_was_known(plan_of):
    """To more digits than are printed; the last few hang on the machine's linear algebra."""
    before = predict(_deep(plan_of), accuracy=ONCE)
    told = before.peak_c, before.core_peak_at_h, before.end_mean_conversion
    assert told == pytest.approx(BEFORE_MOTION, rel=1e-9)


def test_at_rest_is_at_rest_whether_the_plan_names_a_viscosity_or_not(plan_of):
    still = predict(_deep(plan_of), accuracy=ONCE)
    asked = predict(_deep(plan_of, 0.5), accuracy=ONCE, flow_factor=0.0)
    assert asked.to_json() == still.to_json()
    thick = predict(_deep(plan_of, 1000.0), accuracy=ONCE)
    assert thick.peak_c == pytest.approx(still.peak_c, abs=0.2)


def test_motion_keeps_a_deep_slow_pour_cooler_and_peaks_it_later(plan_of):
    still = predict(_deep(plan_of), accuracy=ONCE)
    moving = predict(_deep(plan_of, 0.5), accuracy=ONCE)
    assert still.peak_c > 95.0
    assert moving.peak_c < still.peak_c - 30.0
    assert moving.peak_at_h > still.peak_at_h
    assert moving.heat_balance_error < 1e-3


def test_thinner_resin_stays_cooler(plan_of):
    peaks = [predict(_deep(plan_of, v), accuracy=ONCE).peak_c for v in (0.3, 1.0, 3.0, 10.0)]
    assert peaks == sorted(peaks)


def test_a_quick_shallow_coat_has_no_time_to_move(plan_of, quick_coating):
    still = predict(_deep(plan_of, depth=6.0, resin=quick_coating), accuracy=ONCE)
    moving = predict(_deep(plan_of, 0.5, depth=6.0, resin=quick_coating), accuracy=ONCE)
    assert moving.peak_c == pytest.approx(still.peak_c, abs=0.5)


@pytest.mark.parametrize("shape", ["sheet", "round"])
def test_every_shape_moves_and_keeps_its_heat(plan_of, shape):
    plan = plan_of(DEEP | {"flow": {"viscosity_pa_s": 0.5}}, shape, 50.0, 24.0, air=AIR)
    moving, still = predict(plan, accuracy=ONCE), predict(plan, accuracy=ONCE, flow_factor=0.0)
    assert moving.peak_c < still.peak_c - 5.0
    assert moving.heat_balance_error < 1e-3


def test_a_layer_over_one_that_has_gelled_moves_by_itself(plan_of):
    layers = [{"at_h": 40.0, "depth_mm": 40.0}]
    plan = _deep(plan_of, 0.4, depth=35.0, layer=layers, run={"hours": 90.0})
    moving, still = predict(plan, accuracy=ONCE), predict(plan, accuracy=ONCE, flow_factor=0.0)
    assert moving.peak_c < still.peak_c
    assert moving.heat_balance_error < 1e-3


def test_stirring_neither_makes_nor_loses_conversion(plan_of):
    """The heat balance counts what cured: with motion alone it closes to what steps allow."""
    plan = _deep(plan_of, 0.5, run={"hours": 15.0})
    end = run_ensemble(plan, Members(flow_factor=np.array([0.0, 0.5, 1.0, 2.0])), EnsembleRun())
    assert (end.heat_balance_error < 1e-3).all()
    spread = np.ptp(end.end.alpha[:, 4:-4, 0], axis=1)
    assert spread[0] > 2.0 * spread[2]


def test_a_member_moves_by_its_own_factor(plan_of):
    plan = _deep(plan_of, 0.5, run={"hours": 40.0})
    both = run_ensemble(plan, Members(flow_factor=np.array([0.0, 1.0])))
    alone = run_ensemble(plan, Members(flow_factor=1.0))
    still = run_ensemble(_deep(plan_of, run={"hours": 40.0}), Members())
    assert both.hottest_peak_c[1] == pytest.approx(alone.hottest_peak_c[0], abs=0.05)
    assert both.hottest_peak_c[0] == pytest.approx(still.hottest_peak_c[0], abs=1e-9)
    unsaid = run_ensemble(plan, Members())
    assert unsaid.hottest_peak_c == pytest.approx(alone.hottest_peak_c, abs=1e-9)


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ({"viscosity_pa_s": 0.0}, "viscosity_pa_s"),
        ({"viscosity_pa_s": 0.5, "gel_conversion": 1.2}, "gel_conversion"),
        ({"viscosity_pa_s": 0.5, "exponent_a": 0.5, "exponent_b": -5.0}, "thickens without bound"),
        ({}, "viscosity_pa_s"),
        ({"viscosity_pa_s": 0.5, "viscosity_cp": 500.0}, "viscosity_cp"),
    ],
)
def test_a_flow_table_that_makes_no_sense_is_refused_by_its_key(plan_of, table, told):
    with pytest.raises(BadPlan, match=told):
        plan_of(DEEP | {"flow": table}, "river", 60.0, 24.0)
