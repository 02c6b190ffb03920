"""What a plan comes to by chance: its peak, when, and its release, over all that nobody knows before it is poured.

Members of one ensemble differ in the resin (as its datasheet leaves it open; else as the forecast's prior has it), in
how the form sheds heat, in the mix as poured, the room ahead and, where the solver holds it, in how far the liquid
moves. They fill a Latin hypercube (McKay, Beckman & Conover 1979, Technometrics 21:239): as even over each unknown as
so few can be, and the same every time. What widens the peak most is read from the same members: the peak's normal
scores are regressed on the unknowns (standardised regression on ranks: Saltelli, Chan & Scott 2000, Sensitivity
Analysis, ch. 6). Both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Any

import numpy as np

from logger.arrays import Floats
from logger.cure.forecast.parameters import parameters_of
from logger.cure.model.convection import FLOW_SD
from logger.cure.model.kinetics import glass_transition_c
from logger.cure.solver.ensemble import EnsembleResult, EnsembleRun, Members, run_ensemble
from logger.cure.solver.hardness import (
    COOLED_K,
    GLASS_RANGE_C,
    HARD_K,
    field_hours,
    milestones,
    room_at_end_c,
)
from logger.cure.solver.march import StopRule
from logger.cure.solver.planned_band import FACE_SD, QUICKLY, START_SD_K, slowest
from logger.cure.solver.prediction import long_enough, predict_coarsely, stop_after_peak
from logger.extremes import BEYOND_C
from logger.facts import Fact, fact
from logger.plan.file import Plan
from logger.units import ZERO_CELSIUS_K

#: Members: so many that two or three of them are beyond the 95 %.
COUNT = 64
#: A plan is green below the first chance to pass the limit and red above the second; between, more must be known.
GREEN_BELOW, RED_ABOVE = 0.05, 0.25
#: How far each may be off where the plan says it and where it does not, K: the mix as poured; the room, one number or
#: its hours. The glass transition of the full cure where it is not stated, K (90 % in GLASS_RANGE_C). Project values,
#: no source.
START_UNSAID_SD_K = 1.5
ROOM_SD_K, ROOM_HOURS_SD_K = 1.0, 0.5
GLASS_SD_K = (GLASS_RANGE_C[1] - GLASS_RANGE_C[0]) / 3.29
#: What the peak's spread is split over, each with the columns of a draw that belong to it.
RESIN, FORM, MIX, ROOM, FLOW = "resin", "form", "mix", "room", "flow"
UNKNOWNS: Mapping[str, tuple[str, ...]] = {
    RESIN: ("rate", "first", "energy", "heat"),
    FORM: ("top", "bottom", "side"),
    MIX: ("start",),
    ROOM: ("room",),
    FLOW: ("flow",),
}
WORDS: Mapping[str, Fact] = {
    RESIN: fact("unknown.resin"),
    FORM: fact("unknown.form"),
    MIX: fact("unknown.mix"),
    ROOM: fact("unknown.room"),
    FLOW: fact("unknown.flow"),
}
#: Hours at which a band is drawn, and at which members are read for their release; how far beyond the plan's own
#: release they are followed, and the longest, h.
BAND_POINTS, SEEN_POINTS = 161, 241
SEEN_TIMES, LONGEST_SEEN_H = 1.6, 400.0
#: Points over which a drawn band is averaged: each of so few members is seen as a tooth of its edge.
_TEETH = 9
_PARTS = (0.05, 0.5, 0.95)
#: So many members, of 64, hold the hottest handful: of seven plans all of its four stood among the first dozen.
LIKELY_HOTTEST = 24
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Band:
    """The core over time, °C (T,) each at hours (T,): 5 %, middle, 95 %."""

    hours: tuple[float, ...]
    p05: tuple[float, ...]
    p50: tuple[float, ...]
    p95: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Chances:
    """Each member's hottest temperature (°C), when it has it and when it can leave the form (h; inf: never, or a
    runaway). shares: part of the peak's spread that comes from each of UNKNOWNS.
    """

    limit_c: float
    peaks_c: tuple[float, ...]
    peak_at_h: tuple[float, ...]
    release_at_h: tuple[float, ...]
    shares: Mapping[str, float]
    band: Band | None = None

    def peak_c(self, part: float) -> float:
        """Return the hottest point's peak that so large a part of the members stays under, °C."""
        return _quantile(self.peaks_c, part)

    def hour(self, part: float) -> float:
        """Return the hour by which so large a part of the members is at its hottest."""
        return _quantile(self.peak_at_h, part)

    def release_h(self, part: float) -> float | None:
        """Return the hour by which so large a part can leave the form; None where it is never, or not asked."""
        if not self.release_at_h:
            return None
        hours = _quantile(self.release_at_h, part)
        return hours if math.isfinite(hours) else None

    def chance_over(self, limit_c: float) -> float:
        """Return the chance that the hottest point passes a limit: the inverse of `peak_c`, so that it is 5 % where
        that is the limit at 95 %.
        """
        ranked = np.sort(np.array(self.peaks_c))
        parts = (np.arange(len(ranked)) + 0.5) / len(ranked)
        # Beyond the hottest and the coolest member nothing is known: none and all.
        return 1.0 - float(np.interp(limit_c, ranked, parts, left=0.0, right=1.0))

    @property
    def over(self) -> float:
        """The chance that the hottest point passes the plan's own limit."""
        return self.chance_over(self.limit_c)

    @property
    def widest(self) -> str:
        """The unknown that widens the peak most."""
        return max(self.shares, key=lambda name: self.shares[name])

    def to_json(self) -> dict[str, Any]:
        """Return what `pourlog predict --json` prints as `chance`."""
        return {
            "limit_c": self.limit_c,
            "over_limit": round(self.over, 4),
            "peak_c": _three({part: self.peak_c(part) for part in _PARTS}, 2),
            "peak_at_h": _three({part: self.hour(part) for part in _PARTS}, 3),
            "release_at_h": _three({part: self.release_h(part) for part in _PARTS}, 2),
            "widest": self.widest,
            "shares": {name: round(share, 3) for name, share in self.shares.items()},
            "members": len(self.peaks_c),
        }


