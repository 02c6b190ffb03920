"""Beams, plates, walls and bellies, judged by published tables and scipy."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from logger.errors import OutOfRange
from logger.planning.physics.form import (
    MORE_SPANS,
    SIMPLE_BEAM,
    TWO_SPANS,
    beam_coefficient,
    belly_m3,
    longest_span_m,
    plate_factors,
    pressure_pa,
    strip_sag_m,
    thinnest_m,
    wall_force_n_per_m,
    wall_moment_nm_per_m,
)
from logger.words.render import say

TABLES = tomllib.loads((Path(__file__).parents[2] / "references" / "panels.toml").read_text("utf-8"))
INCH, PSI, POUND_FORCE, FOOT = 0.0254, 6894.757293168, 4.4482216152605, 0.3048  # NIST SP 811


@pytest.mark.parametrize(("ratio", "alpha", "beta"), TABLES["plate"]["rows"])
def test_the_plate_factors_are_those_of_the_table(ratio: float, alpha: float, beta: float) -> None:
    """Roark's Table 11.4 case 1a to the digits it prints, for sag and for stress."""
    assert plate_factors(ratio, 1.0) == pytest.approx((alpha, beta), abs=1e-4)
    assert plate_factors(1.0, ratio) == plate_factors(ratio, 1.0)


@pytest.mark.parametrize("ratio", [1.0, 1.1, 1.2, 1.5, 1.9, 2.0, 2.5, 3.0, 4.0, 5.0])
def test_the_plate_sag_follows_naviers_series(ratio: float) -> None:
    """α from the double sine series (Timoshenko & Woinowsky-Krieger, closed form, ν = 0.3).

    The table's rows lie within 0.5 % of it; between them, where we interpolate, 1.5 % is enough.
    """
    odd = np.arange(1, 60, 2)
    m, n = np.meshgrid(odd, odd)
    signs = (-1.0) ** ((m + n) / 2 - 1)
    series = 16 / math.pi**6 * float(np.sum(signs / (m * n * (m**2 / ratio**2 + n**2) ** 2)))
    alpha = 12 * (1 - 0.3**2) * series

    assert plate_factors(ratio, 1.0)[0] == pytest.approx(alpha, rel=0.015)


@pytest.mark.parametrize(("modulus", "thick_mm", "span_mm", "one", "three"), TABLES["sag"]["rows"])
def test_a_strip_sags_by_its_closed_form(
    modulus: float, thick_mm: float, span_mm: float, one: float, three: float
) -> None:
    """50 mm of resin on fibreboard, particleboard, OSB, plywood and polyethylene, one span and three."""
    load = pressure_pa(1100, 0.05)
    sags = [
        1000 * strip_sag_m(load, span_mm / 1000, thick_mm / 1000, modulus * 1e9, c.value)
        for c in (SIMPLE_BEAM, MORE_SPANS)
    ]

    assert sags[0] == pytest.approx(one, abs=6e-4)
    # 0.0069 by hand, 1/145.25 in formwork practice: 0.2 % apart
    assert sags[1] == pytest.approx(three, abs=0.003 * three + 5e-4)


def test_a_formwork_example_comes_out_as_printed() -> None:
    """Peurifoy & Oberlender: 0.017 in of sag at 10.75 in; 13.1 in for L/360; 14.9 in for a sixteenth."""
    case = TABLES["formwork"]
    load = case["load_lb_per_ft"] * POUND_FORCE / FOOT / FOOT
    modulus = case["modulus_psi"] * PSI
    # I = t³/12 per unit of width gives the thickness of a panel with the example's inertia
    thick = (12 * case["inertia_in4_per_ft"] * INCH**4 / FOOT) ** (1 / 3)
    c = MORE_SPANS.value

    assert strip_sag_m(load, 10.75 * INCH, thick, modulus, c) / INCH == pytest.approx(
        case["sag_at_10_75_in"], abs=5e-4
    )
    assert longest_span_m(load, INCH / 16, thick, modulus, c) / INCH == pytest.approx(
        case["span_sixteenth_in"], abs=0.1
    )
    # L/360: sag and span rise together; the span where the sag is a 360th of it
    third = (modulus * thick**3 / 12 / (360 * c * load)) ** (1 / 3)
    assert third / INCH == pytest.approx(case["span_l_360_in"], abs=0.1)


