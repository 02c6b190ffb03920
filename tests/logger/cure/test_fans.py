"""A fan over the surface for a while: in the prediction, in the forecast, and how much of its cooling arrives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.cure.forecast.forecast import MemberSample, forecast
from logger.cure.model import heat_transfer
from logger.cure.solver.ensemble import EnsembleRun, Members, RoomHistory, run_ensemble
from logger.cure.solver.fans import FanRun, cooling, fan_effects, interventions_of, runs_of, runs_of_pour
from logger.cure.solver.march import Resolution
from logger.cure.solver.mesh import section_of
from logger.cure.solver.prediction import predict
from logger.errors import BadPlan
from logger.plan.file import Plan

Floats = NDArray[np.float64]
AIR_M_S = 2.0


@dataclass(frozen=True)
class Place:
    """Readings of one place."""

    hours: Floats
    celsius: Floats


@pytest.fixture
def plan(plan_of: Any, slow_casting: dict[str, Any]) -> Any:
    """Makes a plan of a river 40 mm deep, poured warm so that there is something to cool, with further tables."""
    warm = {"start_c": 34.0}
    return lambda **more: plan_of(slow_casting, "river", 40.0, 22.0, run={"hours": 20.0}, pour=warm, **more)


def test_a_fan_that_is_planned_for_the_whole_run_is_the_same_as_moving_air(plan: Any) -> None:
    """Two ways to write one pour give one prediction."""
    by_times = predict(plan(fan=[{"from_h": 0.0, "to_h": 20.0, "air_m_s": AIR_M_S}]))
    by_air = predict(plan(air={"top_air_m_s": AIR_M_S}))
    assert by_times.core_peak_c == pytest.approx(by_air.core_peak_c, abs=1e-6)
    still = predict(plan()).curve
    at_5_h = [float(np.interp(5.0, curve.hours, curve.core_c)) for curve in (by_times.curve, still)]
    assert at_5_h[0] < at_5_h[1] - 0.3, "and it cools"


def test_a_planned_fan_changes_nothing_before_its_time_and_cools_the_surface_after_it(plan: Any) -> None:
    """From the third hour on the surface is colder than it would be."""
    hours = np.array([1.0, 1.9, 3.0])
    still = run_ensemble(plan(), Members(), EnsembleRun(output_hours=hours)).surface_c[0]
    blown = run_ensemble(
        plan(fan=[{"from_h": 2.0, "to_h": 6.0}]), Members(), EnsembleRun(output_hours=hours)
    ).surface_c[0]
    assert blown[:2] == pytest.approx(still[:2], abs=0.02)
    assert blown[2] < still[2] - 0.3


def test_a_given_coefficient_becomes_that_of_the_handbook_in_driven_air(plan: Any) -> None:
    """Between 5 W/(m²·K) as given and what the flat plate's correlation gives at 2 m/s, by the part that arrives."""
    given = plan(air={"top_w_m2k": 5.0})
    section = section_of(given, 1.0)
    driven = float(
        heat_transfer.top_w_m2k(
            37.0,
            22.0,
            size_m=section.plate_size_m,
            run_m=section.plate_run_m,
            air_m_s=AIR_M_S,
            emissivity=0.9,
        )
    )
    for part in (0.0, 0.4, 1.0):
        on, off = interventions_of(given, fan_effects(given, [FanRun(1.0, 3.0)]), np.ones(1), part)
        assert on.top_factor is not None
        assert 5.0 * float(np.asarray(on.top_factor)[0]) == pytest.approx(
            5.0 + part * (driven - 5.0), rel=1e-3
        )
        assert (off.at_h, float(np.asarray(off.top_factor)[0])) == (3.0, 1.0)


def test_a_plan_that_counts_the_fan_in_is_compared_with_still_air(plan: Any) -> None:
    """No blow of its own: shedding what still air sheds is 0, what was planned 1."""
    windy = plan(air={"top_air_m_s": AIR_M_S})
    assert fan_effects(windy, [FanRun(0.0)]) == ()
    section = section_of(windy, 1.0)
    sizes = {"size_m": section.plate_size_m, "run_m": section.plate_run_m, "emissivity": 0.9}
    ratio = float(
        heat_transfer.top_w_m2k(37, 22, air_m_s=0, **sizes)
        / heat_transfer.top_w_m2k(37, 22, air_m_s=2, **sizes)
    )
    part = cooling(windy, [FanRun(0.0)], 5.0, None, np.array([ratio, 1.0]))
    assert part == pytest.approx([0.0, 1.0], abs=0.01)
    assert cooling(windy, [FanRun(0.0, 4.0)], 5.0, None, np.ones(2)) is None, "it does not run"


def test_what_was_switched_counts_for_the_past_and_the_plan_for_what_comes(plan: Any) -> None:
    """Switched on within a planned time it ends with it; a planned time that nobody switched did not happen."""
    planned: Plan = plan(
        fan=[
            {"from_h": 1.0, "to_h": 2.0},
            {"from_h": 5.0, "to_h": 8.0, "air_m_s": 3.0},
            {"from_h": 12.0, "to_h": 14.0},
        ]
    )
    assert [run.to_h for run in runs_of(planned)] == [2.0, 8.0, 14.0]
    found = runs_of_pour(planned, [(5.5, None)], 6.0)
    assert [(run.from_h, run.to_h) for run in found] == [(5.5, 8.0), (12.0, 14.0)]
    assert runs_of_pour(planned, [(3.0, None)], 4.0)[0].to_h is None


def test_times_of_the_fan_that_overlap_are_refused(plan: Any) -> None:
    """The plan says which, and what to do."""
    with pytest.raises(BadPlan, match=r"must follow each other.*join what overlaps"):
        plan(fan=[{"from_h": 0.0, "to_h": 5.0}, {"from_h": 4.0, "to_h": 6.0}])


@pytest.mark.parametrize(
    ("part", "low", "high"), [(0.0, 0.0, 0.3), (1.0, 0.6, 1.4)], ids=["still", "turning"]
)
def test_an_hour_and_a_half_after_it_was_switched_on_a_still_fan_is_known_from_a_turning_one(
    plan: Any, part: float, low: float, high: float
) -> None:
    """By the readings alone: no contact, noisy probes, a resin that is faster than planned."""
    planned = plan()
    rng = np.random.default_rng(3)
    hours = np.arange(0.0, 4.0, 1 / 20)
    room = 22.3 + 0.5 * np.sin(hours / 4)
    run = FanRun(1.5)
    truth = run_ensemble(
        planned,
        Members(rate_factor=1.2),
        EnsembleRun(hours=4.0, output_hours=hours, resolution=Resolution(0.9)),
        room=RoomHistory(hours, room),
        changes=interventions_of(planned, fan_effects(planned, [run]), np.ones(1), part),
    )
    history = {
        place: Place(hours, np.round((celsius + 0.15 * rng.standard_normal() + rng.normal(0, 0.05, len(hours))) * 16)
                     / 16)
        for place, celsius in (("core", truth.core_c[0]), ("surface", truth.surface_c[0]),
                               ("underside", truth.underside_c[0]), ("room", room))
    }  # fmt: skip
    found = forecast(planned, history, at_h=3.0, fans=[run], sample=MemberSample(members=24))
    assert found.fan_cooling is not None
    assert low <= found.fan_cooling.p50 <= high
    named = [cause.words for cause in found.causes if cause.name == "fan_part"]
    assert bool(named) == (part == 0.0), "and it is named among the causes"
