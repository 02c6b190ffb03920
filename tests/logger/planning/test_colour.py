"""Colour at depth: Beer–Lambert and Kubelka–Munk, by closed form."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from logger.errors import OutOfRange
from logger.planning.physics import colour


@pytest.mark.parametrize(
    ("dip_a", "dip_mm", "dip_pct", "depth_mm", "dose_pct", "absorbance", "passes"),
    # A = ε c d, by hand
    [
        (0.40, 3, 1.0, 50, 0.06, 0.40, 0.398),
        (0.30, 10, 0.5, 50, 0.10, 0.30, 0.501),
        (0.25, 5, 0.2, 40, 0.2, 2.0, 0.010),
    ],
)
def test_a_dip_scales_with_depth_and_dose(
    dip_a: float,
    dip_mm: float,
    dip_pct: float,
    depth_mm: float,
    dose_pct: float,
    absorbance: float,
    passes: float,
) -> None:
    """Three dips at full depth; the last one turns black at the dip's own dose."""
    found = colour.scaled_absorbance(dip_a, dip_mm, dip_pct, depth_mm, dose_pct)

    assert found == pytest.approx(absorbance, abs=1e-9)
    assert colour.transmission(found) == pytest.approx(passes, abs=6e-4)


@pytest.mark.parametrize(
    ("dose", "dip_mm", "depth_mm", "same"), [(0.2, 5, 40, 0.025), (1.0, 3, 50, 0.06), (0.5, 10, 50, 0.1)]
)
def test_the_same_look_takes_less_dye_in_a_deeper_pour(
    dose: float, dip_mm: float, depth_mm: float, same: float
) -> None:
    """c2 = c1 d1 / d2, by hand."""
    assert colour.same_look_dose_pct(dose, dip_mm, depth_mm) == pytest.approx(same)


@pytest.mark.parametrize(("passes", "per_mm"), [(0.5, 0.0060), (0.1, 0.0200), (0.02, 0.0340)])
def test_absorbance_for_a_depth_of_fifty(passes: float, per_mm: float) -> None:
    """−log₁₀ T / 50, by hand."""
    assert colour.absorbance(passes) / 50 == pytest.approx(per_mm, abs=6e-5)


@pytest.mark.parametrize(("absorbance", "returned"), [(0.1, 0.631), (0.5, 0.100), (1.0, 0.010)])
def test_seen_from_above_the_light_passes_twice(absorbance: float, returned: float) -> None:
    """10^(−2A), by hand."""
    assert colour.seen_from_above(absorbance) == pytest.approx(returned, abs=6e-4)


def test_the_bottom_is_hidden_at_an_absorbance_of_085() -> None:
    """2 % coming back: A = −log₁₀(0.02)/2 = 0.849 (by hand)."""
    assert colour.hiding_absorbance() == pytest.approx(0.849, abs=6e-4)
    assert colour.dose_for_pct(0.25, 5, 0.2, 40, colour.hiding_absorbance()) == pytest.approx(
        0.0849, abs=6e-5
    )


@pytest.mark.parametrize(("endless", "power"), [(0.2, 1.12), (0.5, 2.87), (0.8, 6.50), (0.9, 9.14)])
def test_a_light_pigment_needs_far_more_to_hide(endless: float, power: float) -> None:
    """S·X for a contrast ratio of 0.98 (ASTM D2805), Kubelka & Munk; scipy's root finder is the judge."""
    judge = brentq(lambda sx: colour.ColourLayer(endless, sx).contrast_ratio() - 0.98, 0.01, 50)

    assert colour.hiding_power(endless) == pytest.approx(power, abs=6e-3)
    assert colour.hiding_power(endless) == pytest.approx(judge, rel=1e-6)


def test_a_scattering_layer_over_black_and_white() -> None:
    """R∞ 0.8, SX 2: 0.6417 over black, 0.8000 over white, ratio 0.802 (by hand)."""
    layer = colour.ColourLayer(0.8, 2.0)

    assert layer.over(0.0) == pytest.approx(0.6417, abs=6e-5)
    assert layer.over(0.8) == pytest.approx(0.8, abs=6e-5)
    assert layer.contrast_ratio() == pytest.approx(0.802, abs=6e-4)


@pytest.mark.parametrize(("endless", "power", "ground"), [(0.3, 0.5, 0.0), (0.6, 1.5, 0.4), (0.85, 3.0, 0.8)])
def test_the_layer_solves_the_two_flux_equations(endless: float, power: float, ground: float) -> None:
    """dR/dX = 1 − 2aR + R² (Kubelka & Munk 1931), integrated by scipy from the ground up."""
    a = (endless + 1 / endless) / 2
    judge = solve_ivp(lambda _, r: 1 - 2 * a * r + r * r, (0, power), [ground], rtol=1e-10, atol=1e-12)

    assert colour.ColourLayer(endless, power).over(ground) == pytest.approx(float(judge.y[0, -1]), rel=1e-7)


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


@given(endless=st.floats(0.05, 0.95), power=st.floats(0.01, 30))
def test_a_layer_reflects_between_nothing_and_everything(endless: float, power: float) -> None:
    """Over black never more than an endless layer; the contrast ratio never passes one."""
    layer = colour.ColourLayer(endless, power)

    assert 0 <= layer.over(0.0) <= endless + 1e-9
    assert layer.contrast_ratio() <= max(1.0, endless / 0.8) + 1e-9
