"""A pass of the heat gun: closed forms of a half-space under a steady flux."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from logger.cure.model.materials import Material
from logger.errors import OutOfRange
from logger.planning.finding import Light
from logger.planning.physics import heat_tools

RESIN = Material(0.2, 1100.0, 1500.0)


@pytest.mark.parametrize(("h", "jet", "kilowatts"), [(30, 250, 6.8), (50, 300, 13.8), (100, 400, 37.5)])
def test_a_jet_brings_kilowatts_to_a_square_metre(h: float, jet: float, kilowatts: float) -> None:
    """h (T_jet − 25 °C), by hand."""
    assert heat_tools.jet_flux_w_m2(jet, 25, h) == pytest.approx(1000 * kilowatts, rel=0.01)


@pytest.mark.parametrize(
    ("flux", "seconds", "rise"),
    [(5000, 1, 9.8), (5000, 5, 22), (5000, 10, 31), (20_000, 5, 88), (20_000, 10, 124)],
)
def test_the_skin_warms_with_the_root_of_time(flux: float, seconds: float, rise: float) -> None:
    """2 q √(t / π k ρ cp) (closed form of the half space), by hand."""
    assert heat_tools.skin_rise_k(flux, seconds, RESIN) == pytest.approx(rise, rel=0.02)
    assert heat_tools.longest_pass_s(rise, flux, RESIN) == pytest.approx(seconds, rel=0.04)


def test_the_closed_form_is_what_a_mesh_gives() -> None:
    """200 cells of 0.1 mm under 5 kW/m², 10 s, marched by scipy: within 1 %."""
    k, rho, cp = RESIN.conductivity, RESIN.density, RESIN.specific_heat
    dx, n = 1e-4, 200

    def flow(_: float, t: list[float]) -> list[float]:
        inner = [k * (t[i + 1] - t[i]) / dx for i in range(n - 1)]
        into = [5000.0, *(-q for q in inner)]
        out = [*(-q for q in inner), 0.0]
        return [(a - b) / (rho * cp * dx) for a, b in zip(into, out, strict=True)]

    march = solve_ivp(flow, (0, 10), [0.0] * n, method="BDF", rtol=1e-6, atol=1e-6)
    # half a cell of conduction leads from the first centre to the face
    face = float(march.y[0, -1]) + 5000 * dx / (2 * k)

    assert heat_tools.skin_rise_k(5000, 10, RESIN) == pytest.approx(face, rel=0.01)


def test_a_short_pass_never_reaches_the_core() -> None:
    """Ten seconds reach 2.2 mm; 30 s of 5 kW/m² warm 50 mm by 1.8 K (by hand)."""
    assert heat_tools.warmed_depth_m(10, RESIN) * 1000 == pytest.approx(2.2, abs=0.05)
    one = heat_tools.one_pass(125, 25, 30, 0.05, RESIN, transfer_w_m2k=50)
    assert one.flux_w_m2 == 5000
    assert one.whole_rise_k == pytest.approx(1.8, abs=0.03)


@pytest.mark.parametrize(("seconds", "light"), [(0.2, Light.OK), (1.5, Light.WATCH), (20, Light.STOP)])
def test_a_light_pass_is_told_from_a_long_one(seconds: float, light: Light) -> None:
    """15 K of skin is a light pass, 40 K scorches (common practice, no source)."""
    assert heat_tools.one_pass(300, 25, seconds, 0.04, RESIN).light is light


def test_the_skin_never_grows_hotter_than_the_jet() -> None:
    """An hour under a 300 °C jet is 275 K at most."""
    assert heat_tools.one_pass(300, 25, 3600, 0.04, RESIN).skin_rise_k == pytest.approx(275)


@pytest.mark.parametrize("seconds", [-1.0, math.nan, math.inf])
def test_a_time_that_cannot_be_is_refused(seconds: float) -> None:
    """Value, unit and remedy."""
    with pytest.raises(OutOfRange, match="seconds"):
        heat_tools.skin_rise_k(5000, seconds, RESIN)


@given(flux=st.floats(1, 1e5), seconds=st.floats(0.01, 600), times=st.floats(1, 10))
def test_four_times_as_long_is_twice_as_warm(flux: float, seconds: float, times: float) -> None:
    """Warming goes with the root of time and straight with the flux."""
    rise = heat_tools.skin_rise_k(flux, seconds, RESIN)

    assert rise >= 0
    assert heat_tools.skin_rise_k(flux, times**2 * seconds, RESIN) == pytest.approx(times * rise)
    assert heat_tools.skin_rise_k(times * flux, seconds, RESIN) == pytest.approx(times * rise)
