"""The forecast: what the pour will probably do, from the plan and every reading so far.

Members of the posterior (assimilate.py) are carried on from now through rooms that may come (room_forecast.py).
What a member still misses of its core probe fades over the time that a model error lasts; what is to come
unknown grows with it. Everything is a function of its arguments: same readings, same seed, same forecast.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats
from logger.cure.forecast.assimilate import Posterior, draw, effective, steps_along, weigh
from logger.cure.forecast.causes import Cause, causes_of
from logger.cure.forecast.decision import chance_needed
from logger.cure.forecast.heating import changes_of, going_on, to_come
from logger.cure.forecast.likelihood import OFFSET_C, ProbeLikelihood, Readings, good_readings
from logger.cure.forecast.observation_model import ROUNDS, ObservedPour, infer
from logger.cure.forecast.parameters import members_at
from logger.cure.forecast.predictive import (
    Band,
    MemberState,
    Moment,
    Outlook,
    QuantileCurves,
    band,
    moment,
    roll_forward,
)
from logger.cure.forecast.room_forecast import room_draws
from logger.cure.forecast.what_if import WhatIf
from logger.cure.solver.ensemble import Checkpoint, EnsembleRun, Members, RoomHistory, run_ensemble
from logger.cure.solver.fans import FanRun, cooling, fan_effects, runs_of, without_fan
from logger.cure.solver.march import Resolution
from logger.errors import BadInput
from logger.facts import Fact, fact
from logger.plan.file import Plan
from logger.quantities import quantity

#: Members drawn from the Laplace spread for each one kept.
DRAWN_PER_MEMBER = 2
#: How much of a probe's record must be believed; below this it is reported as contradicting the others.
TRUSTED = 0.5
#: Once the peak is past only the release is of interest: the search goes on from the last forecast for so many rounds.
LATE_ROUNDS = 3
#: How long a model error lasts, as a part of the planned time to the peak, and its bounds, h.
MEMORY_PART, SHORTEST_MEMORY_H, LONGEST_MEMORY_H = 0.08, 0.1, 3.0
#: What may still change after now, and what the model lacks, in spreads of each unknown's prior.
DRIFT = 0.20
#: Fewer members than this part say nothing of when the limit is crossed.
FEW = 0.05


@dataclass(frozen=True)
class MemberSample:
    """How many members are drawn from the posterior, and the seed of all that is drawn."""

    members: int = 64
    seed: int = 0


@dataclass(frozen=True)
class DoubtedProbe:
    """A probe whose record contradicts the others, how much it is still believed (0–1), and why."""

    place: str
    trust: float
    reason: Fact


@dataclass(frozen=True)
class SearchStart:
    """Where the next forecast begins to look, kept with each one: a restart of the service loses nothing.

    theta: the likeliest value of each unknown of the plan, by name, in spreads of its prior; axes: steps along the axes
    of the spread there, rows of (p, p). memory_h: how long a model error lasts in this pour. peak_by_h: by when the
    core's peak comes, as 95 % of the members have it.
    """

    theta: Mapping[str, float]
    axes: Floats
    memory_h: float
    peak_by_h: float

    @classmethod
    def of_json(cls, body: Mapping[str, Any] | None) -> SearchStart | None:
        """Return where the forecast after a stored one begins; None where nothing is stored, or by an older program."""
        if body is None or "search" not in body:
            return None
        kept = body["search"]
        return cls(
            kept["theta"],
            np.array(kept["axes"], dtype=float),
            kept["memory_h"],
            body["core_peak_at_h"]["p95"],
        )

    def to_json(self) -> dict[str, Any]:
        """Return what of_json reads, but for the hour of the peak, which is in the forecast."""
        theta = {name: round(value, 4) for name, value in self.theta.items()}
        return {"theta": theta, "axes": np.round(self.axes, 4).tolist(), "memory_h": self.memory_h}

    def place(self, names: Sequence[str]) -> Floats:
        """Return θ of unknowns by their names (p,); 0, as planned, where one is new."""
        return np.array([self.theta.get(name, 0.0) for name in names])

    def axes_of(self, names: Sequence[str]) -> Floats | None:
        """Return the axes in the order of unknowns by their names; None where one is new or gone."""
        known = list(self.theta)
        if sorted(known) != sorted(names) or self.axes.shape != (len(known), len(known)):
            return None
        return self.axes[:, [known.index(name) for name in names]]


@dataclass(frozen=True)
class Forecast:
    """What the pour will probably do, seen from at_h. °C, hours since pouring, chances 0–1.

    core: as the core probe will read it. chance_needed: the chance_core_over_limit that makes a call at this hour.
    crosses_limit_at_h: among the members that cross; None when hardly any does. release_at_h: the core hard and cooled,
    as far as that comes within the run. fan_cooling: how much of the running fan's cooling arrives, 1 as it should;
    None where none runs, or not for long enough.
    """

    at_h: float
    limit_c: float
    core_peak_c: Band
    core_peak_at_h: Band
    hottest_peak_c: Band
    hottest_peak_at_h: Band
    chance_core_over_limit: float
    chance_hottest_over_limit: float
    chance_needed: float
    crosses_limit_at_h: Band | None
    time_left_h: float | None
    release_at_h: Moment
    gel_at_h: Moment
    end_conversion: Band
    bands: QuantileCurves
    causes: tuple[Cause, ...]
    doubted: tuple[DoubtedProbe, ...]
    members: int
    effective_members: float
    tempering: float
    what_if: dict[str, WhatIf]
    ahead: Outlook = field(repr=False)
    state: MemberState = field(repr=False)
    search: SearchStart
    fan_cooling: Band | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the forecast as the replay contract and the pages have it."""
        return {
            "at_h": round(self.at_h, 4),
            "limit_c": self.limit_c,
            "core_peak_c": self.core_peak_c.to_json(),
            "core_peak_at_h": self.core_peak_at_h.to_json(),
            "hottest_peak_c": self.hottest_peak_c.to_json(),
            "hottest_peak_at_h": self.hottest_peak_at_h.to_json(),
            "chance_core_over_limit": round(self.chance_core_over_limit, 4),
            "chance_hottest_over_limit": round(self.chance_hottest_over_limit, 4),
            "chance_needed": round(self.chance_needed, 4),
            "crosses_limit_at_h": None
            if self.crosses_limit_at_h is None
            else self.crosses_limit_at_h.to_json(),
            "clear_at_h": None if self.ahead.clear_at_h is None else round(self.ahead.clear_at_h, 3),
            "time_left_h": None if self.time_left_h is None else round(self.time_left_h, 3),
            "release_at_h": self.release_at_h.to_json(),
            "gel_at_h": self.gel_at_h.to_json(),
            "end_conversion": self.end_conversion.to_json(),
            "causes": [cause.to_json() for cause in self.causes],
            "probes": [
                {"place": p.place, "trust": round(p.trust, 3), "reason": p.reason} for p in self.doubted
            ],
            "what_if": {name: answer.to_json() for name, answer in self.what_if.items()},
            "fan_cooling": None if self.fan_cooling is None else self.fan_cooling.to_json(),
            "bands": self.bands.to_json(),
            "search": self.search.to_json(),
            "sample": {
                "members": self.members,
                "effective": round(self.effective_members, 1),
                "tempering": round(self.tempering, 3),
            },
        }