def chances_of(plan: Plan, hard_h: float | None = None) -> Chances:
    """Return the plan's chances, with its band and its release: a second or two. Raises DidNotConverge.

    hard_h: when the plan as it is is hard everywhere, where that has been worked out; else a quick solution tells it.
    """
    drawn = draws_of(plan)
    as_it_is = {"flow": 0.0 if plan.resin.flow is None else 1.0}
    members = members_at({name: np.append(drawn[name], as_it_is.get(name, 0.0)) for name in drawn})
    hard_h = _hard_h(plan) if hard_h is None else hard_h
    until_h = long_enough(slowest(plan, members)).run.hours
    if math.isfinite(hard_h):
        until_h = min(max(until_h, SEEN_TIMES * hard_h), LONGEST_SEEN_H)
    # The band to draw ends where the plan's own course does.
    shown = np.linspace(0.0, min(long_enough(plan).run.hours, until_h), BAND_POINTS)
    hours = np.union1d(shown, np.linspace(0.0, until_h, SEEN_POINTS))
    stop = StopRule(beyond_k=BEYOND_C + ZERO_CELSIUS_K)
    result = run_ensemble(plan, members, EnsembleRun(until_h, hours, resolution=QUICKLY, stop=stop))
    core = np.quantile(result.core_c[:-1, np.isin(hours, shown)], _PARTS, axis=0, method="hazen")
    band = Band(tuple(shown.tolist()), *(tuple(_without_teeth(row).tolist()) for row in core))
    return _chances(plan, result, drawn, _released_h(plan, result, drawn, hard_h), band)


def quick_chances(plan: Plan, drawn: Mapping[str, Floats] | None = None) -> Chances:
    """Return the chances of the plan's peak alone: half a second, for searches. drawn: other draws than its own.
    Raises DidNotConverge.
    """
    drawn = draws_of(plan) if drawn is None else drawn
    members = members_at(drawn)
    hours = long_enough(slowest(plan, members)).run.hours
    run = EnsembleRun(hours, [0.0], resolution=QUICKLY, stop=stop_after_peak(plan, BEYOND_C))
    return _chances(plan, run_ensemble(plan, members, run), drawn, (), None)


