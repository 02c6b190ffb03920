"""Resins that fit a datasheet equally well: drawn, weighed by how well each fits, and drawn again by weight.

A stated depth bends what is possible: a little faster and the pour runs away, a little slower and nothing happens. A
normal distribution around the best fit would hold resins that no datasheet of that depth comes from. Importance
sampling with a Student proposal, adapted once (population Monte Carlo; Cappé et al. 2004, J. Comput. Graph. Stat.
13:907).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats

#: Draws of the first and of the second round, and the degrees of freedom of their tails.
DRAWS, AGAIN, FREEDOM = 100, 180, 6.0
#: The proposal is so much wider than what it is to cover.
WIDER = 1.3


@dataclass(frozen=True)
class Sample:
    """points (N, P), weights (N,) that sum to 1, and how many independent draws they are worth."""

    points: Floats
    weights: Floats

    @property
    def worth(self) -> float:
        """Kish's effective number of draws."""
        return float(1.0 / np.sum(self.weights**2))

    def mean(self) -> Floats:
        """Return the weighted mean (P,)."""
        return np.asarray(self.weights @ self.points)

    def covariance(self) -> Floats:
        """Return the weighted covariance (P, P)."""
        stray = self.points - self.mean()
        return np.asarray((self.weights[:, None] * stray).T @ stray)

    def equally_likely(self, count: int, order: Floats) -> Floats:
        """Return `count` of the points, each as likely as the others, in rising `order` (N,).

        One is taken from the middle of each of `count` equal parts of the weight: ordered by what they are drawn for,
        so that its quantiles stay.
        """
        ranked = np.argsort(order, kind="stable")
        reached = np.cumsum(self.weights[ranked])
        at = np.searchsorted(reached, (np.arange(count) + 0.5) / count * reached[-1])
        return np.asarray(self.points[ranked[np.minimum(at, len(ranked) - 1)]])


def draw(minus_log_density: Callable[[Floats], Floats], middle: Floats, covariance: Floats) -> Sample:
    """Return draws from a density, known up to a factor by −ln: points (N, P) to (N,); both rounds, together.

    middle (P,), covariance (P, P): where it is expected. The draws are the same every time.
    """
    rng = np.random.default_rng(20)
    first = _Proposal(middle, covariance * WIDER**2)
    points = first.draw(rng, DRAWS)
    cost = minus_log_density(points)
    sample = Sample(points, _weights(-cost - first.log_density(points)))
    centre, spread = sample.mean(), sample.covariance()
    if sample.worth < 3 * len(middle):
        # Hardly any draw is good: between what was expected and the best of them.
        centre, spread = points[np.argmin(cost)], 0.5 * (spread + covariance)
    second = _Proposal(centre, WIDER**2 * (spread + 0.02 * covariance))
    more = second.draw(rng, AGAIN)
    both = np.vstack([points, more])
    costs = np.concatenate([cost, minus_log_density(more)])
    # Each draw is weighed against the mixture of both proposals (Veach's balance heuristic).
    parts = np.array([DRAWS, AGAIN]) / (DRAWS + AGAIN)
    mixture = np.logaddexp(
        np.log(parts[0]) + first.log_density(both), np.log(parts[1]) + second.log_density(both)
    )
    return Sample(both, _weights(-costs - mixture))


def _weights(log_weights: Floats) -> Floats:
    weights = np.exp(log_weights - log_weights.max())
    return np.asarray(weights / weights.sum())


class _Proposal:
    """A multivariate Student distribution."""

    def __init__(self, middle: Floats, covariance: Floats) -> None:
        self._middle = middle
        scale = covariance * (FREEDOM - 2.0) / FREEDOM
        values, vectors = np.linalg.eigh(scale)
        self._root = vectors * np.sqrt(np.maximum(values, 1e-8 * max(values.max(), 1e-12)))

    def draw(self, rng: np.random.Generator, count: int) -> Floats:
        """Return points (count, P), half of them the mirror image of the other half."""
        half = rng.standard_normal((count // 2, len(self._middle)))
        half /= np.sqrt(rng.chisquare(FREEDOM, (count // 2, 1)) / FREEDOM)
        return np.asarray(self._middle + np.vstack([half, -half]) @ self._root.T)

    def log_density(self, points: Floats) -> Floats:
        """Return the logarithm of the density (N,), up to a constant that differs between proposals by the volume."""
        unit = np.linalg.solve(self._root, (points - self._middle).T)
        size = len(self._middle)
        tails = -0.5 * (FREEDOM + size) * np.log1p(np.sum(unit**2, axis=0) / FREEDOM)
        return np.asarray(tails - np.linalg.slogdet(self._root)[1])
