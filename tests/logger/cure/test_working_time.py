"""How long a mass stays workable."""

from __future__ import annotations

import pytest

from logger.cure.fit.datasheet import WorkingTime, specimen_plan
from logger.cure.fit.datasheet_model import WORKABLE
from logger.cure.fit.working_time import hot_core_c, pail_course, quick_working_time_h, working_time_h
from logger.cure.model.crossing import first_crossing
from logger.cure.model.history import time_to
from logger.cure.solver.prediction import predict
from logger.errors import OutOfRange


def test_a_thimble_lasts_as_long_as_the_isothermal_cure(slow_resin):
    """Two grams keep no heat: the time is the closed integral of the rate, within 3 %."""
    assert working_time_h(slow_resin, 0.002, 25.0) == pytest.approx(
        time_to(WORKABLE, 25.0, slow_resin.rate), rel=0.03
    )


def test_more_in_the_pail_and_a_warmer_room_leave_less_time(slow_resin):
    """Common practice, no source: a larger mass and a warmer room each shorten the working time."""
    small, large = working_time_h(slow_resin, 0.2, 25.0), working_time_h(slow_resin, 10.0, 25.0)
    assert large < 0.9 * small
    assert working_time_h(slow_resin, 0.2, 30.0) < 0.7 * small


@pytest.mark.parametrize(("mass_kg", "hours"), [(0.1, 34.0), (1.0, 28.0), (10.0, 18.5)])
def test_quick_steps_give_the_time_of_the_solver_at_its_full_accuracy(slow_resin, mass_kg, hours):
    """The judge is `predict` on its own mesh and steps, of the same cup: within 1 %, between solved masses 3 %. It runs
    past the working time, and not into the runaway that follows in a large cup."""
    plan = specimen_plan(
        WorkingTime(at_c=25.0, mass_kg=mass_kg, time_min=1.0),
        slow_resin.model_dump(exclude_none=True, mode="json"),
        hours,
    )
    curve = predict(plan).curve
    thick, hot = (
        first_crossing(curve.hours, values, level)
        for values, level in ((curve.mean_conversion, WORKABLE), (curve.core_c, hot_core_c(25.0)))
    )
    judge = min(end for end in (thick, hot) if end is not None)

    assert working_time_h(slow_resin, mass_kg, 25.0) == pytest.approx(judge, rel=0.01)
    assert quick_working_time_h(slow_resin, mass_kg, 25.0) == pytest.approx(judge, rel=0.03)


def test_the_working_time_of_a_large_pail_ends_before_its_core_runs_away(slow_resin):
    """At the end of 10 kg's working time no place of it is over 45 °C; by the mean conversion alone it was over 100."""
    hours = working_time_h(slow_resin, 10.0, 25.0)
    at_h, core_c = pail_course(slow_resin, 10.0, 25.0, None, 1.3 * hours)
    assert max(c for h, c in zip(at_h, core_c, strict=True) if h <= hours) <= 45.0
    assert core_c[-1] > 60.0


def test_warm_parts_leave_less_time_than_the_room_says(slow_resin):
    """Common practice, no source: parts from a heated store thicken sooner than those at the room's temperature."""
    assert working_time_h(slow_resin, 1.0, 20.0, start_c=30.0) < 0.97 * working_time_h(slow_resin, 1.0, 20.0)


def test_a_room_in_which_nothing_cures_is_refused(slow_resin):
    """No working time is invented for a freezing room: mass, temperature and remedy are named."""
    never = slow_resin.model_copy(
        update={"rate": slow_resin.rate.model_copy(update={"k1_per_s": 1e-9, "k2_per_s": 1e-7})}
    )
    with pytest.raises(OutOfRange, match=r"0\.1 kg does not thicken.*-10 °C.*warm the room"):
        working_time_h(never, 0.1, -10.0)


@pytest.mark.parametrize(("mass_kg", "celsius"), [(0.0, 25.0), (500.0, 25.0), (0.1, 120.0)])
def test_no_mass_is_refused(slow_resin, mass_kg, celsius):
    """A mass or temperature outside the range is refused with the range."""
    with pytest.raises(OutOfRange, match=r"0\.001 kg to 200 kg"):
        working_time_h(slow_resin, mass_kg, celsius)
