"""Colour at depth: Beer–Lambert and Kubelka–Munk, by closed form."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import OutOfRange
from logger.planning.physics import colour


@pytest.mark.parametrize(("passes", "per_mm"), [(0.5, 0.0060), (0.1, 0.0200), (0.02, 0.0340)])
def test_absorbance_for_a_depth_of_fifty(passes: float, per_mm: float) -> None:
    """−log₁₀ T / 50, by hand."""
    assert colour.absorbance(passes) / 50 == pytest.approx(per_mm, abs=6e-5)


def test_the_bottom_is_hidden_at_an_absorbance_of_085() -> None:
    """2 % coming back: A = −log₁₀(0.02)/2 = 0.849 (by hand)."""
    assert colour.hiding_absorbance() == pytest.approx(0.849, abs=6e-4)
    assert colour.dose_for_pct(0.25, 5, 0.2, 40, colour.hiding_absorbance()) == pytest.approx(
        0.0849, abs=6e-5
    )


def test_colour_goes_in_by_halves_and_adds_up() -> None:
    """0.1 % of 10 kg is 10 g: 5, 2.5, 1.25 and the rest."""
    assert colour.additions_g(0.1, 10) == pytest.approx([5, 2.5, 1.25, 1.25])


@pytest.mark.parametrize(
    ("absorbance", "dip", "pour", "kind", "count"),
    [(0.4, 3, 3, "dye", 0), (0.05, 3, 3, "dye", 1), (2.0, 3, 30, "dye", 2), (0.4, 3, 3, "flake", 1)],
)
def test_the_rule_says_where_it_ends(
    absorbance: float, dip: float, pour: float, kind: str, count: int
) -> None:
    """Too faint, too dark, scaled too far, or not a dye: each is said."""
    assert len(colour.dip_doubts(absorbance, dip, pour, kind)) == count


def test_a_clear_dip_gives_no_dose() -> None:
    """Light that all passes shows no colour: refused with the remedy."""
    with pytest.raises(OutOfRange, match="deeper or stronger"):
        colour.dose_for_pct(colour.absorbance(1.0), 5, 0.2, 40, 0.5)


@pytest.mark.parametrize("passes", [0.0, -0.1, 1.2, math.nan])
def test_light_that_cannot_be_is_refused(passes: float) -> None:
    """More than all or less than none."""
    with pytest.raises(OutOfRange, match="0 to 1"):
        colour.absorbance(passes)


@given(passes=st.floats(1e-6, 1))
def test_light_and_absorbance_go_both_ways(passes: float) -> None:
    """There and back."""
    assert colour.transmission(colour.absorbance(passes)) == pytest.approx(passes, rel=1e-9)
