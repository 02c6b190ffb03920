"""The forecast of a deep, slow pour of which the plan does not say that its liquid moves."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.forecast.forecast import Forecast, MemberSample, forecast
from logger.cure.forecast.parameters import members_at, parameters_of
from logger.cure.solver.ensemble import EnsembleRun, Members, run_ensemble
from logger.cure.solver.march import Resolution

from .test_forecast import Place

#: Invented: 60 mm of a slow system. At rest its core runs away; in motion it keeps its limit.
DEEP = {
    "name": "invented deep casting system",
    "heat_of_cure_j_g": 330.0,
    "rate": {"k1_per_s": 5e-7, "k2_per_s": 1.4e-5},
}
AIR = {"top_w_m2k": 12.0, "bottom_w_m2k": 5.0, "side_w_m2k": 5.0}


@pytest.fixture(scope="module")
def deep(plan_of):
    """The plan, which says nothing of its flow."""
    return plan_of(DEEP, "river", 60.0, 24.0, air=AIR, run={"hours": 60.0})


def _course(plan, flow_factor: float):
    """Readings every six minutes with 0.05 K noise, and the core's peak in truth, °C and h."""
    hours = np.arange(0.0, 60.0, 0.1)
    members = Members(flow_factor=flow_factor)
    truth = run_ensemble(plan, members, EnsembleRun(output_hours=hours, resolution=Resolution(1.0)))
    rng = np.random.default_rng(4)
    read = {"core": truth.core_c[0], "surface": truth.surface_c[0], "room": np.full(len(hours), 24.0)}
    history = {
        place: Place(hours, celsius + 0.05 * rng.standard_normal(len(hours)))
        for place, celsius in read.items()
    }
    return history, float(truth.core_peak_c[0]), float(truth.core_peak_at_h[0])


def _forecast(plan, flow_factor: float, part: float) -> tuple[Forecast, float]:
    history, peak_c, peak_h = _course(plan, flow_factor)
    return forecast(plan, history, at_h=part * peak_h, sample=MemberSample(members=32)), peak_c


def test_a_pour_that_moves_is_forecast_to_keep_cool_before_a_third_of_the_way_to_its_peak(deep):
    """As if at rest, its median was 25 K too hot and its chance to pass the limit 81 %."""
    made, peak_c = _forecast(deep, 1.0, 0.3)
    assert peak_c < 60.0, "or the pour says nothing"
    assert made.core_peak_c.p05 < peak_c < made.core_peak_c.p95
    assert abs(made.core_peak_c.p50 - peak_c) < 10.0
    assert made.chance_core_over_limit < 0.5


def test_a_pour_at_rest_is_still_forecast_to_run_away(deep):
    made, peak_c = _forecast(deep, 0.0, 0.5)
    assert peak_c > 90.0
    assert made.core_peak_c.p05 < peak_c < made.core_peak_c.p95
    assert made.chance_core_over_limit > 0.75


def test_how_far_it_may_move_is_open_where_the_plan_says_nothing_and_about_one_where_it_does(plan_of, deep):
    named = plan_of(DEEP | {"flow": {"viscosity_pa_s": 0.5}}, "river", 60.0, 24.0, air=AIR)
    quantiles = np.array([-1.645, 0.0, 1.645])
    factors = {}
    for plan in (deep, named):
        unknowns = parameters_of(plan)
        theta = np.zeros((3, len(unknowns)))
        theta[:, [u.name for u in unknowns].index("flow_factor")] = quantiles
        factors[plan is named] = np.asarray(members_at(unknowns, theta).flow_factor)
    # As likely anywhere between rest and full motion: 5, 50, 95 % of it (closed form; the logistic is off by 0.01).
    assert factors[False] == pytest.approx([0.05, 0.5, 0.95], abs=0.012)
    assert factors[True][1] == 1.0
    assert 0.5 < factors[True][0] < 1.0 < factors[True][2] < 2.0
