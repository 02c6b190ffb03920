"""Coefficients computed from surfaces, against worked handbook values."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.model import heat_transfer

#: Incropera & DeWitt's correlations worked for air at 300 K and a room at 23 °C: plate 2.0 × 0.9 m.
TABLE = 2.0 * 0.9 / (2 * (2.0 + 0.9))
SMALL = 0.6 * 0.25 / (2 * (0.6 + 0.25))


@pytest.mark.parametrize(("surface_c", "ra"), [(30, 1.916e7), (40, 4.577e7), (60, 9.644e7)])
def test_rayleigh_number_of_a_table_top(surface_c, ra):
    """β is one over the film's temperature."""
    assert heat_transfer.rayleigh(surface_c, 23.0, TABLE) == pytest.approx(ra, rel=1e-3)


@pytest.mark.parametrize(
    ("surface_c", "size", "h"),
    [
        (30, TABLE, 3.401),
        (40, TABLE, 4.547),
        (60, TABLE, 5.829),
        (30, SMALL, 4.146),
        (40, SMALL, 5.155),
        (60, SMALL, 6.210),
    ],
)
def test_still_air_over_a_warm_top(surface_c, size, h):
    """Hot side up, above and below the change of regime."""
    assert heat_transfer.still_air(surface_c, 23.0, size)[0] == pytest.approx(h, abs=0.002)


@pytest.mark.parametrize(("surface_c", "h"), [(30, 1.514), (40, 1.882), (60, 2.267)])
def test_still_air_under_a_warm_panel(surface_c, h):
    """Hot side down: Nu = 0.27 Ra^¼."""
    assert heat_transfer.still_air(surface_c, 23.0, TABLE)[1] == pytest.approx(h, abs=0.002)


def test_still_air_along_a_vertical_wall():
    """Churchill & Chu's laminar form at Ra = 1e8 and Pr = 0.707: Nu = 0.68 + 0.5086 · 100."""
    height = (
        1e8 * heat_transfer.AIR_VISCOSITY * heat_transfer.AIR_DIFFUSIVITY / (9.80665 * 17 / 304.65)
    ) ** (1 / 3)
    nusselt = heat_transfer.buoyant_vertical(40.0, 23.0, height) * height / heat_transfer.AIR_CONDUCTIVITY
    assert nusselt == pytest.approx(0.68 + 0.5086 * 100, rel=2e-3)


@pytest.mark.parametrize(("speed", "h"), [(0.5, 2.909), (1.0, 4.114), (2.0, 5.818)])
def test_air_driven_over_the_top(speed, h):
    """Laminar flat plate of 0.9 m."""
    assert heat_transfer.forced(speed, 0.9) == pytest.approx(h, abs=0.003)


@pytest.mark.parametrize(("surface_c", "h"), [(40, 5.776), (60, 6.381)])
def test_radiation_to_the_room(surface_c, h):
    """ε = 0.9, walls at 23 °C."""
    assert heat_transfer.radiation(surface_c, 23.0, 0.9) == pytest.approx(h, abs=0.001)


def test_a_cold_top_sheds_like_a_warm_underside():
    """Air lies still on a cold top: the weak correlation, not the strong one."""
    given = {"size_m": TABLE, "run_m": 0.9, "air_m_s": 0.0, "emissivity": 0.0}
    assert heat_transfer.top_w_m2k(13.0, 23.0, **given) < 0.6 * heat_transfer.top_w_m2k(33.0, 23.0, **given)


def test_a_fan_adds_and_never_takes_away():
    """Joined as cubes: at least the larger of still and driven air, at most their sum."""
    given = {"size_m": TABLE, "run_m": 0.9, "emissivity": 0.0}
    still = heat_transfer.top_w_m2k(40.0, 23.0, air_m_s=0.0, **given)
    both = heat_transfer.top_w_m2k(40.0, 23.0, air_m_s=2.0, **given)
    assert max(still, 5.818) < both < still + 5.818


def test_a_form_on_a_bench_sheds_less_below():
    """Gap, board and the bench's own underside in series."""
    given = {"size_m": TABLE, "emissivity": 0.9}
    free = heat_transfer.underside_w_m2k(40.0, 23.0, closed=False, **given)
    assert heat_transfer.underside_w_m2k(40.0, 23.0, closed=True, **given) < 0.5 * free


def test_the_coefficient_does_not_jump_between_regimes():
    """A jump would make the solver's steps stumble: 400 surface temperatures in a row."""
    h = heat_transfer.still_air(np.linspace(23.1, 80.0, 400), 23.0, 0.2)[0]
    assert np.abs(np.diff(h)[40:]).max() < 0.05
