"""Weights that turn the means of cells into values and slopes between them, to fourth order inside a material.

Cells hold means. A polynomial is fitted so that its own means over the nearest cells are those; its slope at a face
is the heat flow there. At a face between two materials, or at an outer face, a parabola on each side meets the
face's temperature, which follows from both sides agreeing on the heat flow. (Reconstruction from cell means:
Barth & Frederickson 1990, AIAA 90-0013.)
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from logger.arrays import Floats


def _means(edges: Floats, powers: Floats, ring: bool) -> Floats:
    """Means over each cell of x**power, shape (cells, powers); weighted by x for rings around x = 0."""
    lift = 2.0 if ring else 1.0
    top = edges[1:, None] ** (powers + lift) - edges[:-1, None] ** (powers + lift)
    base = (edges[1:, None] ** lift - edges[:-1, None] ** lift) / lift
    return np.asarray(top / (powers + lift) / base)


def _fit(edges: Floats, at: float, order: int, *, ring: bool, even: bool, wall: bool) -> Floats:
    """Weights for the value (order 0) or slope (order 1) at `at` from the cells' means; a wall's value first."""
    return _fitted(tuple(edges.tolist()), at, order, ring, even, wall)


@lru_cache(maxsize=8192)
def _fitted(places: tuple[float, ...], at: float, order: int, ring: bool, even: bool, wall: bool) -> Floats:
    # The same few cells come back in every line of a section, and in every run of the same plan.
    edges = np.array(places)
    unit = float(abs(edges[-1] - edges[0])) / (len(edges) - 1)
    # Centred and scaled, so that the fit is well conditioned; a ring's weight needs the true centre.
    origin = 0.0 if ring or even else at
    x, here = (edges - origin) / unit, (at - origin) / unit
    count = len(edges) - 1 + int(wall)
    powers = np.arange(count, dtype=float) * (2.0 if even else 1.0)
    rows = _means(x, powers, ring)
    if wall:
        rows = np.vstack([here**powers, rows])
    if order == 0:
        target = here**powers
    else:
        target = np.where(powers > 0, powers * here ** np.maximum(powers - 1.0, 0.0), 0.0) / unit
    return np.asarray(np.linalg.solve(rows.T, target))


def value_weights(edges: Floats, at: float, *, ring: bool = False, mirrored: bool = False) -> Floats:
    """Weights (cells,) for the value at a place; mirrored: the field is even about x = 0, where the edges begin."""
    return _weights(edges, at, 0, ring=ring, mirrored=mirrored)


def slope_weights(edges: Floats, at: float, *, ring: bool = False, mirrored: bool = False) -> Floats:
    """Weights (cells,) for the slope at a face."""
    return _weights(edges, at, 1, ring=ring, mirrored=mirrored)


def _weights(edges: Floats, at: float, order: int, *, ring: bool, mirrored: bool) -> Floats:
    cells = len(edges) - 1
    out = np.zeros(cells)
    if mirrored and (cells < 3 or at <= edges[2]):
        count = min(3, cells)
        out[:count] = _fit(edges[: count + 1], at, order, ring=ring, even=True, wall=False)
        return out
    count = min(4, cells)
    nearest = int(np.argmin(np.abs(edges - at)))
    first = int(np.clip(nearest - count // 2, 0, cells - count))
    out[first : first + count] = _fit(
        edges[first : first + count + 1], at, order, ring=ring, even=False, wall=False
    )
    return out


def wall_weights(edges: Floats, *, ring: bool = False) -> tuple[float, Floats]:
    """Slope at edges[0] towards the cells: (G, g) with slope = g · means − G · face; edges from the wall inwards.

    g sums to G. With two cells or more a parabola (g has two entries), with one the straight half-cell.
    """
    if len(edges) < 3:
        g = 2.0 / abs(float(edges[1] - edges[0]))
        return g, np.array([g])
    weights = _fit(edges[:3], float(edges[0]), 1, ring=ring, even=False, wall=True)
    sign = 1.0 if edges[1] > edges[0] else -1.0
    return -sign * float(weights[0]), sign * weights[1:]


def flow_matrix(
    edges: Floats, conductivity: Floats, breaks: list[int], face_size: Floats, *, ring: bool, mirrored: bool
) -> Floats:
    """Heat (W) into each cell of a line by the flow between its cells: matrix (n, n) on the means; outer faces shut.

    conductivity (n,) W/(m·K), one value between two breaks; breaks: cell numbers at which a new material (or pour)
    begins, 0 and n included; face_size (n + 1,) m².
    """
    n = len(conductivity)
    matrix = np.zeros((n, n))
    region = np.searchsorted(breaks, np.arange(n), side="right") - 1
    for face in range(1, n):
        left, right = breaks[region[face - 1]], breaks[region[face - 1] + 1]
        flow = np.zeros(n)  # heat per area to the right of the face
        if region[face - 1] == region[face]:
            slope = slope_weights(
                edges[left : right + 1], float(edges[face]), ring=ring, mirrored=mirrored and left == 0
            )
            flow[left:right] = -conductivity[face] * slope
        else:
            end = breaks[region[face] + 1]
            big_a, a = wall_weights(edges[left : face + 1][::-1], ring=ring)
            big_b, b = wall_weights(edges[face : end + 1], ring=ring)
            ka, kb = conductivity[face - 1], conductivity[face]
            from_a, from_b = np.zeros(n), np.zeros(n)
            from_a[face - len(a) : face] = ka * a[::-1]
            from_b[face : face + len(b)] = kb * b
            touch = (from_a + from_b) / (ka * big_a + kb * big_b)
            flow = from_a - ka * big_a * touch
        matrix[face - 1] -= flow * face_size[face]
        matrix[face] += flow * face_size[face]
    return matrix
