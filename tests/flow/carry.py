"""What moves through a grid of cells: carried by a motion, and conducted; a judge for tests."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import splu

#: Of the two-stage diagonally implicit Runge–Kutta method of second order, L-stable (Alexander 1977; from memory).
GAMMA = 1 - np.sqrt(0.5)


def _slopes(d):
    """van Leer's slope of the cells between from the differences (..., n) along the last axis: none at an extreme."""
    low, high = d[..., :-1], d[..., 1:]
    both = low * high
    whole = low + high
    return 2 * np.maximum(both, 0.0) / np.where(whole == 0, 1.0, whole)


def _along(q, speed, h):
    """Rate of change along the last axis: q (..., n), speed (..., n + 1) through the cells' ends, none at the walls."""
    d = q[..., 1:] - q[..., :-1]
    half = np.zeros_like(q)
    half[..., 1:-1] = 0.5 * _slopes(d)
    inner = speed[..., 1:-1]
    flux = np.maximum(inner, 0.0) * (q[..., :-1] + half[..., :-1])
    flux += np.minimum(inner, 0.0) * (q[..., 1:] - half[..., 1:])
    flux /= h
    out = np.zeros_like(q)
    out[..., :-1] -= flux
    out[..., 1:] += flux
    return out


def carried(q, u, w, dx, dz):
    """Rate of change of q (..., nz, nx), per second, by speeds u (nz, nx + 1) and w (nz + 1, nx): conservative, upwind,
    second order by van Leer's limiter. Nothing passes the walls.
    """
    return _along(q, u, dx) + _along(q.swapaxes(-1, -2), w.T, dz).swapaxes(-1, -2)


class Conduction:
    """Conduction through cells of widths (columns,) and heights (rows,), 1 m deep, and out of its faces.

    conductivity, capacity: (rows, columns), W/mK and J/m³K. films: W/m²K of "top", "bottom", "side" (the right one;
    the left face is a mirror). Temperatures are those of the cells, any scale.
    """

    def __init__(self, widths, heights, conductivity, capacity, films):
        rows, columns = len(heights), len(widths)
        number = np.arange(rows * columns).reshape(rows, columns)
        self.heat = (capacity * np.outer(heights, widths)).ravel()
        across = 0.5 * widths / conductivity  # m²K/W of half a cell
        up = 0.5 * heights[:, None] / conductivity
        sideways = heights[:, None] / (across[:, :-1] + across[:, 1:])
        upwards = widths / (up[:-1] + up[1:])
        a = np.concatenate([number[:, :-1].ravel(), number[:-1].ravel()])
        b = np.concatenate([number[:, 1:].ravel(), number[1:].ravel()])
        g = np.concatenate([sideways.ravel(), upwards.ravel()])
        self.loss = np.zeros((rows, columns))

        def film(h, half):
            return 0.0 if h == 0 else 1 / (1 / h + half)

        self.loss[-1] += [film(films["top"], r) * x for r, x in zip(up[-1], widths, strict=True)]
        self.loss[0] += [film(films["bottom"], r) * x for r, x in zip(up[0], widths, strict=True)]
        self.loss[:, -1] += [film(films["side"], r) * z for r, z in zip(across[:, -1], heights, strict=True)]
        self.loss = self.loss.ravel()
        n = rows * columns
        links = coo_array((np.r_[g, g, -g, -g], (np.r_[a, b, a, b], np.r_[b, a, a, b])), shape=(n, n))
        self.matrix = (links - diags_array(self.loss)).tocsc()
        self._factors = {}

    def step(self, t, outside, dt):
        """Temperatures (cells,) after dt s, and the heat, J per metre, that left. outside: air's temperature of each
        cell's face, a number or (cells,)."""
        if dt not in self._factors:
            held = (diags_array(self.heat) - GAMMA * dt * self.matrix).tocsc()
            self._factors[dt] = splu(
                held, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
            )
        solve = self._factors[dt].solve
        given = self.loss * outside
        # Each stage is solved for its temperature: k = (matrix T + given) / heat, T = base + γ dt k.
        first = solve(self.heat * t + GAMMA * dt * given)
        k1 = (self.matrix @ first + given) / self.heat
        base = t + (1 - GAMMA) * dt * k1
        second = solve(self.heat * base + GAMMA * dt * given)
        left = dt * ((1 - GAMMA) * self.loss @ (first - outside) + GAMMA * self.loss @ (second - outside))
        return second, left