def forecast(
    plan: Plan,
    history: Mapping[str, Readings],
    *,
    at_h: float,
    sample: MemberSample | None = None,
    previous: SearchStart | None = None,
    fans: Sequence[FanRun] | None = None,
) -> Forecast:
    """Return what the pour will probably do, from readings up to at_h.

    history: place → hours and °C (NaN for a fault), the places `core`, `core-2`, `surface`, `underside`, `room` …;
    readings after at_h are not looked at. previous: of an earlier forecast of the same pour.
    fans: when a fan ran, runs and is to run over its surface; None: as the plan has it. Its what_if is empty: see
    what_if.py. Raises BadInput, DidNotConverge.
    """
    sample = sample or MemberSample()
    runs = runs_of(plan) if fans is None else tuple(fans)
    plan = without_fan(plan)
    at_h = _after_pouring(at_h)
    until_h = max(plan.run.hours, at_h + 1.0)
    # The same draws at every hour: what changes from one forecast to the next is what was read, not the dice.
    dice = [np.random.default_rng([sample.seed, which]) for which in range(5)]
    room = good_readings(history["room"], at_h) if "room" in history else (np.zeros(0), np.zeros(0))
    before, ahead = room_draws(plan, room, at_h=at_h, until_h=until_h, rng=dice[0], count=sample.members)
    memory_h = _memory_h(plan) if previous is None else previous.memory_h
    observed = ObservedPour(plan, history, at_h, before, memory_h, fan_effects(plan, runs))
    observed, posterior = _searched(observed, previous, dice[1])
    drawn = _drawn(observed, posterior, sample.members, dice[2])
    state = _state(observed, posterior, drawn, ahead, until_h, dice)
    outlook = roll_forward(plan, state)
    search = _start_of(observed, posterior, memory_h, band(outlook.core_peak_at_h).p95)
    answer = _answer(plan, state, outlook, search)
    return replace(
        answer,
        causes=causes_of(observed.unknowns, drawn.theta, plan),
        doubted=_doubted(posterior),
        effective_members=effective(drawn.weights) / len(drawn.weights) * sample.members,
        tempering=drawn.power,
        fan_cooling=_fan_cooling(plan, runs, at_h, observed, drawn.theta),
    )