def sure_peak_c(plan: Plan) -> float:
    """Return what all but GREEN_BELOW of a plan's cases stay under, °C: what advice must keep under the limit. Raises
    DidNotConverge.

    Only the members that are likely to be hottest are solved: a search asks this of stacks of layers, whose slowest
    members take days. It is the figure of all of them as long as its handful is among these (tests).
    """
    drawn = draws_of(plan)
    hottest = np.argsort(-_likely_heat(drawn), kind="stable")[:LIKELY_HOTTEST]
    some = quick_chances(plan, {name: values[hottest] for name, values in drawn.items()})
    cooler = (-math.inf,) * (len(drawn["rate"]) - LIKELY_HOTTEST)
    return _quantile((*cooler, *some.peaks_c), 1.0 - GREEN_BELOW)


def _likely_heat(drawn: Mapping[str, Floats]) -> Floats:
    """Return a score by which members of one plan rank about as they get hot: weights read off a dozen ensembles."""
    return np.asarray(
        drawn["rate"]
        + 0.3 * drawn["first"]
        - 0.2 * drawn["energy"]
        + 2.0 * drawn["heat"]
        - 0.3 * (drawn["top"] + drawn["bottom"])
        - 0.15 * drawn["side"]
        + 0.08 * drawn["room"]
        + 0.05 * drawn["start"]
        - 0.6 * drawn["flow"]
    )


def _chances(
    plan: Plan,
    result: EnsembleResult,
    drawn: Mapping[str, Floats],
    release_h: tuple[float, ...],
    band: Band | None,
) -> Chances:
    count = len(drawn["rate"])
    peaks = result.hottest_peak_c[:count]
    return Chances(
        plan.resin.limits.max_core_c,
        tuple(peaks.tolist()),
        tuple(result.hottest_peak_at_h[:count].tolist()),
        release_h,
        shares_of(peaks, drawn),
        band,
    )


def draws_of(plan: Plan, count: int = COUNT) -> dict[str, Floats]:
    """Return what nobody knows of the plan, (M,) each: logarithms of factors, K, and a part of 1 for the flow."""
    even = _hypercube(count, 11)
    normal = np.vectorize(_NORMAL.inv_cdf)(even)
    possible, spread = plan.resin.possible, {one.name: one.spread for one in parameters_of(plan)}
    if possible is None:
        resin = {
            "rate": spread["rate_factor"] * normal[0],
            "first": spread["first_factor"] * normal[1],
            "energy": spread["e_factor"] * normal[2],
            "heat": spread["heat_factor"] * normal[3],
        }
    else:
        # Each of the equally likely resins as often as the others, or once more.
        which = np.floor(even[0] * len(possible.rate)).astype(int)
        resin = {name: np.log(np.array(getattr(possible, name)))[which] for name in UNKNOWNS[RESIN]}
    room_sd = ROOM_SD_K if len(plan.room_schedule()) == 1 else ROOM_HOURS_SD_K
    room = room_sd * normal[7]
    # A mix of which nothing is said stands in the room, and is as warm.
    unsaid = plan.pour.start_c is None
    start = (START_UNSAID_SD_K if unsaid else START_SD_K) * normal[8]
    return resin | {
        "top": FACE_SD * normal[4],
        "bottom": FACE_SD * normal[5],
        "side": FACE_SD * normal[6],
        "room": room,
        "start": start,
        # Of a liquid of which nothing is said: anything from at rest to as the correlations have a usual one.
        "flow": even[9] if plan.resin.flow is None else np.exp(FLOW_SD * normal[9]),
        "glass": (0.0 if plan.resin.glass.stated else GLASS_SD_K) * normal[10],
    }


def members_at(drawn: Mapping[str, Floats]) -> Members:
    """Return the members of a draw."""
    return Members(
        rate_factor=np.exp(drawn["rate"]),
        first_factor=np.exp(drawn["first"]),
        e_factor=np.exp(drawn["energy"]),
        heat_factor=np.exp(drawn["heat"]),
        top_factor=np.exp(drawn["top"]),
        bottom_factor=np.exp(drawn["bottom"]),
        side_factor=np.exp(drawn["side"]),
        room_offset_c=drawn["room"],
        start_offset_c=drawn["start"],
        flow_factor=drawn["flow"],
    )


