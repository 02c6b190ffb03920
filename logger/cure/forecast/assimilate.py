"""From a prior N(0, I) on θ and evidence about a model's output to members of the posterior.

The most probable θ by damped Gauss–Newton with sensitivities from the ensemble itself (Levenberg–Marquardt;
Nocedal & Wright 2006, Numerical Optimization, ch. 10), a Laplace spread around it (Tierney & Kadane 1986, J. Am.
Stat. Assoc. 81:82), then members drawn from it and re-weighted by their true posterior, tempered so that no few
members carry the whole weight (importance tempering: Neal 2001, Statistics and Computing 11:125). A probe whose
whole record contradicts the rest is down-weighted as under a multivariate Student t (Lange, Little & Taylor 1989,
J. Am. Stat. Assoc. 84:881). On a linear model with Gaussian noise this is the Kalman update (tests).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from logger.arrays import Floats

#: Model: θ (M, p) → what each probe's pieces would be, one (M, n) per probe.
Model = Callable[[Floats], list[Floats]]

#: Degrees of freedom of the Student t over one probe's whole record.
FREEDOM = 8.0
#: Part of the members that must carry weight after re-weighting.
LEAST_PART = 0.35
PROBE_STEPS = np.array([1.0, 0.5, 0.25, 0.1, 0.03])


class Datum(Protocol):
    """A probe's pieces celsius (n,) and the matrix white (n, n) that whitens their residual."""

    @property
    def name(self) -> str: ...
    @property
    def celsius(self) -> Floats: ...
    @property
    def white(self) -> Floats: ...


@dataclass(frozen=True)
class Posterior:
    """best (p,), spread (p, p) its covariance, root with root rootᵀ = spread, trust of each probe (0–1), misfit of each
    probe (χ² per piece), runs: members run so far, cost: minus the log posterior at the best, up to a constant."""

    best: Floats
    spread: Floats
    root: Floats
    trust: dict[str, float]
    misfit: dict[str, float]
    runs: int
    cost: float = 0.0


def fit(
    model: Model, data: Sequence[Datum], start: Floats, *, rounds: int = 8, pilots: Floats | None = None
) -> Posterior:
    """Return the most probable θ and its spread. start (p,); pilots (K, p): other places to start from.

    With no data the prior comes back.
    """
    count = len(start)
    if not data:
        eye = np.eye(count)
        return Posterior(np.zeros(count), eye, eye, {}, {}, 0)
    trust = np.ones(len(data))
    runs = 0
    places = start[None, :] if pilots is None else np.vstack([start[None, :], pilots])
    cost, chi = _costs(places, model(places), data)
    runs += len(places)
    best = places[int(np.argmin(cost))]
    chi_best, cost_best = chi[int(np.argmin(cost))], float(cost.min())
    damping = 1.0
    step = np.full(count, 0.3)
    precision = np.eye(count)
    for _ in range(rounds):
        both = np.concatenate([best[None, :], best + np.diag(step), best - np.diag(step)])
        out = model(both)
        runs += len(both)
        trust = np.array(
            [(FREEDOM + len(d.celsius)) / (FREEDOM + c) for d, c in zip(data, chi_best, strict=True)]
        )
        trust = np.minimum(trust, 1.0)
        precision, gradient = np.eye(count), -best
        for datum, values, weight in zip(data, out, trust, strict=True):
            jacobian = ((values[1 : count + 1] - values[count + 1 :]) / (2.0 * step[:, None])) @ datum.white.T
            residual = datum.white @ (datum.celsius - values[0])
            precision = precision + weight * jacobian @ jacobian.T
            gradient = gradient + weight * jacobian @ residual
        spread = np.linalg.inv(precision)
        full = spread @ gradient
        damped = np.linalg.solve(precision + damping * np.diag(np.diag(precision)), gradient)
        tries = np.vstack([best + PROBE_STEPS[:, None] * full, best + PROBE_STEPS[:, None] * damped])
        tries_cost, tries_chi = _costs(tries, model(tries), data)
        runs += len(tries)
        now = _costs(best[None, :], [v[:1] for v in out], data)[0][0]
        pick = int(np.argmin(tries_cost))
        gain = now - tries_cost[pick]
        if gain > 0:
            best, chi_best, cost_best = tries[pick], tries_chi[pick], float(tries_cost[pick])
        step = np.clip(np.sqrt(np.diag(spread)), 0.02, 0.5)
        if gain < 0.02:
            break
    values, vectors = np.linalg.eigh(precision)
    root = vectors / np.sqrt(values)
    names = [d.name for d in data]
    misfit = {d.name: float(c / len(d.celsius)) for d, c in zip(data, chi_best, strict=True)}
    return Posterior(
        best, root @ root.T, root, dict(zip(names, trust.tolist(), strict=True)), misfit, runs, cost_best
    )


