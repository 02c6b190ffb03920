"""Sunlight as heat: ASTM G173 and closed forms."""

from __future__ import annotations

import math
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import OutOfRange
from logger.planning.physics import sun


def spectrum() -> dict[str, np.ndarray]:
    """ASTM G173-03's own table (data file of pvlib 0.16.1): wavelength, nm; global and direct, W/(m²·nm)."""
    found = find_spec("pvlib")
    assert found is not None, "pvlib belongs to the extra `test`"
    path = Path(str(found.origin)).parent / "data" / "ASTMG173.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    table = np.array([[float(value) for value in line.split(",")] for line in lines[2:]])
    return {"nm": table[:, 0], "global": table[:, 2], "direct": table[:, 3]}


@pytest.mark.parametrize(
    ("which", "from_nm", "to_nm", "w_m2"),
    # ASTM G173-03: 1000.4 and 900.1 W/m² are the standard's totals, as public codes quote them; the bands were
    # integrated apart.
    [
        ("global", 280, 4000, 1000.37),
        ("direct", 280, 4000, 900.14),
        ("global", 400, 700, 429.8),
        ("global", 700, 4000, 524.4),
        ("global", 1100, 4000, 195.8),
        ("global", 1400, 4000, 109.3),
    ],
)
def test_the_reference_spectrum_integrates_to_its_totals(
    which: str, from_nm: float, to_nm: float, w_m2: float
) -> None:
    """Trapezoids over the standard's table: what sun means here, and how much of it is heat rather than light."""
    table = spectrum()
    inside = (table["nm"] >= from_nm) & (table["nm"] <= to_nm)
    integral = float(np.trapezoid(table[which][inside], table["nm"][inside]))

    assert integral == pytest.approx(w_m2, abs=0.06)


def test_a_clear_day_is_the_integral_of_the_reference_spectrum() -> None:
    """The constant that answers print is the table's integral."""
    table = spectrum()
    whole = float(np.trapezoid(table["global"], table["nm"]))

    assert sun.G173_GLOBAL.value == pytest.approx(whole, abs=0.05)


@pytest.mark.parametrize(
    ("absorptance", "at_25", "at_50"),
    # a G / ρ cp d with G 1000, ρ cp 1.65e6: by hand
    [(0.95, 82.9, 41.5), (0.90, 78.5, 39.3), (0.50, 43.6, 21.8), (0.15, 13.1, 6.5)],
)
def test_sun_warms_a_pour_like_a_second_cure(absorptance: float, at_25: float, at_50: float) -> None:
    """Kelvin an hour at 25 and 50 mm, for black to white."""
    flux = sun.absorbed_w_m2(1000, absorptance)
    rates = [sun.warming_k_h(flux, depth, 1100, 1500) for depth in (0.025, 0.05)]

    assert rates == pytest.approx([at_25, at_50], abs=0.06)


def test_a_window_takes_a_fifth() -> None:
    """Glass passes about 0.8 (from memory)."""
    assert sun.absorbed_w_m2(1000, 1.0, through_glass=True) == pytest.approx(800)


@pytest.mark.parametrize("depth", [0.0, -0.01, math.nan])
def test_no_depth_is_refused(depth: float) -> None:
    """Value, unit and remedy."""
    with pytest.raises(OutOfRange, match="m") as refusal:
        sun.warming_k_h(500, depth, 1100, 1500)

    assert refusal.value.remedy


@given(irradiance=st.floats(0, 1500), absorptance=st.floats(0, 1), depth=st.floats(0.001, 0.5))
def test_sun_never_cools(irradiance: float, absorptance: float, depth: float) -> None:
    """Never below zero, never more than falls on it, and half as fast at twice the depth."""
    flux = sun.absorbed_w_m2(irradiance, absorptance)

    assert 0 <= flux <= irradiance
    assert sun.warming_k_h(flux, 2 * depth, 1100, 1500) == pytest.approx(
        sun.warming_k_h(flux, depth, 1100, 1500) / 2
    )
