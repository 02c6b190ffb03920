"""Kinetics against published ratios, and the reaction step against what it must never do."""

from __future__ import annotations

import numpy as np
import pytest
from prefactors import rate_from_prefactors

from logger.cure.model.kinetics import (
    arrhenius_factor,
    chemistry,
    glass_transition_c,
    rate_per_s,
)
from logger.plan.file import Diffusion, Glass, Rate, Resin


@pytest.mark.parametrize(("energy", "ratio"), [(50e3, 1.97), (58.6e3, 2.21), (70e3, 2.58)])
def test_ten_kelvin_speed_it_up_by_the_known_ratio(energy, ratio):
    """20 to 30 °C at three activation energies."""
    assert arrhenius_factor(303.15, energy) / arrhenius_factor(293.15, energy) == pytest.approx(
        ratio, abs=0.006
    )


def test_the_rate_is_largest_where_the_closed_form_says():
    """m = n = 1: (k1 + k2)² / (4 k2) at α = (k2 − k1)/(2 k2)."""
    rate = Rate(k1_per_s=1e-5, k2_per_s=5e-4, m=1.0, n=1.0)
    alpha = np.linspace(0, 1, 2001)
    speed = rate_per_s(alpha, 298.15, rate)
    assert alpha[speed.argmax()] == pytest.approx(0.49, abs=1e-3)
    assert speed.max() == pytest.approx(1.3005e-4, rel=1e-5)


def test_published_prefactors_become_constants_at_25_degrees():
    """ki = Ai exp(−Ei/RT) gives the same rate as the constant referred to 25 °C, at 60 °C."""
    rate = rate_from_prefactors(6e4, 1e5, 65e3, 55e3, 1.0, 2.0)
    exact = (
        6e4 * np.exp(-65e3 / (8.314462618 * 333.15)) + 1e5 * np.exp(-55e3 / (8.314462618 * 333.15)) * 0.3
    ) * 0.49
    assert rate_per_s(0.3, 333.15, rate) == pytest.approx(exact, rel=1e-9)


def test_at_its_critical_conversion_the_slow_down_halves_the_rate():
    """Chern & Poehlein's factor: f = ½ at α = α_c (closed form)."""
    rate = Rate(k1_per_s=1e-5, k2_per_s=5e-4)
    slow = Diffusion(c=43.09, ac0=-1.684, ac_t_per_k=5.475e-3)
    at = -1.684 + 5.475e-3 * 393.15
    assert at == pytest.approx(0.4685, abs=1e-4)
    assert rate_per_s(at, 393.15, rate, slow) == pytest.approx(0.5 * rate_per_s(at, 393.15, rate), rel=1e-12)


@pytest.mark.parametrize(
    ("alpha", "tg"), [(0, -22), (0.25, -4.82), (0.5, 19.71), (0.577, 29.54), (0.75, 57.64), (1, 124)]
)
def test_glass_transition_follows_di_benedetto(alpha, tg):
    """−22/124 °C, λ 0.4: ends published, DiBenedetto's form as public codes have it."""
    glass = Glass.model_validate({"tg0_c": -22.0, "tg_inf_c": 124.0, "lambda": 0.4})
    assert glass_transition_c(alpha, glass) == pytest.approx(tg, abs=0.02)


@pytest.mark.parametrize("n", [0.0, 0.5, 1.0, 1.6, 2.0, 4.0])
def test_even_an_absurd_step_never_cures_more_than_all_of_it(n):
    """A week in one step, at 200 °C: conversion stays within 0 and 1, and is finite."""
    resin = Resin(name="check", heat_of_cure_j_g=400.0, rate=Rate(k1_per_s=1e-4, k2_per_s=1e-2, n=n))
    chem = chemistry(resin)
    end = chem.react(
        np.full((1, 2, 2), 0.2), np.full((1, 2, 2), 473.0), np.zeros((1, 2, 2)), np.full((1, 1, 1), 6e5)
    )
    assert np.all((end >= 0.2) & (end <= 1.0))