def shares_of(peaks_c: Floats, drawn: Mapping[str, Floats]) -> dict[str, float]:
    """Return which part of the peak's spread comes from each unknown, 0–1; what moves nothing has none."""
    names = [name for name, values in drawn.items() if np.std(values) > 0 and name != "glass"]
    # Ranks: beyond the cliff a peak says only that it is beyond.
    ranks = np.empty(len(peaks_c))
    ranks[np.argsort(peaks_c, kind="stable")] = (np.arange(len(peaks_c)) + 0.5) / len(peaks_c)
    scores = np.vectorize(_NORMAL.inv_cdf)(ranks)
    columns = np.stack([drawn[name] - drawn[name].mean() for name in names], axis=1)
    slopes = np.linalg.lstsq(columns, scores, rcond=None)[0]
    parts = {}
    for unknown, group in UNKNOWNS.items():
        picks = [i for i, name in enumerate(names) if name in group]
        parts[unknown] = float(np.var(columns[:, picks] @ slopes[picks])) if picks else 0.0
    total = sum(parts.values())
    return {name: part / total if total > 0 else 0.0 for name, part in parts.items()}


def _hard_h(plan: Plan) -> float:
    """Return when the plan as it is is hard everywhere, h; inf where it never is."""
    seen = long_enough(plan)
    steps = milestones(seen, predict_coarsely(seen, field_hours(seen))).places
    return max(math.inf if one.hard_h is None else one.hard_h for one in steps)


def _released_h(
    plan: Plan, result: EnsembleResult, drawn: Mapping[str, Floats], hard_h: float
) -> tuple[float, ...]:
    """Return when each member can leave the form, h (M,): hard and cooled; inf where that is not seen, or its peak is
    beyond what is known. result: the members, and the plan as it is as the last.

    A member is hard once its glass transition, of all its resin on average, is as far above it as the plan's is when
    its least cured place is hard.
    """
    hours, glass = result.hours, plan.resin.glass
    room_c = room_at_end_c(plan)

    def margin_k(i: int, above_k: float) -> Floats:
        highest_c = max(glass.tg_inf_c + above_k, glass.tg0_c + 1.0)
        own = glass.model_copy(update={"tg_inf_c": highest_c})
        return np.asarray(glass_transition_c(result.mean_conversion[i], own) - result.core_c[i] - HARD_K)

    last = len(result.core_c) - 1
    needed_k = float(np.interp(hard_h, hours, margin_k(last, 0.0))) if math.isfinite(hard_h) else math.inf
    released = []
    for i in range(last):
        hard = margin_k(i, drawn["glass"][i]) >= needed_k
        cool = np.abs(result.core_c[i] - room_c - drawn["room"][i]) <= COOLED_K
        short = np.flatnonzero(~(hard & cool))
        seen = result.hottest_peak_c[i] <= BEYOND_C and (not len(short) or short[-1] < len(hours) - 1)
        released.append(math.inf if not seen else float(hours[short[-1] + 1]) if len(short) else 0.0)
    return tuple(released)


@lru_cache(maxsize=4)
def _hypercube(count: int, columns: int) -> Floats:
    """Return a Latin hypercube (columns, count) in 0–1: of some drawn, the one whose columns hang together least."""
    rng = np.random.default_rng(20)
    middles = (np.arange(count) + 0.5) / count
    cubes = (np.stack([rng.permutation(middles) for _ in range(columns)]) for _ in range(200))
    return min(cubes, key=lambda cube: float(np.abs(np.corrcoef(cube) - np.eye(columns)).max()))


def _without_teeth(row: Floats) -> Floats:
    """Return a band's edge (T,) averaged over _TEETH points, fewer at its ends."""
    half = _TEETH // 2
    sums = np.concatenate([[0.0], np.cumsum(row)])
    at = np.arange(len(row))
    reach = np.minimum(half, np.minimum(at, len(row) - 1 - at))
    return np.asarray((sums[at + reach + 1] - sums[at - reach]) / (2 * reach + 1))


def _quantile(values: tuple[float, ...], part: float) -> float:
    """Return Hazen's quantile; inf wherever it meets an inf."""
    ranked = np.sort(np.array(values))
    at = min(max(part * len(ranked) - 0.5, 0.0), len(ranked) - 1.0)
    low, high = ranked[math.floor(at)], ranked[math.ceil(at)]
    return float(high) if math.isinf(high) else float(low + (at - math.floor(at)) * (high - low))


def _three(values: Mapping[float, float | None], digits: int) -> dict[str, float | None]:
    return {f"p{100 * part:02.0f}": None if v is None else round(v, digits) for part, v in values.items()}
