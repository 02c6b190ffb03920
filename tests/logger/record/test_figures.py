"""The figures of a record, against closed forms and temperatures of our own making."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.model.kinetics import glass_transition_c
from logger.plan.file import Rate, Resin
from logger.record.figures import Place, figures, hour_means


def test_the_cure_at_release_is_that_of_the_closed_form() -> None:
    """First order at one temperature: α = 1 − exp(−kt); k = 1e-5 /s for 20 h at 25 °C (the constants' reference)."""
    resin = Resin(
        name="first order (invented)",
        heat_of_cure_j_g=300,
        rate=Rate(k1_per_s=1e-5, k2_per_s=0.0, e1_j_mol=0.0, n=1.0),
        diffusion={"c": 0.0, "ac0": 5.0},
    )  # type: ignore[arg-type]
    hours = np.arange(0.0, 30.0, 1 / 60)
    core = Place(hours, np.full_like(hours, 25.0))
    found = figures({"core": core}, 60.0, resin=resin, release_h=20.0)
    # The factor of slow-down is 1/(1 + e^0) = 1/2 with c = 0 (Chern–Poehlein), so the rate is halved.
    expected = 1.0 - np.exp(-0.5e-5 * 20 * 3600)
    assert found.conversion_at_release == pytest.approx(expected, rel=2e-3)
    assert found.tg_at_release_c == pytest.approx(
        float(glass_transition_c(found.conversion_at_release, resin.glass)), abs=1e-9
    )


def test_a_warmer_core_has_cured_further_and_a_gap_is_bridged() -> None:
    """The estimate follows the measured temperature, not the plan."""
    resin = Resin(name="r", heat_of_cure_j_g=300, rate=Rate(k1_per_s=5e-7, k2_per_s=1.4e-5))
    hours = np.arange(0.0, 48.0, 1 / 60)
    cool, warm = (
        figures({"core": Place(hours, np.full_like(hours, celsius))}, 60.0, resin=resin, release_h=47.0)
        for celsius in (20.0, 30.0)
    )
    assert cool.conversion_at_release is not None
    assert warm.conversion_at_release is not None
    assert warm.conversion_at_release > cool.conversion_at_release
    holes = np.where((hours > 10) & (hours < 13), np.nan, 30.0)
    gap = figures({"core": Place(hours, holes)}, 60.0, resin=resin, release_h=47.0)
    assert gap.conversion_at_release == pytest.approx(warm.conversion_at_release, abs=1e-6)


def test_nothing_is_estimated_of_a_core_that_was_not_read() -> None:
    """No reading, no claim."""
    resin = Resin(name="r", heat_of_cure_j_g=300, rate=Rate(k1_per_s=5e-7, k2_per_s=1.4e-5))
    silent = Place(np.array([0.0, 1.0]), np.array([np.nan, np.nan]))
    found = figures({"core": silent}, 60.0, resin=resin, release_h=1.0)
    assert found.conversion_at_release is None
    assert found.faults == 2


def test_the_coldest_and_the_dampest_hour_are_means_not_single_readings() -> None:
    """One draught of a minute is not an hour."""
    hours = np.arange(0.0, 6.0, 1 / 60)
    room = np.where((hours >= 3) & (hours < 4), 15.0, 20.0)
    room[10] = 1.0
    damp = np.where((hours >= 2) & (hours < 3), 80.0, 50.0)
    damp[200] = 99.0
    found = figures({"room": Place(hours, room)}, 60.0, humidity=Place(hours, damp))
    assert (found.room_coldest_hour_c, found.room_coldest_hour_at_h) == (15.0, 3.0)
    assert (found.air_dampest_hour_pct, found.air_dampest_hour_at_h) == (80.0, 2.0)
    assert found.room_coldest_c == 1.0
    assert hour_means(np.array([-2.0]), np.array([3.0])) == []


def test_peak_rise_spread_and_time_over_the_limit_of_a_ramp() -> None:
    """A ramp of 10 K an hour from 20 to 80 °C, then 40: every figure is known beforehand."""
    hours = np.arange(0.0, 8.0, 1 / 60)
    core = np.where(hours <= 6, 20 + 10 * hours, 40.0)
    found = figures(
        {"core": Place(hours, core), "surface": Place(hours, core - np.minimum(hours, 3.0))}, 60.0
    )
    assert found.core_peak_c == pytest.approx(80.0)
    assert found.core_peak_at_h == pytest.approx(6.0)
    assert found.steepest_rise_c_per_h == pytest.approx(10.0)
    assert found.hours_over_limit == pytest.approx(2.0, abs=1 / 30)
    assert found.widest_spread_c == pytest.approx(3.0)