def draw(
    posterior: Posterior, count: int, rng: np.random.Generator, widen: float = 1.0
) -> tuple[Floats, Floats]:
    """Members θ (count, p) around the best, in pairs of opposites, and the log density each was drawn with."""
    normal = draw_normal(rng, count, len(posterior.best))
    return posterior.best + widen * normal @ posterior.root.T, -0.5 * (normal**2).sum(axis=1)


def draw_normal(rng: np.random.Generator, count: int, size: int) -> Floats:
    """Return standard normal members (count, size) in pairs of opposites, so that their mean is nearly 0."""
    half = rng.standard_normal(((count + 1) // 2, size))
    return np.concatenate([half, -half])[:count]


def weigh(theta: Floats, drawn_log: Floats, out: list[Floats], data: Sequence[Datum]) -> tuple[Floats, float]:
    """Weights (M,) that sum to 1, and the tempering power that kept LEAST_PART of the members in play."""
    cost, _ = _costs(theta, out, data)
    log_weight = -cost - drawn_log
    log_weight -= log_weight.max()
    enough = LEAST_PART * len(theta)
    low, high = 0.0, 1.0
    if effective(_normal(log_weight)) >= enough:
        return _normal(log_weight), 1.0
    for _ in range(30):
        middle = 0.5 * (low + high)
        if effective(_normal(middle * log_weight)) >= enough:
            low = middle
        else:
            high = middle
    return _normal(low * log_weight), low


def effective(weights: Floats) -> float:
    """Effective number of members: 1 / Σw² (Kong, Liu & Wong 1994, J. Am. Stat. Assoc. 89:278)."""
    return float(1.0 / np.sum(weights**2))


def _normal(log_weight: Floats) -> Floats:
    weights = np.exp(log_weight - log_weight.max())
    return np.asarray(weights / weights.sum())


def _costs(theta: Floats, out: list[Floats], data: Sequence[Datum]) -> tuple[Floats, Floats]:
    """Minus log posterior (M,) up to a constant, and χ² of each probe (M, probes)."""
    cost = 0.5 * (theta**2).sum(axis=1)
    chi = np.empty((len(theta), len(data)))
    for i, (datum, values) in enumerate(zip(data, out, strict=True)):
        residual = (datum.celsius - values) @ datum.white.T
        chi[:, i] = (residual**2).sum(axis=1)
        many = len(datum.celsius)
        # The t's own cost: quadratic near the centre, logarithmic far out.
        cost = cost + 0.5 * _robust(chi[:, i], many)
    return cost, chi


def _robust(chi: Floats, many: int) -> Floats:
    """χ² up to its expected size n, and (ν + n) log(…) beyond: the score of the weights min(1, (ν + n)/(ν + χ²))."""
    beyond = (FREEDOM + many) * np.log((FREEDOM + np.maximum(chi, many)) / (FREEDOM + many)) + many
    return np.where(chi <= many, chi, beyond)
