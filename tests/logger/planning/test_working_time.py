"""A pail's working time in planning is the solver's, fed by the datasheet's own statement (all data invented)."""

from __future__ import annotations

import pytest

from logger.cure.fit.datasheet import WorkingTime, datasheet_from_text, specimen_plan
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.cure.fit.datasheet_model import WORKABLE
from logger.cure.fit.working_time import hot_core_c
from logger.cure.model.crossing import first_crossing
from logger.cure.solver.prediction import predict
from logger.plan.file import Plan, plan_from_table
from logger.planning.cure_answers import working_time_of

STATED_MIN = 600.0
SHEET = """
name = "slow casting system (invented)"
[[working_time]]
mass_kg = 0.1
at_c = 25.0
time_min = 600.0
"""


@pytest.fixture(scope="module")
def plan() -> Plan:
    """A plan in a room at 25 °C with the resin that was fitted to the datasheet, and no [mix]."""
    resin = fit_datasheet(datasheet_from_text(SHEET)).resin
    return plan_from_table(
        {
            "title": "invented",
            "resin": resin.model_dump(exclude_none=True, mode="json"),
            "pour": {"shape": "sheet", "depth_mm": 20.0},
            "air": {"room_c": 25.0},
        }
    )


def with_mix(plan: Plan, **stated: float) -> Plan:
    """The plan with a [mix] that states a working time."""
    mix = {"density_a_kg_m3": 1140.0, "density_b_kg_m3": 1020.0, "ratio_parts": [2, 1], "ratio_by": "volume"}
    return plan_from_table(plan.model_dump(exclude_none=True, mode="json") | {"mix": mix | stated})


def test_what_the_datasheet_states_comes_back_at_its_own_mass_and_room(plan: Plan) -> None:
    """600 min for 100 g at 25 °C in, 600 ± 5 % out: by the fitted resin alone and by the plan's statement alike."""
    stated = with_mix(plan, working_time_min=STATED_MIN, working_time_mass_kg=0.1, working_time_c=25.0)

    assert working_time_of(plan, 0.1) == pytest.approx(STATED_MIN, rel=0.05)
    assert working_time_of(stated, 0.1) == pytest.approx(STATED_MIN, rel=0.05)


def test_a_pail_of_ten_kilograms_has_the_solvers_time(plan: Plan) -> None:
    """The judge is the solver at its full accuracy: what comes first, a mix that is too thick or a core that is hot. A
    lump without conduction gave a quarter more, the mean conversion alone a core of over 100 °C, both the unsafe way.
    """
    cup = specimen_plan(
        WorkingTime(at_c=25.0, mass_kg=10.0, time_min=1.0),
        plan.resin.model_dump(exclude_none=True, mode="json"),
        6.0,  # past its working time, and not far into its runaway
    )
    assert cup is not None
    curve = predict(cup).curve
    thick_h = first_crossing(curve.hours, curve.mean_conversion, WORKABLE)
    hot_h = first_crossing(curve.hours, curve.core_c, hot_core_c(25.0))
    assert hot_h is not None
    assert thick_h is None or hot_h < thick_h

    assert working_time_of(plan, 10.0) == pytest.approx(60.0 * hot_h, rel=0.02)
    assert working_time_of(plan, 10.0) < 0.8 * STATED_MIN


def test_a_shorter_statement_shortens_every_pail(plan: Plan) -> None:
    """A datasheet that calls the mix too thick earlier is taken at its word, in larger pails too."""
    strict = with_mix(plan, working_time_min=400.0, working_time_mass_kg=0.1, working_time_c=25.0)

    assert working_time_of(strict, 0.1) == pytest.approx(400.0, rel=0.02)
    assert working_time_of(strict, 10.0) < min(400.0, working_time_of(plan, 10.0))


@pytest.mark.parametrize("mass_kg", [0.05, 0.4, 3.0, 12.0, 40.0])
def test_more_in_the_pail_never_lasts_longer(plan: Plan, mass_kg: float) -> None:
    """A larger mass keeps its heat: its working time is shorter, never negative."""
    assert 0.0 < working_time_of(plan, 1.5 * mass_kg) <= working_time_of(plan, mass_kg) * 1.002
