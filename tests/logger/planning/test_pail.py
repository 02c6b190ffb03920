"""Working time in the pail: closed forms, and scipy as the judge of the march."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from logger.errors import OutOfRange
from logger.plan.file import Rate, Resin
from logger.planning.physics.pail import (
    after,
    pail_surface_m2,
    rate_per_s,
    speed_up,
    time_to_conversion,
    working_time_min,
)

SLOW = Resin(name="invented", heat_of_cure_j_g=330, rate=Rate(k1_per_s=5e-7, k2_per_s=1.4e-5))
FAST = Resin(name="invented", heat_of_cure_j_g=400, rate=Rate(k1_per_s=1e-5, k2_per_s=4e-4, m=1.0, n=2.0))


@pytest.mark.parametrize(
    ("celsius", "factor"), [(15, 0.68), (20, 1.0), (25, 1.46), (30, 2.11), (35, 3.00), (40, 4.23)]
)
def test_warmth_speeds_the_cure_by_arrhenius(celsius: float, factor: float) -> None:
    """55 kJ/mol against 20 °C, by hand."""
    assert speed_up(celsius, 20, 55_000) == pytest.approx(factor, abs=0.006)


@pytest.mark.parametrize(("energy", "factor"), [(50_000, 1.97), (58_600, 2.21), (70_000, 2.58)])
def test_ten_degrees_double_the_rate(energy: float, factor: float) -> None:
    """20 to 30 °C for three activation energies, by hand."""
    assert speed_up(30, 20, energy) == pytest.approx(factor, abs=0.006)


def test_a_lump_as_deep_as_wide_has_six_volumes_to_a_diameter_of_surface() -> None:
    """V / A = d / 6 for a cylinder as deep as it is wide (closed form): 10 L are 234 mm wide, 0.257 m²."""
    diameter = (4 * 0.01 / math.pi) ** (1 / 3)

    assert pail_surface_m2(0.01) == pytest.approx(6 * 0.01 / diameter)
    assert pail_surface_m2(0.01) == pytest.approx(0.257, abs=5e-4)


def test_at_25_degrees_the_rate_is_the_plans_own() -> None:
    """(k1 + k2 α^m)(1 − α)^n with the constants as they stand."""
    assert rate_per_s(FAST.rate, 0.5, 25.0) == pytest.approx((1e-5 + 4e-4 * 0.5) * 0.25)


@pytest.mark.parametrize(("conversion", "seconds"), [(0.1, 3864.770), (0.3, 6855.837), (0.5, 9556.409)])
def test_a_pail_that_sheds_all_heat_cures_by_the_closed_form(conversion: float, seconds: float) -> None:
    """m = 1, n = 2 at 25 °C: t = α/[(1−α)(k1+k2)] + k2/(k1+k2)² ln[(k1+k2 α)/(k1 (1−α))] with 1e-5, 5e-4."""
    resin = FAST.model_copy(update={"rate": Rate(k1_per_s=1e-5, k2_per_s=5e-4, m=1.0, n=2.0)})
    found = time_to_conversion(resin, 1.0, 25.0, conversion=conversion, loss_w_m2k=2e4)

    assert found.minutes * 60 == pytest.approx(seconds, rel=0.003)
    assert found.mix_c == pytest.approx(25.0, abs=0.05)


def test_a_pail_that_sheds_nothing_warms_straight_with_the_cure() -> None:
    """T = T₀ + (H / cp) α, exactly (energy balance): 15 % of 330 J/g over 1.9 J/gK is 26.05 K."""
    found = time_to_conversion(SLOW, 10.0, 21.0, conversion=0.15, loss_w_m2k=0.0)

    assert found.mix_c - 21.0 == pytest.approx(0.15 * 330_000 / 1900, rel=1e-4)


@pytest.mark.parametrize(("mass", "room"), [(0.1, 25.0), (2.0, 21.0), (15.0, 30.0)])
def test_the_march_agrees_with_scipy(mass: float, room: float) -> None:
    """The same two equations by an eighth-order solver: time within 0.1 %."""
    volume = mass / FAST.density_kg_m3
    cooling = 10 * pail_surface_m2(volume) / (mass * FAST.specific_heat_j_kgk)
    rise = 1000 * FAST.heat_of_cure_j_g / FAST.specific_heat_j_kgk

    def slope(_: float, y: list[float]) -> list[float]:
        speed = rate_per_s(FAST.rate, y[0], y[1])
        return [speed, rise * speed - cooling * (y[1] - room)]

    def reached(_: float, y: list[float]) -> float:
        return y[0] - 0.15

    reached.terminal = True  # type: ignore[attr-defined]
    judge = solve_ivp(slope, (0, 1e6), [0.0, room], method="DOP853", rtol=1e-9, atol=1e-9, events=reached)

    assert time_to_conversion(FAST, mass, room).minutes * 60 == pytest.approx(
        float(judge.t_events[0][0]), rel=1e-3
    )


def test_a_stated_working_time_comes_back_at_its_own_mass_and_room() -> None:
    """The datasheet's own case is reproduced; a bigger and warmer pail has less time."""
    stated = {"stated_min": 40.0, "stated_mass_kg": 0.5, "stated_c": 25.0}

    assert working_time_min(FAST, 0.5, 25.0, **stated) == pytest.approx(40.0, rel=1e-3)
    assert working_time_min(FAST, 10.0, 25.0, **stated) < 40.0
    assert working_time_min(FAST, 0.5, 32.0, **stated) < 40.0 < working_time_min(FAST, 0.5, 17.0, **stated)


def test_a_room_in_which_nothing_cures_is_refused() -> None:
    """No working time is invented for a freezing room."""
    with pytest.raises(OutOfRange, match="two weeks") as refusal:
        time_to_conversion(SLOW, 1.0, -30.0)

    assert "warm the room" in refusal.value.remedy


@pytest.mark.parametrize("mass", [0.0, -1.0, math.nan])
def test_an_empty_pail_is_refused(mass: float) -> None:
    """Value, unit and remedy."""
    with pytest.raises(OutOfRange, match="kg"):
        after(FAST, mass, 20.0, 10.0)


@settings(max_examples=40, deadline=None)
@given(mass=st.floats(0.05, 30), room=st.floats(10, 38), more=st.floats(1.2, 4))
def test_more_in_the_pail_never_lasts_longer(mass: float, room: float, more: float) -> None:
    """A larger lump keeps its heat: its working time is shorter, never negative, never endless."""
    small = time_to_conversion(FAST, mass, room).minutes
    large = time_to_conversion(FAST, more * mass, room).minutes

    assert 0 < large <= small * (1 + 2e-3)
    assert math.isfinite(small)
