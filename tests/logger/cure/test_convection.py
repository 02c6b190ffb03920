"""Liquid that heats itself and is cooled from above: against the linearised equations, and published correlations."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import eig
from scipy.optimize import minimize_scalar

from logger.cure.model import convection
from logger.cure.model.convection import Layer, buoyant_part, stirring
from logger.cure.model.materials import Material
from logger.plan.file import Flow

RESIN = Material(0.2, 1100.0, 1900.0)


def _chebyshev(n):
    """Chebyshev points from 1 down to −1 and the matrix of derivatives there (Trefethen 2000, from memory)."""
    x = np.cos(np.pi * np.arange(n + 1) / n)
    c = np.r_[2.0, np.ones(n - 1), 2.0] * (-1.0) ** np.arange(n + 1)
    gap = x[:, None] - x[None, :] + np.eye(n + 1)
    d = np.outer(c, 1.0 / c) / gap
    return d - np.diag(d.sum(axis=1)), x


def _critical(slope, *, free_top, insulated, n=26):
    """The least Rayleigh number at which a disturbance of a layer with the temperature's slope(z) can last.

    (D² − a²)² w = a² R θ, (D² − a²) θ = slope w; z from a rigid floor at 0 to 1; θ = 0 above; below θ or Dθ = 0.
    """
    d, x = _chebyshev(n)
    d, z, one, size = 2.0 * d, 0.5 * (x + 1.0), np.eye(n + 1), n + 1
    bend = d @ d

    def least(a):
        heat, zero = bend - a * a * one, np.zeros_like(one)
        left = np.block([[heat @ heat, zero], [-np.diag(slope(z)), heat]])
        right = np.block([[zero, a * a * one], [zero, zero]])
        ends = [(0, one[0], 0), (1, (bend if free_top else d)[0], 0), (n, one[-1], 0), (n - 1, d[-1], 0)]
        ends += [(size, one[0], size), (2 * size - 1, (d if insulated else one)[-1], size)]
        for row, values, start in ends:
            left[row], right[row] = 0.0, 0.0
            left[row, start : start + size] = values
        found = eig(left, right, right=False)
        found = found[np.isfinite(found)]
        real = found[(np.abs(found.imag) < 1e-6 * np.abs(found.real)) & (found.real > 1) & (found.real < 1e7)]
        return real.real.min()

    return minimize_scalar(least, bounds=(1.0, 6.0), method="bounded").fun


def test_the_judge_finds_the_published_critical_numbers_of_a_layer_heated_from_below():
    """1707.76 between rigid plates, 1100.65 under a free surface (Chandrasekhar 1961, as public codes quote it)."""

    def heated_below(z):
        return -np.ones_like(z)

    assert _critical(heated_below, free_top=False, insulated=False) == pytest.approx(1707.762, abs=0.01)
    assert _critical(heated_below, free_top=True, insulated=False) == pytest.approx(1100.650, abs=0.01)


def test_a_layer_that_heats_itself_begins_to_move_where_the_model_says():
    """Between rigid plates: Roberts 1967 has 2772 (2 · 1386); Kulacki & Goldstein 1972 37 325 (both from memory)."""

    def shut_below(z):
        return -z

    def cooled_alike(z):
        return 0.5 - z

    rigid = _critical(shut_below, free_top=False, insulated=True)
    assert pytest.approx(rigid, abs=0.1) == convection.CRITICAL_RIGID
    both = _critical(cooled_alike, free_top=False, insulated=False)
    assert pytest.approx(both, rel=1e-4) == convection.CRITICAL_BOTH_COOLED
    free = _critical(shut_below, free_top=True, insulated=True)
    assert pytest.approx(free, abs=0.1) == convection.CRITICAL_FREE


@pytest.mark.parametrize("share", [0.5, 0.7, 0.9])
def test_a_layer_cooled_below_too_begins_to_move_above_the_level_where_no_heat_passes(share):
    critical = _critical(lambda z: (1.0 - share) - z, free_top=True, insulated=True) * share**5
    assert convection.nusselt_free(0.99 * critical, share) == 2.0
    assert convection.nusselt_free(1.05 * critical, share) > 2.0


def test_the_measured_correlations_meet_pure_conduction_where_motion_begins():
    """Two sources of one truth: Kulacki & Emara, Kulacki & Goldstein, and the linearised equations."""
    over_insulated = 0.403 * (0.5 * convection.CRITICAL_RIGID) ** 0.226
    assert over_insulated == pytest.approx(convection.STILL_INSULATED, rel=0.05)
    top = 0.329 * convection.CRITICAL_BOTH_COOLED**0.236
    bottom = 1.428 * convection.CRITICAL_BOTH_COOLED**0.094
    assert (top, bottom) == pytest.approx((convection.STILL_COOLED, convection.STILL_COOLED), rel=0.05)
    assert convection.nusselt_insulated(100.0) == 2.0
    assert [float(nu) for nu in convection.nusselt_both_cooled(1e4)] == [4.0, 4.0]


def test_between_rigid_plates_the_part_above_is_like_a_layer_over_an_insulated_bottom():
    """The cut of the layer, against Kulacki & Goldstein's top face: within a fifth from 1e5 to 1e8."""
    for r in (1e5, 1e6, 1e7, 1e8):
        top, bottom = convection.nusselt_both_cooled(r)
        share = top / (top + bottom)
        assert convection.nusselt_insulated(r * share**5) / share == pytest.approx(top, rel=0.2)


