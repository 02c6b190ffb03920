"""Least squares by Levenberg and Marquardt, for a model that is dear to run but runs many members at once.

Levenberg 1944, Quart. Appl. Math. 2:164; Marquardt 1963, J. SIAM 11:431. Each round asks for the residuals at one
point and at a small step along every parameter in a single call: the solver marches them together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats

#: A gain in half the sum of squares that no longer tells two points apart.
_NOTHING = 0.005


@dataclass(frozen=True)
class Solution:
    """theta (P,), residuals (R,), jacobian (R, P), cost (half the sum of squares), rounds run, whether settled."""

    theta: Floats
    residuals: Floats
    jacobian: Floats
    cost: float
    rounds: int
    settled: bool

    def covariance(self) -> Floats:
        """Laplace's estimate (JᵀJ)⁻¹, (P, P). Residuals must be in units of their own uncertainty."""
        return np.asarray(np.linalg.pinv(self.jacobian.T @ self.jacobian))


def least_squares(
    residuals: Callable[[Floats], Floats],
    start: Floats,
    steps: Floats,
    *,
    most_rounds: int = 25,
    longest: Floats | None = None,
) -> Solution:
    """Minimise the sum of squares.

    residuals: maps points (N, P) to residuals (N, R). start, steps (P,): first point, and the step of the
    difference quotient for each parameter. longest (P,): the longest move in one round.
    """
    theta = np.asarray(start, dtype=float)
    longest = np.full(len(theta), np.inf) if longest is None else longest
    here, jacobian = _look(residuals, theta, steps)
    cost = 0.5 * float(here @ here)
    damping, growth = 1e-3, 2.0
    settled = False
    rounds = 1
    while rounds < most_rounds:
        gradient = jacobian.T @ here
        normal = jacobian.T @ jacobian
        move = -np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-9), gradient)
        move *= min(1.0, float(np.min(longest / np.maximum(np.abs(move), 1e-300))))
        there, new_jacobian = _look(residuals, theta + move, steps)
        new_cost = 0.5 * float(there @ there)
        rounds += 1
        if new_cost < cost:
            gain = cost - new_cost
            hoped = -float(gradient @ move) - 0.5 * float(move @ normal @ move)
            # Nielsen 1999 (report IMM-REP-1999-05): trust grows with what the model foretold.
            damping *= max(1.0 / 3.0, 1.0 - (2.0 * gain / max(hoped, 1e-300) - 1.0) ** 3)
            growth = 2.0
            theta, here, jacobian, cost = theta + move, there, new_jacobian, new_cost
            # Residuals are in units of their own uncertainty: a gain of 0.01 tells nothing apart any more.
            if gain < _NOTHING * max(1.0, cost) and np.all(np.abs(move) < 2.0 * steps):
                settled = True
                break
        else:
            if np.all(np.abs(move) < 0.1 * steps) or damping > 1e8:
                settled = True
                break
            damping *= growth
            growth *= 2.0
    return Solution(theta, here, jacobian, cost, rounds, settled)


def _look(residuals: Callable[[Floats], Floats], theta: Floats, steps: Floats) -> tuple[Floats, Floats]:
    points = np.vstack([theta, theta + np.diag(steps)])
    values = residuals(points)
    return values[0], ((values[1:] - values[0]) / steps[:, None]).T
