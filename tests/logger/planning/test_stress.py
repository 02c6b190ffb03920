"""Stress from temperature differences: closed forms."""

from __future__ import annotations

import math

import pytest

from logger.errors import OutOfRange
from logger.planning.physics.stress import (
    held_both_ways_mpa,
    held_one_way_mpa,
    skin_mpa,
)


@pytest.mark.parametrize(
    ("kelvin", "both", "one", "skin"),
    # E α ΔT /(1 − ν), E α ΔT, two thirds; 3 GPa, 60e-6, 0.35
    [
        (10, 2.77, 1.80, 1.85),
        (20, 5.54, 3.60, 3.69),
        (40, 11.08, 7.20, 7.38),
        (60, 16.62, 10.80, 11.08),
        (50, 13.85, 9.00, 9.23),
    ],
)
def test_a_temperature_difference_pulls(kelvin: float, both: float, one: float, skin: float) -> None:
    """Plane stress E α ΔT / (1 − ν), of it ⅔ and ⅓ for a parabola (closed form), by hand."""
    found = [held_both_ways_mpa(kelvin), held_one_way_mpa(kelvin), skin_mpa(kelvin)]

    assert found == pytest.approx([both, one, skin], abs=0.006)


@pytest.mark.parametrize("kelvin", [math.nan, 1000.0])
def test_a_difference_that_cannot_be_is_refused(kelvin: float) -> None:
    """Beyond 300 K nothing here holds."""
    with pytest.raises(OutOfRange, match="-300 °C to 300 °C"):
        held_one_way_mpa(kelvin)
