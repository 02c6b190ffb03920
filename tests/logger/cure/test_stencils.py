"""Weights between cell means are exact for what they claim."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.solver.stencils import flow_matrix, slope_weights, value_weights, wall_weights

EDGES = np.array([0.0, 0.7, 1.5, 2.1, 3.2, 4.0, 4.5])


def means(power, ring):
    """Means of x^power over each cell, weighted by x in a ring."""
    lift = 2 if ring else 1
    top = (EDGES[1:] ** (power + lift) - EDGES[:-1] ** (power + lift)) / (power + lift)
    return top / ((EDGES[1:] ** lift - EDGES[:-1] ** lift) / lift)


@pytest.mark.parametrize("ring", [False, True])
@pytest.mark.parametrize("power", [0, 1, 2, 3])
def test_value_and_slope_of_a_cubic_are_exact(power, ring):
    """On uneven cells, and on rings."""
    for at in (2.1, 3.2):
        assert value_weights(EDGES, at, ring=ring) @ means(power, ring) == pytest.approx(at**power)
        slope = power * at ** (power - 1) if power else 0.0
        assert slope_weights(EDGES, at, ring=ring) @ means(power, ring) == pytest.approx(slope, abs=1e-10)


@pytest.mark.parametrize("ring", [False, True])
@pytest.mark.parametrize("power", [0, 2, 4])
def test_an_even_field_is_exact_on_the_centre_line(power, ring):
    """1, x² and x⁴ about x = 0."""
    found = value_weights(EDGES, 0.0, ring=ring, mirrored=True) @ means(power, ring)
    assert found == pytest.approx(0.0**power, abs=1e-10)


def test_a_wall_sees_the_slope_of_a_parabola():
    """T = 2 + 3x + 4x²: slope 3 at the wall, from its temperature and two means."""
    big, g = wall_weights(EDGES[:3])
    field = 2 * means(0, False) + 3 * means(1, False) + 4 * means(2, False)
    assert g @ field[:2] - big * 2.0 == pytest.approx(3.0)


def test_flow_between_two_materials_is_one_flow():
    """Steady conduction through two layers: the same heat everywhere, and what leaves one cell enters the next."""
    k = np.array([0.2, 0.2, 0.2, 0.5, 0.5, 0.5])
    border = EDGES[3]
    middle = 0.5 * (EDGES[1:] + EDGES[:-1])
    field = np.where(middle < border, middle / 0.2, border / 0.2 + (middle - border) / 0.5)
    matrix = flow_matrix(EDGES, k, [0, 3, 6], np.ones(7), ring=False, mirrored=False)
    heat = matrix @ field
    assert heat[1:-1] == pytest.approx(np.zeros(4), abs=1e-12)
    assert heat[0] == pytest.approx(1.0)
    assert matrix.sum(axis=0) == pytest.approx(np.zeros(6), abs=1e-12)
