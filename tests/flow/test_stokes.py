"""The slow flow of tests/flow/stokes.py against exact solutions and symmetry."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from tests.flow.stokes import Stokes

K = np.pi


def exact_rise(growth, rigid, z):
    """Rise −ψ_x at x = 0 of liquid whose viscosity is e^(growth z), under the lift sin(π z) cos(k x), between floor and
    ceiling at 0 and 1. ψ = φ(z) sin(k x) turns Stokes' equation into
    (D² + k²)[μ (D² + k²) φ] − 4 k² D(μ D φ) = −k sin(π z), an ordinary one: scipy's collocation is the judge.
    """

    def change(z, y):
        # y: φ, φ', shear s = μ (φ'' + k² φ), s'.
        mu = np.exp(growth * z)
        bent = y[2] / mu - K**2 * y[0]
        return [
            y[1],
            bent,
            y[3],
            -K * np.sin(np.pi * z) - K**2 * y[2] + 4 * K**2 * mu * (growth * y[1] + bent),
        ]

    def ends(low, high):
        return [low[0], high[0], low[1 if "bottom" in rigid else 2], high[1 if "top" in rigid else 2]]

    grid = np.linspace(0, 1, 200)
    found = solve_bvp(change, ends, grid, np.zeros((4, 200)), tol=1e-8, max_nodes=20_000)
    assert found.success
    return -K * found.sol(z)[0]


@pytest.mark.parametrize(
    "rigid", [(), ("bottom",), ("bottom", "top")], ids=["free", "rigid floor", "both rigid"]
)
@pytest.mark.parametrize("growth", [0.0, 5.0], ids=["even", "150 times thicker above"])
def test_liquid_of_uneven_viscosity_moves_as_its_ordinary_equation_says(growth, rigid):
    """Within 1 % of the quickest, between walls of every kind."""
    n = 40
    flow = Stokes(n, n, 1 / n, 1 / n, rigid)
    at = (np.arange(n) + 0.5) / n
    lift = np.sin(np.pi * at)[:, None] * np.cos(K * at)
    _, w = flow.move(np.exp(growth * at)[:, None] * np.ones(n), lift, tolerance=1e-8)
    exact = exact_rise(growth, rigid, np.arange(n + 1) / n)
    assert w[:, 0] / np.cos(K * at[0]) == pytest.approx(exact, abs=0.01 * abs(exact).max())


def test_liquid_beside_a_solid_moves_as_in_a_box_that_ends_there():
    """And the solid stays. Its wall stands within the last cell of liquid: the work that the weight does lies between
    those of boxes with that cell and without it."""
    n = 16
    at = (np.arange(n) + 0.5) / n
    viscosity = np.ones((n, 2 * n))
    viscosity[:, n:] = 1e8
    lift = np.sin(np.pi * at)[:, None] * np.concatenate([np.cos(K * at), np.ones(n)])

    def work(columns):
        flow = Stokes(columns, n, 1 / n, 1 / n, ("bottom", "right"))
        _, w = flow.move(viscosity[:, :columns], lift[:, :columns], tolerance=1e-10)
        return w, float((lift[:, :columns] * 0.5 * (w[1:] + w[:-1])).sum())

    (w, with_solid), (_, wider), (_, narrower) = work(2 * n), work(n), work(n - 1)
    assert abs(w[:, n:]).max() < 1e-5 * abs(w).max()
    assert narrower <= with_solid * (1 + 1e-6)
    assert with_solid <= wider * (1 + 1e-6)
    assert narrower > 0.8 * wider


def test_each_cell_keeps_its_volume_and_an_older_viscosity_serves_as_well():
    """Speeds found from the factors of another viscosity are those of fresh ones."""
    draw = np.random.default_rng(1)
    first, second = np.exp(draw.normal(0, 1, (2, 12, 15)))
    lift = draw.normal(size=(12, 15))
    used, fresh = Stokes(15, 12, 0.01, 0.02), Stokes(15, 12, 0.01, 0.02)
    used.move(first, lift, tolerance=1e-10)
    u, w = used.move(first * second**0.02, lift, tolerance=1e-8)
    assert used.factored == 1
    assert used.move(second, lift, tolerance=1e-10)[0] == pytest.approx(
        fresh.move(second, lift, tolerance=1e-10)[0], rel=1e-6, abs=1e-12
    )
    u_fresh, w_fresh = Stokes(15, 12, 0.01, 0.02).move(first * second**0.02, lift, tolerance=1e-10)
    scale = abs(u_fresh).max()
    assert u == pytest.approx(u_fresh, abs=1e-6 * scale)
    assert w == pytest.approx(w_fresh, abs=1e-6 * scale)
    grows = np.diff(u, axis=1) / 0.01 + np.diff(w, axis=0) / 0.02
    assert abs(grows).max() < 1e-9 * scale / 0.01
