"""Members at once give what each gives alone, and what is done to a pour on the way shows."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.model.crossing import first_crossing
from logger.cure.solver.ensemble import (
    EnsembleRun,
    Intervention,
    Members,
    RoomHistory,
    peak,
    run_ensemble,
    smooth,
)
from logger.errors import BadInput

FIELDS = ("core_c", "hottest_c", "surface_c", "underside_c", "mean_conversion")


@pytest.fixture
def river(plan_of, slow_casting):
    """An invented 45 mm river in a 23 °C room, coefficients given."""
    return plan_of(
        slow_casting,
        "river",
        45.0,
        23.0,
        run={"hours": 40.0},
        air={"top_w_m2k": 10.0, "bottom_w_m2k": 6.0, "side_w_m2k": 6.0},
    )


def test_members_together_are_the_members_alone(river):
    """Own steps each: one that runs away does not disturb its neighbours."""
    rate, heat = np.array([0.7, 1.0, 2.5]), np.array([0.95, 1.0, 1.1])
    together = run_ensemble(
        river, Members(rate_factor=rate, heat_factor=heat, start_offset_c=np.array([-1, 0, 2]))
    )
    assert together.hottest_peak_c[2] > together.hottest_peak_c[0] + 30.0
    for i in range(3):
        alone = run_ensemble(
            river, Members(rate_factor=rate[i], heat_factor=heat[i], start_offset_c=[-1, 0, 2][i])
        )
        assert alone.core_peak_c[0] == pytest.approx(together.core_peak_c[i], abs=1e-6)
        for name in FIELDS:
            assert getattr(alone, name)[0] == pytest.approx(getattr(together, name)[i], abs=1e-6)


@pytest.mark.parametrize("face", ["top", "bottom", "side"])
def test_a_factor_on_a_face_is_that_face_with_another_coefficient(river, face):
    """Twice the coefficient by the member's factor or by the plan: the same numbers."""
    thin = river.form.side.model_copy(
        update={"thickness_mm": 10.0}
    )  # 200 mm of wood would hide the outer face
    river = river.model_copy(update={"form": river.form.model_copy(update={"side": thin})})
    key = f"{face}_w_m2k"
    given = river.air.model_copy(update={key: 2.0 * getattr(river.air, key)})
    planned = run_ensemble(river.model_copy(update={"air": given}), Members())
    by_factor = run_ensemble(river, Members(**{f"{face}_factor": 2.0}))
    plain = run_ensemble(river, Members())
    assert by_factor.core_peak_c == pytest.approx(planned.core_peak_c, abs=1e-9)
    assert by_factor.underside_c == pytest.approx(planned.underside_c, abs=1e-9)
    assert by_factor.core_peak_c[0] < plain.core_peak_c[0] - 0.02


def test_a_probe_higher_or_off_centre_reads_the_field_there(river):
    """A probe 15 mm above mid-depth and one near the slab both read cooler than the centre."""
    found = run_ensemble(
        river, Members(probe_x_mm=np.array([0.0, 0.0, 140.0]), probe_z_mm=np.array([0.0, 15.0, 0.0]))
    )
    assert found.hottest_peak_c == pytest.approx(np.full(3, found.hottest_peak_c[0]))
    assert found.core_peak_c[1] < found.core_peak_c[0] - 0.5
    assert found.core_peak_c[2] < found.core_peak_c[0] - 0.5


def test_going_on_from_a_checkpoint_is_the_same_run(river):
    """Stopped at 12 h and gone on with, against run through."""
    members = Members(rate_factor=np.array([0.8, 1.2]))
    whole = run_ensemble(river, members)
    half = run_ensemble(river, members, EnsembleRun(hours=12.0))
    rest = run_ensemble(river, members, start=half.end)
    assert rest.core_peak_c == pytest.approx(whole.core_peak_c, abs=0.05)
    assert rest.end_mean_conversion == pytest.approx(whole.end_mean_conversion, abs=1e-4)


def test_a_fan_from_an_hour_on_cools_only_from_then_on(river):
    """top_factor doubled at 10 h."""
    hours = np.array([9.9, 20.0])
    calm = run_ensemble(river, Members(), EnsembleRun(output_hours=hours))
    fanned = run_ensemble(
        river, Members(), EnsembleRun(output_hours=hours), changes=[Intervention(10.0, top_factor=2.0)]
    )
    assert fanned.surface_c[0, 0] == pytest.approx(calm.surface_c[0, 0], abs=0.02)
    assert fanned.surface_c[0, 1] < calm.surface_c[0, 1] - 0.5
    assert fanned.core_peak_c[0] < calm.core_peak_c[0]


def test_a_measured_room_takes_the_place_of_the_planned_one(river):
    """A room 4 K warmer than planned makes it hotter and sooner; each member may have its own."""
    hours = np.linspace(0.0, 40.0, 81)
    same, warm = np.full(81, 23.0), np.full(81, 27.0)
    found = run_ensemble(
        river, Members(room_offset_c=np.zeros(2)), room=RoomHistory(hours, np.stack([same, warm]))
    )
    planned = run_ensemble(river, Members())
    assert found.core_peak_c[0] == pytest.approx(planned.core_peak_c[0], abs=1e-6)
    assert found.core_peak_c[1] > planned.core_peak_c[0] + 3.0
    assert found.core_peak_at_h[1] < planned.core_peak_at_h[0]


@pytest.mark.parametrize(
    ("members", "told"),
    [
        (Members(rate_factor=np.ones(2), heat_factor=np.ones(3)), "lengths differ"),
        (Members(rate_factor=0.0), "rate_factor"),
        (Members(start_offset_c=np.nan), "start_offset_c"),
    ],
)
def test_members_that_cannot_be_are_refused(river, members, told):
    """By name."""
    with pytest.raises(BadInput, match=told):
        run_ensemble(river, members)


def test_a_room_that_runs_backwards_is_refused(river):
    """Hours must rise."""
    with pytest.raises(BadInput, match="hours must rise"):
        run_ensemble(river, Members(), room=RoomHistory(np.array([0.0, 2.0, 1.0]), np.full(3, 20.0)))


def test_the_end_must_lie_after_the_start(river):
    """A checkpoint at 12 h cannot be carried on to 10 h."""
    half = run_ensemble(river, Members(), EnsembleRun(hours=12.0))
    with pytest.raises(BadInput, match="not after the start"):
        run_ensemble(river, Members(), EnsembleRun(hours=10.0), start=half.end)


def test_reading_between_steps_is_smooth_and_the_peak_is_found():
    """A parabola and a sine, read between uneven hours."""
    hours = np.array([0.0, 0.4, 1.0, 1.7, 2.0, 2.8, 3.3, 4.0])
    at = np.linspace(0.0, 4.0, 50)
    assert smooth(hours, 5 - (hours - 2.2) ** 2, at)[14:-14] == pytest.approx(
        (5 - (at - 2.2) ** 2)[14:-14], abs=1e-9
    )
    assert peak(hours, 5 - (hours - 2.2) ** 2) == pytest.approx((5.0, 2.2))
    assert first_crossing(hours, hours, 1.25) == pytest.approx(1.25)
    assert first_crossing(hours, hours, 9.0) is None
