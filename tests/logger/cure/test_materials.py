"""Materials against handbook values."""

from __future__ import annotations

import pytest

from logger.cure.model.materials import Material, contact_c, wood_conductivity_w_mk, wood_specific_heat_j_kgk
from logger.errors import OutOfRange

EPOXY = Material(0.2, 1150.0, 1900.0)


@pytest.mark.parametrize(
    ("material", "effusivity", "meets_c"),
    [(Material(0.15, 600.0, 1600.0), 379.47, 32.706), (Material(0.45, 950.0, 1900.0), 901.25, 28.463)],
)
def test_40_degree_epoxy_meets_a_20_degree_body(material, effusivity, meets_c):
    """Contact temperature weighted by effusivity (Carslaw & Jaeger, from memory): wood and polyethylene."""
    assert material.effusivity == pytest.approx(effusivity, abs=0.01)
    assert contact_c(EPOXY, 40.0, material, 20.0) == pytest.approx(meets_c, abs=0.001)


def test_diffusivity_of_epoxy():
    """k/(ρ cp) = 9.15e-8 m²/s."""
    assert EPOXY.diffusivity == pytest.approx(9.15e-8, rel=1e-3)


@pytest.mark.parametrize(
    ("gravity", "moisture", "k"),
    [(0.4, 12, 0.1158), (0.5, 8, 0.1319), (0.65, 8, 0.1659), (0.65, 12, 0.1765), (0.7, 12, 0.1886)],
)
def test_conductivity_of_wood(gravity, moisture, k):
    """USDA Wood Handbook, FPL-GTR-190 (2010), equation 4-15."""
    assert wood_conductivity_w_mk(gravity, moisture) == pytest.approx(k, abs=1e-4)


@pytest.mark.parametrize(
    ("moisture", "kelvin", "cp"),
    [(0, 300, 1263.2), (8, 296.15, 1520.8), (12, 300, 1663.2), (12, 340, 1914.6)],
)
def test_specific_heat_of_wood(moisture, kelvin, cp):
    """USDA Wood Handbook, equations 4-16; 12 % at 340 K is a published worked example (1.91 kJ/(kg·K))."""
    assert wood_specific_heat_j_kgk(moisture, kelvin - 273.15) == pytest.approx(cp, abs=0.2)


def test_wood_outside_the_formula_is_refused():
    """Named, with the range and what to do."""
    with pytest.raises(OutOfRange, match="0 to 25 %"):
        wood_conductivity_w_mk(0.5, 40.0)
    with pytest.raises(OutOfRange, match=r"0\.3"):
        wood_conductivity_w_mk(0.1, 8.0)
    with pytest.raises(OutOfRange, match="7 to 147"):
        wood_specific_heat_j_kgk(8.0, 300.0)