def _searched(
    observed: ObservedPour, previous: SearchStart | None, rng: np.random.Generator
) -> tuple[ObservedPour, Posterior]:
    """Return the pour with what explains its readings best, looked for from the last forecast on."""
    late = previous is not None and previous.peak_by_h < observed.at_h
    names = [unknown.name for unknown in observed.unknowns]
    start, axes = (None, None) if previous is None else (previous.place(names), previous.axes_of(names))
    return infer(observed, rng, start, rounds=LATE_ROUNDS if late else ROUNDS, axes=axes)


def _state(
    observed: ObservedPour,
    posterior: Posterior,
    drawn: _Drawn,
    room: RoomHistory,
    until_h: float,
    dice: Sequence[np.random.Generator],
) -> MemberState:
    """Return the members drawn as they are now, with the rooms and the heating that may come until until_h."""
    at_h, members = observed.at_h, len(drawn.theta)
    later = drawn.theta + DRIFT * dice[3].standard_normal((members, len(observed.unknowns)))
    flux = observed.flux_w_m2(drawn.theta)
    done = [*observed.fan_changes(later), *changes_of(observed.windows, flux)]
    done += going_on(observed.windows, flux, at_h, dice[4]) or to_come(at_h, until_h, members, dice[4])
    shift, past = _of_core(observed.probes, drawn.read, drawn.picked, posterior.trust)
    return MemberState(
        members_at(observed.unknowns, later),
        drawn.now,
        room,
        until_h,
        shift,
        observed.memory_h,
        dice[3].standard_normal(members),
        tuple(done),
        *past,
    )


@dataclass(frozen=True)
class _Drawn:
    """Members drawn from the posterior: θ (M, p) and state now of those picked, which of the drawn they are (M,).

    read: what every drawn one reads at each probe; weights: theirs; power: the tempering of the weights.
    """

    theta: Floats
    now: Checkpoint
    picked: NDArray[np.intp]
    read: list[Floats]
    weights: Floats
    power: float


def _drawn(observed: ObservedPour, posterior: Posterior, members: int, rng: np.random.Generator) -> _Drawn:
    """Draw more members than asked for, weigh them by what was read, and pick."""
    theta, drawn_log = draw(posterior, DRAWN_PER_MEMBER * members, rng)
    run = observed.run(theta)
    read = observed.read(theta, run)
    weights, power = weigh(theta, drawn_log, read, observed.probes)
    picked = _pick(weights, members, rng)
    end = run.end
    now = Checkpoint(observed.at_h, end.t_k[picked], end.alpha[picked], end.step_s[picked], end.layers)
    return _Drawn(theta[picked], now, picked, read, weights, power)


def _after_pouring(at_h: float) -> float:
    """Return the hour, a minute after pouring at the earliest. Raises BadInput before it."""
    if not at_h >= 0.0:
        raise BadInput("at_h", fact("is-before-pouring"), value=at_h, allowed=fact("hours-from-pouring"))
    return max(float(at_h), 1.0 / 60.0)


def _fan_cooling(
    plan: Plan, runs: Sequence[FanRun], at_h: float, observed: ObservedPour, theta: Floats
) -> Band | None:
    """Return what part of the fan's cooling arrives, over the members theta (M, p)."""
    top = np.asarray(members_at(observed.unknowns, theta).top_factor)
    arrives = cooling(plan, runs, at_h, observed.fan_part(theta), top)
    return None if arrives is None else band(arrives)


def _memory_h(plan: Plan) -> float:
    """Return how long a model error lasts in this pour, h: a part of the planned time to the peak."""
    planned = run_ensemble(plan, Members(), EnsembleRun(output_hours=[0.0], resolution=Resolution(0.5)))
    return float(np.clip(MEMORY_PART * planned.core_peak_at_h[0], SHORTEST_MEMORY_H, LONGEST_MEMORY_H))