def test_the_one_span_coefficient_is_what_integrating_the_beam_gives() -> None:
    """Moment q x (L − x)/2, integrated twice on a fine grid (scipy) gives 5/384."""
    x = np.linspace(0, 1, 20_001)
    slope = cumulative_trapezoid(x * (1 - x) / 2, x, initial=0)
    bend = cumulative_trapezoid(slope, x, initial=0)

    assert float(np.max(bend[-1] * x - bend)) == pytest.approx(SIMPLE_BEAM.value, rel=1e-6)


@pytest.mark.parametrize(
    ("supports", "value"), [(2, 5 / 384), (3, 1 / 185), (4, 1 / 145.25), (9, 1 / 145.25)]
)
def test_more_supports_mean_less_sag(supports: int, value: float) -> None:
    """Beam tables of any strength text; formwork practice for three spans and more."""
    assert beam_coefficient(supports).value == pytest.approx(value)
    assert TWO_SPANS.value < MORE_SPANS.value < SIMPLE_BEAM.value


@pytest.mark.parametrize(
    ("thick_mm", "modulus", "span_mm"),
    [(18, 3.0, 568), (18, 9.0, 747), (19, 0.4, 357)],  # (384 E I y / 5 q)^(1/4), by hand
)
def test_the_longest_span_for_half_a_millimetre(thick_mm: float, modulus: float, span_mm: float) -> None:
    """18 mm fibreboard 568 mm, 18 mm plywood 747 mm, 19 mm polyethylene 357 mm under 50 mm of resin."""
    load = pressure_pa(1100, 0.05)
    span = longest_span_m(load, 0.0005, thick_mm / 1000, modulus * 1e9, SIMPLE_BEAM.value)

    assert span * 1000 == pytest.approx(span_mm, abs=1)
    assert thinnest_m(load, 0.0005, span, modulus * 1e9, SIMPLE_BEAM.value) == pytest.approx(thick_mm / 1000)


@pytest.mark.parametrize(
    ("depth_mm", "pressure", "force", "moment"),
    # ρ g h; ρ g h²/2; ρ g h³/6 with ρ 1100 and g 9.80665
    [
        (25, 269.7, 3.37, 0.0281),
        (50, 539.4, 13.5, 0.225),
        (75, 809.0, 30.3, 0.758),
        (100, 1078.7, 53.9, 1.80),
    ],
)
def test_resin_pushes_on_bottom_and_walls(
    depth_mm: float, pressure: float, force: float, moment: float
) -> None:
    """Hydrostatics, by hand."""
    assert pressure_pa(1100, depth_mm / 1000) == pytest.approx(pressure, abs=0.06)
    assert wall_force_n_per_m(1100, depth_mm / 1000) == pytest.approx(force, abs=0.06)
    assert wall_moment_nm_per_m(1100, depth_mm / 1000) == pytest.approx(moment, abs=0.006)


def test_a_belly_of_one_millimetre_wastes_two_thirds_of_it() -> None:
    """A parabola holds two thirds of its box (closed form); two ways about half (first order)."""
    assert belly_m3(0.001, 0.3) == pytest.approx(0.0002)
    assert belly_m3(0.001, 0.3, two_way=True) == pytest.approx(0.00015)


@given(
    load=st.floats(1, 5000),
    span=st.floats(0.05, 2),
    thick=st.floats(0.003, 0.05),
    modulus=st.floats(1e8, 1e11),
    times=st.floats(0.2, 5),
)
def test_sag_goes_with_the_fourth_power_of_the_span(
    load: float, span: float, thick: float, modulus: float, times: float
) -> None:
    """With the third power of thickness the other way."""
    strip = strip_sag_m(load, span, thick, modulus, SIMPLE_BEAM.value)

    assert strip > 0
    assert strip_sag_m(load, times * span, thick, modulus, SIMPLE_BEAM.value) == pytest.approx(
        times**4 * strip
    )
    assert strip_sag_m(load, span, times * thick, modulus, SIMPLE_BEAM.value) == pytest.approx(
        strip / times**3
    )


@pytest.mark.parametrize("span", [0.0, -1.0, math.nan, math.inf])
def test_a_span_that_cannot_be_is_refused(span: float) -> None:
    """Value, range, unit and remedy are named."""
    with pytest.raises(OutOfRange, match="free span") as refusal:
        strip_sag_m(500, span, 0.018, 3e9, SIMPLE_BEAM.value)

    assert refusal.value.allowed
    assert "measure" in say(refusal.value.remedy)


def test_a_panel_on_one_support_is_refused() -> None:
    """It would fall."""
    with pytest.raises(OutOfRange, match="2 to 1000"):
        beam_coefficient(1)
