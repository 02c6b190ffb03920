"""Stress from temperature differences: closed forms."""

from __future__ import annotations

import math

import pytest

from logger.errors import OutOfRange
from logger.planning.physics.stress import (
    core_mpa,
    gradient_k,
    held_both_ways_mpa,
    held_one_way_mpa,
    skin_mpa,
)


@pytest.mark.parametrize(
    ("kelvin", "both", "one", "skin", "core"),
    # E α ΔT /(1 − ν), E α ΔT, two thirds and one third; 3 GPa, 60e-6, 0.35
    [
        (10, 2.77, 1.80, 1.85, 0.92),
        (20, 5.54, 3.60, 3.69, 1.85),
        (40, 11.08, 7.20, 7.38, 3.69),
        (60, 16.62, 10.80, 11.08, 5.54),
        (50, 13.85, 9.00, 9.23, 4.62),
    ],
)
def test_a_temperature_difference_pulls(
    kelvin: float, both: float, one: float, skin: float, core: float
) -> None:
    """Timoshenko & Goodier (from memory), by hand."""
    found = [held_both_ways_mpa(kelvin), held_one_way_mpa(kelvin), skin_mpa(kelvin), core_mpa(kelvin)]

    assert found == pytest.approx([both, one, skin, core], abs=0.006)


@pytest.mark.parametrize(
    ("power", "depth", "kelvin"), [(5000, 0.05, 7.8), (20_000, 0.05, 31), (5000, 0.025, 1.95)]
)
def test_the_core_runs_ahead_with_the_square_of_the_depth(power: float, depth: float, kelvin: float) -> None:
    """q h² / 8k with k 0.2, by hand."""
    assert gradient_k(power, depth, 0.2) == pytest.approx(kelvin, rel=0.01)


@pytest.mark.parametrize("kelvin", [math.nan, 1000.0])
def test_a_difference_that_cannot_be_is_refused(kelvin: float) -> None:
    """Beyond 300 K nothing here holds."""
    with pytest.raises(OutOfRange, match="K"):
        held_one_way_mpa(kelvin)