def _pick(weights: Floats, count: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Systematic resampling (Kitagawa 1996, J. Comput. Graph. Stat. 5:1)."""
    at = (rng.random() + np.arange(count)) / count
    return np.minimum(np.searchsorted(np.cumsum(weights), at), len(weights) - 1)


def _of_core(
    probes: Sequence[ProbeLikelihood], read: list[Floats], picked: NDArray[np.intp], trust: dict[str, float]
) -> tuple[Floats, tuple[float, float]]:
    """Return what each member still misses of the core probe now (offset, fading error) (2, M), and the measured
    peak.
    """
    cores = [
        (p, s) for p, s in zip(probes, read, strict=True) if p.kind == "core" and trust[p.name] >= TRUSTED
    ]
    if not cores:
        return np.zeros((2, len(picked))), (-np.inf, 0.0)
    probe, values = cores[0]
    miss = (probe.celsius - values[picked]) @ probe.white.T @ probe.white
    fading = probe.error_c[-1] * probe.error_c * np.exp(-(probe.hours[-1] - probe.hours) / probe.memory_h)
    return np.stack([OFFSET_C**2 * miss.sum(axis=1), miss @ fading]), (probe.peak_c, probe.peak_at_h)


def _start_of(observed: ObservedPour, posterior: Posterior, memory_h: float, peak_by_h: float) -> SearchStart:
    """Return where the next search begins: all unknowns but what warmed the surface, which is looked for anew."""
    names = [unknown.name for unknown in observed.unknowns]
    known = len(names) - len(observed.windows)
    theta = dict(zip(names[:known], posterior.best[:known].tolist(), strict=True))
    root = np.linalg.cholesky(posterior.spread[:known, :known])
    left, lengths, _ = np.linalg.svd(root)
    return SearchStart(theta, steps_along(left * lengths), memory_h, peak_by_h)


def _answer(plan: Plan, state: MemberState, ahead: Outlook, search: SearchStart) -> Forecast:
    at_h, limit_c = state.now.hours, plan.resin.limits.max_core_c
    passed = state.past_peak_c > limit_c
    chance = 1.0 if passed else ahead.chance_over(limit_c)
    crosses = ahead.crosses_at_h[np.isfinite(ahead.crosses_at_h)]
    crossing = None
    if not passed and len(crosses) > FEW * len(ahead.crosses_at_h):
        crossing = band(crosses)
    return Forecast(
        at_h=at_h,
        limit_c=limit_c,
        core_peak_c=band(ahead.core_peak_c),
        core_peak_at_h=band(ahead.core_peak_at_h),
        hottest_peak_c=band(ahead.hottest_peak_c),
        hottest_peak_at_h=band(ahead.hottest_peak_at_h),
        chance_core_over_limit=chance,
        chance_hottest_over_limit=max(chance, float(np.mean(ahead.hottest_peak_c > limit_c))),
        chance_needed=chance_needed(at_h, None if crossing is None else crossing.p50),
        crosses_limit_at_h=crossing,
        time_left_h=None if crossing is None else max(crossing.p50 - at_h, 0.0),
        release_at_h=moment(ahead.release_at_h, state.until_h),
        gel_at_h=moment(ahead.gel_at_h, state.until_h),
        end_conversion=band(ahead.end_conversion),
        bands=ahead.bands,
        causes=(),
        doubted=(),
        members=len(ahead.core_peak_c),
        effective_members=float(len(ahead.core_peak_c)),
        tempering=1.0,
        what_if={},
        ahead=ahead,
        state=state,
        search=search,
    )


#: The one probe of a place in the resin → the code of what is said of it in doubt.
_DOUBTS = {
    "core": "core-probe-doubted",
    "surface": "surface-probe-doubted",
    "underside": "underside-probe-doubted",
}


def _doubt(name: str, misfit: float) -> Fact:
    times = quantity(misfit, "")
    code = _DOUBTS.get(name)
    return fact("probe-doubted", probe=name, times=times) if code is None else fact(code, times=times)


def _doubted(posterior: Posterior) -> tuple[DoubtedProbe, ...]:
    return tuple(
        DoubtedProbe(
            name,
            trust,
            _doubt(name, posterior.misfit[name]),
        )
        for name, trust in posterior.trust.items()
        if trust < TRUSTED
    )