@pytest.mark.parametrize(
    ("rayleigh", "nusselt"),
    [(2.5e3, 2.45), (5e3, 3.61), (1e4, 4.90), (3e4, 6.37), (1e5, 7.89), (3e5, 9.17), (3e6, 17.2)],
)
def test_steady_layers_under_a_free_surface_are_as_the_flow_simulation_has_them(rayleigh, nusselt):
    """Steady layers of the flow solver in tests/flow (fitted to these, two numbers to seven)."""
    assert convection.nusselt_free(rayleigh) == pytest.approx(nusselt, rel=0.12)


def _layer(up, down, viscosity, depth=0.05):
    return Layer(*(np.array([v]) for v in (depth, up, down, viscosity, 5e-4)))


def test_a_layer_at_rest_only_conducts():
    for layer, factor in ((_layer(200.0, 80.0, 0.5), 0.0), (_layer(200.0, 80.0, np.inf), 1.0)):
        at_rest = stirring(layer, RESIN, factor)
        assert at_rest.core == pytest.approx(1.0)
        assert at_rest.top_m + at_rest.bottom_m == pytest.approx(0.05)


def test_the_stirred_layer_lets_through_what_its_nusselt_number_says():
    """Conduction through sheet and core of a layer over an insulated bottom gives back ΔT = F L / (k Nu)."""
    up, depth = 150.0, 0.05
    stirred = stirring(_layer(up, 0.0, 0.5, depth), RESIN)
    r = convection.internal_rayleigh(up / depth, depth, 0.5, 5e-4, RESIN)
    z = np.linspace(0.0, depth, 20_001)
    middle = 0.5 * (z[1:] + z[:-1])
    k = np.where(middle > depth - stirred.top_m, 0.2, 0.2 * stirred.core)
    fall = (up * middle / depth / k * np.diff(z)).sum()
    nusselt = up * depth / (0.2 * fall)
    assert stirred.bottom_m == pytest.approx(0.0, abs=1e-9)
    # The core takes a little of the fall for itself.
    assert nusselt == pytest.approx(float(convection.nusselt_free(r)), rel=0.05)


def test_thicker_resin_is_stirred_less():
    core = [float(stirring(_layer(150.0, 60.0, v), RESIN).core[0]) for v in (0.3, 1.0, 4.0, 40.0, 1000.0)]
    assert core == sorted(core, reverse=True)
    assert core[0] > 20.0
    assert core[-1] == pytest.approx(1.0)


def test_the_density_that_curing_adds_takes_from_the_pull():
    """4 % by full cure against 5e-4 1/K: one kelvin warmer pays for 1/80 of conversion (closed form)."""
    flow = Flow(viscosity_pa_s=0.5)
    assert buoyant_part(1.0, 1.0 / 160.0, flow) == pytest.approx(0.5)
    assert buoyant_part(1.0, 0.5, flow) == 0.0
    assert buoyant_part(5.0, 0.0, flow) == 1.0
