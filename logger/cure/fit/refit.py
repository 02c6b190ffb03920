"""The shop's own pours as the judge: fit rate and heat again from what the probes read, and say how much better.

Better is only what helps on a pour that the fit has not seen: each pour is left out once, the others are fitted,
and the pour left out is predicted with the resin as it was and as it became.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats
from logger.cure.fit.least_squares import Solution, least_squares
from logger.cure.solver.ensemble import EnsembleRun, Members, RoomHistory, run_ensemble
from logger.cure.solver.march import COARSE
from logger.errors import BadInput
from logger.facts import Fact, Quantity, fact
from logger.plan.file import Plan, Resin
from logger.quantities import difference, quantity

#: How far the shop's batch may be from the resin as planned, as a natural logarithm: rate, heat of cure.
#: Project values, no source.
RATE_SD, HEAT_SD = 0.5, 0.12
#: What a probe and its place leave open: K, and a part of the rise. Probe ±0.5 K and some millimetres of place.
PROBE_K, RISE_PART = 1.0, 0.05
#: Readings of one pour follow each other: however many, they count as this many independent ones.
INDEPENDENT = 8
#: Readings used of each pour, evenly over its time and dense around its peak.
_USED = 40
_STEPS = np.array([0.03, 0.03])
_NINETY = 1.645


@dataclass(frozen=True)
class RecordedPour:
    """A pour as planned and as read: hours (N,) rising from the pour on, core_c (N,) with NaN where a reading
    failed, and the room as measured where it was."""

    plan: Plan
    hours: Floats
    core_c: Floats
    room: RoomHistory | None = None


@dataclass(frozen=True)
class LeftOut:
    """One pour predicted without having been fitted: root-mean-square and peak error, K, before and after."""

    title: str
    rms_before_k: float
    rms_after_k: float
    peak_before_k: float
    peak_after_k: float


@dataclass(frozen=True)
class Refit:
    """rate_factor and heat_factor on the resin as planned, with 90 % ranges; the resin they give; and the proof.

    left_out is empty for a single pour: then nothing shows whether it got better.
    """

    rate_factor: float
    heat_factor: float
    rate_range: tuple[float, float]
    heat_range: tuple[float, float]
    resin: Resin
    left_out: tuple[LeftOut, ...]
    rounds: int

    @property
    def better_k(self) -> tuple[float, float] | None:
        """Root-mean-square error over the pours left out, before and after, K."""
        if not self.left_out:
            return None
        before, after = (
            np.sqrt(np.mean(np.square([getattr(one, name) for one in self.left_out])))
            for name in ("rms_before_k", "rms_after_k")
        )
        return float(before), float(after)

    def message(self) -> Fact:
        """Return what the refit did, as sentences for the maker."""
        return fact(
            "refit",
            rate=_times(self.rate_factor),
            rate_low=_times(self.rate_range[0]),
            rate_high=_times(self.rate_range[1]),
            heat=_times(self.heat_factor),
            heat_low=_times(self.heat_range[0]),
            heat_high=_times(self.heat_range[1]),
            proof=self._proof(),
        )

    def _proof(self) -> Fact:
        better = self.better_k
        if better is None:
            return fact("refit-one-pour")
        before, after = better
        code = "refit-better" if after < before else "refit-no-better"
        return fact(code, before=difference(before), after=difference(after))


def _times(factor: float) -> Quantity:
    return quantity(factor, "", 2)


def fit_from_pours(pours: Sequence[RecordedPour]) -> Refit:
    """Fit rate and heat of one resin to the recorded pours.

    Raises BadInput when there is no pour, when the pours are of different resins, or a trace is too short.
    """
    if not pours:
        raise BadInput("pours", fact("no-pours-given"), remedy=fact("record-a-pour"))
    if len({pour.plan.resin.model_dump_json() for pour in pours}) > 1:
        raise BadInput(
            "pours",
            fact("pours-of-different-resins"),
            value=sorted({pour.plan.resin.name for pour in pours}),
            remedy=fact("fit-one-resin"),
        )
    used = [_used(pour) for pour in pours]
    solution = _solve(used)
    without: list[Floats] = []
    if len(used) > 1:
        without = [_solve([o for j, o in enumerate(used) if j != i]).theta for i in range(len(used))]
    left_out = [_judge(one, theta) for one, theta in zip(used, without, strict=False)]
    resin = pours[0].plan.resin
    rate_factor, heat_factor = (float(v) for v in np.exp(solution.theta))
    rate = resin.rate.model_copy(
        update={"k1_per_s": resin.rate.k1_per_s * rate_factor, "k2_per_s": resin.rate.k2_per_s * rate_factor}
    )
    heat = resin.heat_of_cure_j_g * heat_factor
    spread = np.exp(_NINETY * np.sqrt(np.maximum(np.diag(_covariance(solution)), _jackknife(without))))
    return Refit(
        rate_factor,
        heat_factor,
        (rate_factor / float(spread[0]), rate_factor * float(spread[0])),
        (heat_factor / float(spread[1]), heat_factor * float(spread[1])),
        # What the datasheet left possible is told by the pours now.
        resin.model_copy(update={"rate": rate, "heat_of_cure_j_g": heat, "possible": None}),
        tuple(left_out),
        solution.rounds,
    )


def _used(pour: RecordedPour) -> RecordedPour:
    hours, core_c = np.asarray(pour.hours, dtype=float), np.asarray(pour.core_c, dtype=float)
    if hours.shape != core_c.shape or hours.ndim != 1:
        raise BadInput(pour.plan.title, fact("hours-and-core-differ"), value=(hours.shape, core_c.shape))
    good = np.isfinite(core_c) & (hours > 0)
    hours, core_c = hours[good], core_c[good]
    if len(hours) < INDEPENDENT:
        raise BadInput(
            pour.plan.title,
            fact("too-few-readings-to-fit"),
            value=len(hours),
            allowed=fact("so-many-or-more", n=INDEPENDENT),
            remedy=fact("leave-this-pour-out"),
        )
    if np.any(np.diff(hours) <= 0):
        raise BadInput(pour.plan.title, fact("hours-do-not-rise"), remedy=fact("sort-readings"))
    # Evenly along the curve's own length, so that a steep rise gets its share of readings.
    way = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(hours) / hours[-1], np.diff(core_c) / 40.0))])
    at = np.unique(np.searchsorted(way, np.linspace(0.0, way[-1], _USED)).clip(0, len(hours) - 1))
    return RecordedPour(pour.plan, hours[at], core_c[at], pour.room)


def _solve(pours: list[RecordedPour]) -> Solution:
    prior_sd = np.array([RATE_SD, HEAT_SD])

    def residuals(points: Floats) -> Floats:
        return np.hstack([*(_misfit(pour, points) for pour in pours), points / prior_sd])

    return least_squares(residuals, np.zeros(2), _STEPS, longest=np.array([0.3, 0.15]))


def _misfit(pour: RecordedPour, points: Floats) -> Floats:
    start_c = pour.core_c[0]
    open_k = PROBE_K + RISE_PART * np.abs(pour.core_c - start_c)
    # N readings that hang together count as a few.
    weight = np.sqrt(min(1.0, INDEPENDENT / len(pour.hours)))
    return np.asarray((_core(pour, points) - pour.core_c) / open_k * weight)


def _core(pour: RecordedPour, points: Floats) -> Floats:
    factors = np.exp(points)
    members = Members(rate_factor=factors[:, 0], heat_factor=factors[:, 1])
    return run_ensemble(
        pour.plan,
        members,
        EnsembleRun(hours=float(pour.hours[-1]) + 1e-6, output_hours=pour.hours, resolution=COARSE),
        room=pour.room,
    ).core_c


def _judge(pour: RecordedPour, theta: Floats) -> LeftOut:
    both = _core(pour, np.vstack([np.zeros(2), theta]))
    off = both - pour.core_c
    rms = np.sqrt(np.mean(off**2, axis=1))
    peaks = both.max(axis=1) - pour.core_c.max()
    return LeftOut(pour.plan.title, float(rms[0]), float(rms[1]), float(peaks[0]), float(peaks[1]))


def _jackknife(without: list[Floats]) -> Floats:
    """Variance (2,) that the batches' own differences ask for: Tukey's jackknife over the pours; 0 below three.

    Tukey 1958, Ann. Math. Stat. 29:614.
    """
    count = len(without)
    if count < 3:
        return np.zeros(2)
    stray = np.array(without) - np.mean(without, axis=0)
    return np.asarray((count - 1) / count * (stray**2).sum(axis=0))


def _covariance(solution: Solution) -> Floats:
    data = solution.residuals[:-2]
    # The weights make 8 of each pour's readings count; a misfit beyond them widens the ranges.
    scatter = float(data @ data) / max(1.0, INDEPENDENT * len(data) / _USED)
    return np.asarray(solution.covariance() * max(1.0, scatter))
