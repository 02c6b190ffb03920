"""From a prior N(0, I) on θ and evidence about a model's output to members of the posterior.

The most probable θ by damped Gauss–Newton with sensitivities from the ensemble itself (Levenberg–Marquardt;
Nocedal & Wright 2006, Numerical Optimization, ch. 10), a Laplace spread around it (Tierney & Kadane 1986, J. Am.
Stat. Assoc. 81:82). Readings of a pour that runs away leave a long, narrow, bent valley: a step along one unknown
leaves it, so sensitivities are taken along the axes of the spread found so far, and the damping, which is the prior's
own, shortens steps along the valley and not those back into it. Then members are drawn and re-weighted by their true
posterior, tempered so that no few members carry the whole weight (importance tempering: Neal 2001, Statistics and
Computing 11:125). A probe whose whole record contradicts the rest is down-weighted as under a multivariate Student t
(Lange, Little & Taylor 1989, J. Am. Stat. Assoc. 84:881). On a linear model with Gaussian noise this is the Kalman
update (tests).
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
#: Dampings that are tried at once, in units of the prior's own precision.
DAMPINGS = np.array([0.0, 0.3, 1.0, 3.0, 10.0, 100.0, 1e3])
#: The longest and the shortest step along an axis for a sensitivity, and the first; in spreads of the prior.
LONGEST, SHORTEST, FIRST = 0.5, 0.01, 0.3
#: The search ends once a round lowers the cost by less.
LEAST_GAIN = 0.02


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
    model: Model,
    data: Sequence[Datum],
    start: Floats,
    *,
    rounds: int = 8,
    pilots: Floats | None = None,
    axes: Floats | None = None,
) -> Posterior:
    """Return the most probable θ and its spread. start (p,); pilots (K, p): other places to start from; axes: the
    spread's axes expected there, rows of (p, p) as steps_along gives them.

    With no data the prior comes back.
    """
    count = len(start)
    if not data:
        eye = np.eye(count)
        return Posterior(np.zeros(count), eye, eye, {}, {}, 0)
    places = start[None, :] if pilots is None else np.vstack([start[None, :], pilots])
    found = _cheapest(places, model(places), data)
    runs = len(places)
    fits = axes is not None
    axes = FIRST * np.eye(count) if axes is None else axes
    precision = values = vectors = np.eye(count)
    for _ in range(rounds):
        around = np.concatenate([found.place[None, :], found.place + axes, found.place - axes])
        out = model(around)
        trust = _trust(found.chi, data)
        precision, gradient, bends = _quadratic(found.place, axes, out, data, trust)
        values, vectors = np.linalg.eigh(precision)
        tries = found.place + _steps(values, vectors, axes, gradient, bends)
        better = _cheapest(tries, model(tries), data)
        runs += len(around) + len(tries)
        gain = found.cost - better.cost
        if gain > 0:
            found = better
        # Where the step gained what a quadratic cost would, it has reached the lowest place.
        expected = 0.5 * float(((vectors.T @ gradient) ** 2 / values).sum())
        if gain < LEAST_GAIN or (fits and abs(gain - expected) < LEAST_GAIN):
            break
        axes, fits = steps_along(vectors / np.sqrt(values)), True
    root = vectors / np.sqrt(values)
    misfit = {d.name: float(c / len(d.celsius)) for d, c in zip(data, found.chi, strict=True)}
    trust = _trust(found.chi, data)
    believed = {d.name: float(weight) for d, weight in zip(data, trust, strict=True)}
    return Posterior(found.place, root @ root.T, root, believed, misfit, runs, found.cost)


def steps_along(root: Floats) -> Floats:
    """Return the steps over which sensitivities are taken, rows of (p, p): along the spread's axes, root's columns."""
    lengths = np.sqrt((root**2).sum(axis=0))
    return np.asarray((root * (np.clip(lengths, SHORTEST, LONGEST) / lengths)).T)


@dataclass(frozen=True)
class _Found:
    """A place θ (p,), minus its log posterior, and χ² of each probe there (probes,)."""

    place: Floats
    cost: float
    chi: Floats


def _cheapest(places: Floats, out: list[Floats], data: Sequence[Datum]) -> _Found:
    """Return the most probable of places (K, p), where the model gives `out`."""
    cost, chi = _costs(places, out, data)
    best = int(np.argmin(cost))
    return _Found(places[best], float(cost[best]), chi[best])


def _trust(chi: Floats, data: Sequence[Datum]) -> Floats:
    """Return how much each probe is believed (probes,), by its χ²."""
    weights = [(FREEDOM + len(d.celsius)) / (FREEDOM + c) for d, c in zip(data, chi, strict=True)]
    return np.asarray(np.minimum(np.array(weights), 1.0))


def _quadratic(
    place: Floats, axes: Floats, out: list[Floats], data: Sequence[Datum], trust: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return the precision (p, p) and the gradient (p,) of the log posterior at a place θ (p,), and by how much the
    bend of the model along each axis changes the gradient one step along it (p, p).

    `out`: what the model gives there, and after and before a step along each of the axes, rows of (p, p).
    """
    count = len(place)
    precision, gradient, bends = np.eye(count), -place, np.zeros((count, count))
    for datum, values, weight in zip(data, out, trust, strict=True):
        after, before = values[1 : count + 1], values[count + 1 :]
        jacobian = np.linalg.solve(axes, 0.5 * (after - before) @ datum.white.T)
        residual = datum.white @ (datum.celsius - values[0])
        precision = precision + weight * jacobian @ jacobian.T
        gradient = gradient + weight * jacobian @ residual
        bends = bends - weight * jacobian @ (0.5 * (after + before) - values[0]).dot(datum.white.T).T
    return precision, gradient, bends


def _steps(values: Floats, vectors: Floats, axes: Floats, gradient: Floats, bends: Floats) -> Floats:
    """Return steps to try (K, p): of each damping the straight one, and one that follows the valley's bend.

    The bend is that of geodesic acceleration (Transtrum & Sethna 2012, arXiv:1201.5885), from the second
    differences along the axes, which are there already. values, vectors: of the precision.
    """

    def solved(pull: Floats) -> Floats:
        return np.asarray((pull @ vectors / (values + DAMPINGS[:, None])) @ vectors.T)

    straight = solved(gradient[None, :])
    along = np.linalg.solve(axes.T, straight.T).T
    return np.concatenate([straight, straight + solved(along**2 @ bends.T)])


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
