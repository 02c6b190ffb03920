"""Heat that each member absorbs on its own."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.solver.ensemble import EnsembleRun, Intervention, Members, run_ensemble
from logger.plan.file import Heat, Plan, plan_from_text

PLAN = """
title = "Invented pour in the sun"
[resin]
name = "Invented slow system"
heat_of_cure_j_g = 330.0
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[pour]
shape = "river"
depth_mm = 40.0
width_mm = 200.0
length_mm = 1200.0
start_c = 21.0
[air]
room_c = 21.0
top_w_m2k = 8.5
bottom_w_m2k = 7.0
side_w_m2k = 5.0
[run]
hours = 12.0
"""


@pytest.fixture
def plan() -> Plan:
    return plan_from_text(PLAN)


def test_heat_that_a_member_absorbs_warms_it_as_heat_of_the_plan_does(plan: Plan) -> None:
    """A change of 200 W/m² from 2 to 4 h in one member equals the plan's own [[heat]]; the other stays as planned."""
    at = np.linspace(0.0, 12.0, 49)
    sunny = plan.model_copy(update={"heat": [Heat(from_h=2.0, to_h=4.0, absorbed_w_m2=200.0)]})
    changes = [Intervention(2.0, absorbed_w_m2=np.array([0.0, 200.0])), Intervention(4.0, absorbed_w_m2=0.0)]
    both = run_ensemble(plan, Members(rate_factor=np.ones(2)), EnsembleRun(output_hours=at), changes=changes)
    shade, sun = (run_ensemble(p, Members(), EnsembleRun(output_hours=at)) for p in (plan, sunny))
    assert np.abs(both.surface_c[0] - shade.surface_c[0]).max() < 0.1
    assert np.abs(both.surface_c[1] - sun.surface_c[0]).max() < 0.1
    assert sun.surface_c.max() > shade.surface_c.max() + 5.0


def test_heat_alone_leaves_every_coefficient_as_it_was(plan: Plan) -> None:
    """Heat that begins and ends, and the same beside a factor of 1 that is set anew: the same readings and balance."""
    given = Members(top_factor=np.array([0.7, 1.3]))
    plain = [Intervention(2.0, absorbed_w_m2=np.array([80.0, 200.0])), Intervention(4.0, absorbed_w_m2=0.0)]
    anew = [Intervention(c.at_h, absorbed_w_m2=c.absorbed_w_m2, bottom_factor=1.0) for c in plain]
    one, other = (
        run_ensemble(plan, given, EnsembleRun(hours=8.0), changes=changes) for changes in (plain, anew)
    )
    for name in ("core_c", "surface_c", "underside_c", "hottest_c"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-9)
    assert one.heat_balance_error.max() < 1e-3


def test_a_faster_first_step_of_the_cure_brings_the_peak_forward(plan: Plan) -> None:
    """first_factor multiplies k1: the core warms earlier, with the same heat in the end."""
    run = run_ensemble(plan, Members(first_factor=np.array([1.0, 2.0])), EnsembleRun(hours=36.0))
    assert run.core_peak_at_h[1] < run.core_peak_at_h[0] - 0.5
