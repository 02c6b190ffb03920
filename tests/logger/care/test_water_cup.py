"""A cup of hot water: its heat loss by Newton's law of cooling, with its error, and nothing else taken for one."""

from __future__ import annotations

import math
import random

import pytest
from scipy.integrate import solve_ivp

from logger.probe_checks.cup import CupLook
from logger.probe_checks.water_cup import (
    WATER_KG_M3,
    WaterState,
    cup_surface_m2,
    heat_capacity_j_k,
    water_course,
)

WATER_KG, ROOM_C = 0.18, 21.0


def cooling(
    until_s: float, tau_s: float = 3000.0, over_k: float = 38.0, noise_k: float = 0.05, seed: int = 1
) -> list[CupLook]:
    """What a station reads of m c dT/dt = −UA (T − T_room): the closed form, noise, steps of 1/16 °C."""
    noise = random.Random(seed)
    at = range(0, round(until_s) + 1, 30)
    return [
        CupLook(t, round(16 * (ROOM_C + over_k * math.exp(-t / tau_s) + noise.gauss(0, noise_k))) / 16)
        for t in at
    ]


@pytest.mark.parametrize("seed", range(20))
def test_the_loss_is_that_of_newtons_law_of_cooling(seed: int) -> None:
    """UA = C/τ by the closed form, within 2 % and within the error that is told."""
    tau_s = (1500.0, 3000.0, 6000.0)[seed % 3]
    course = water_course(cooling(tau_s, tau_s, seed=seed), tau_s, WATER_KG, ROOM_C)
    assert course.state is WaterState.KNOWN
    assert course.loss is not None
    true = heat_capacity_j_k(WATER_KG) / tau_s
    assert course.loss.w_k == pytest.approx(true, rel=0.02)
    assert abs(course.loss.w_k / true - 1) <= course.loss.error_pct / 100
    assert course.loss.error_pct < 6
    assert course.loss.w_m2k == pytest.approx(true / cup_surface_m2(WATER_KG, WATER_KG_M3), rel=0.02)


def test_what_water_and_cup_hold_is_their_mass_times_their_heat() -> None:
    """180 g: a cup 61.4 mm wide and deep; 752.4 J/K of water and 25.3 J/K of plastic (by hand)."""
    assert cup_surface_m2(WATER_KG, WATER_KG_M3) == pytest.approx(1.5 * math.pi * 0.06140**2, rel=1e-3)
    assert heat_capacity_j_k(WATER_KG) == pytest.approx(752.4 + 25.3, abs=0.1)


def test_still_air_that_takes_more_from_a_hot_cup_widens_the_error() -> None:
    """Loss ∝ ΔT^1.25 (natural convection), integrated by scipy: the mean lies within the error told."""
    held = heat_capacity_j_k(WATER_KG)
    run = solve_ivp(
        lambda _t, y: -0.06 * y * abs(y) ** 0.25 / held, (0, 9000), [40.0], rtol=1e-9, dense_output=True
    )
    looks = [CupLook(t, ROOM_C + float(run.sol(t)[0])) for t in range(0, 9000, 30)]
    course = water_course(looks, 9000, WATER_KG, ROOM_C)
    assert course.loss is not None
    middle = 0.06 * 25.0**0.25
    assert abs(course.loss.w_k / middle - 1) <= course.loss.error_pct / 100
    steady = water_course(cooling(9000, held / middle), 9000, WATER_KG, ROOM_C).loss
    assert steady is not None
    assert course.loss.error_pct > 1.3 * steady.error_pct


@pytest.mark.parametrize(
    ("looks", "now_s", "state"),
    [
        ([], 10.0, WaterState.WAITING),
        ([], 400.0, WaterState.SILENT),
        (cooling(900), 900.0, WaterState.COOLING),
        (cooling(900), 2000.0, WaterState.SILENT),
        (cooling(3000, over_k=6.0), 3000.0, WaterState.COLD),
        (
            [*cooling(900), *(CupLook(900 + 30 * i, 21.5) for i in range(1, 8))],
            1140.0,
            WaterState.TORN,
        ),
    ],
)
def test_no_loss_is_taken_from_what_is_no_cooling_cup(
    looks: list[CupLook], now_s: float, state: WaterState
) -> None:
    """Too short, silent, cold, or with its probe pulled out."""
    assert water_course(looks, now_s, WATER_KG, ROOM_C).state is state


def test_a_probe_that_lies_once_changes_nothing() -> None:
    """One reading of 85 °C, the chip's own at power-up, moves the loss by less than a hundredth."""
    looks = cooling(3000)
    calm = water_course(looks, 3000, WATER_KG, ROOM_C).loss
    looks[40] = CupLook(looks[40].at_s, 85.0)
    found = water_course(looks, 3000, WATER_KG, ROOM_C)
    assert calm is not None
    assert found.loss is not None
    assert found.state is WaterState.KNOWN
    assert found.loss.w_k == pytest.approx(calm.w_k, rel=0.01)
