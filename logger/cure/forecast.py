"""The forecast: what the pour will probably do, from the plan and every reading so far.

Members of the posterior (assimilate.py) are carried on from now through rooms that may come (room_ahead.py).
What a member still misses of its core probe fades over the time that a model error lasts; what is to come
unknown grows with it. Everything is a function of its arguments: same readings, same seed, same forecast.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.cure.assimilate import Posterior, draw, effective, fit, weigh
from logger.cure.causes import Cause, causes_of
from logger.cure.diffusion import conversion_at_tg
from logger.cure.ensemble import Change, Checkpoint, EnsembleResult, Members, RoomHistory, run_ensemble
from logger.cure.evidence import FLOOR_C, OFFSET_C, PART_OF_RISE, Probe, Readings, evidence_of, good_readings
from logger.cure.glass import COOLED_K, HARD_K
from logger.cure.room_ahead import room_draws
from logger.cure.unknowns import Unknown, members_at, reach, unknowns_of
from logger.errors import BadInput
from logger.plan_file import Plan

Floats = NDArray[np.float64]

__all__ = ["Band", "Forecast", "due_hours", "forecast", "forecast_hours", "will_overheat"]

#: Cells of the mesh in each direction against a prediction's.
FINENESS = 0.8
#: Members drawn from the Laplace spread for each one kept.
DRAWN_PER_MEMBER = 3
PILOTS = 24
#: How much of a probe's record must be believed; below this it is reported as contradicting the others.
TRUSTED = 0.5
#: How long a model error lasts, as a part of the planned time to the peak, and its bounds, h.
MEMORY_PART, SHORTEST_MEMORY_H, LONGEST_MEMORY_H = 0.08, 0.1, 3.0
#: What may still change after now, in spreads of each unknown's prior.
DRIFT = 0.06
#: Points of the bands.
BAND_POINTS = 120
#: Fewer members than this part say nothing of when the limit is crossed.
FEW = 0.05


@dataclass(frozen=True)
class Band:
    """5, 50 and 95 % of a quantity."""

    p05: float
    p50: float
    p95: float

    def to_json(self) -> dict[str, float]:
        """Rounded to what a probe can tell."""
        return {"p05": round(self.p05, 3), "p50": round(self.p50, 3), "p95": round(self.p95, 3)}


@dataclass(frozen=True)
class Bands:
    """For drawing: hours (T,), °C and mean conversion at 5, 50, 95 % (3, T)."""

    hours: Floats
    core_c: Floats
    hottest_c: Floats
    mean_conversion: Floats

    def to_json(self) -> dict[str, Any]:
        """Plain lists."""
        out: dict[str, Any] = {"hours": [round(h, 4) for h in self.hours.tolist()]}
        for name, digits in (("core_c", 2), ("hottest_c", 2), ("mean_conversion", 4)):
            rows = getattr(self, name).tolist()
            out[name] = {
                p: [round(v, digits) for v in row] for p, row in zip(("p05", "p50", "p95"), rows, strict=True)
            }
        return out


@dataclass(frozen=True)
class DoubtedProbe:
    """A probe whose record contradicts the others, how much it is still believed (0–1), and why."""

    place: str
    trust: float
    reason: str


@dataclass(frozen=True)
class State:
    """What a later forecast or a what-if goes on from; not part of the JSON."""

    best: Floats
    members: Members
    now: Checkpoint
    room: RoomHistory
    until_h: float
    shift: Floats
    memory_h: float
    noise: Floats
    past_peak_c: float
    past_peak_at_h: float


@dataclass(frozen=True)
class Forecast:
    """What the pour will probably do, seen from at_h. °C, hours since pouring, chances 0–1.

    core: as the core probe will read it. crosses_limit_at_h: among the members that cross; None when hardly any does.
    release_at_h: the core hard and cooled; None where not within the run.
    """

    at_h: float
    limit_c: float
    core_peak_c: Band
    core_peak_at_h: Band
    hottest_peak_c: Band
    hottest_peak_at_h: Band
    chance_core_over_limit: float
    chance_hottest_over_limit: float
    crosses_limit_at_h: Band | None
    time_left_h: float | None
    release_at_h: Band | None
    end_conversion: Band
    bands: Bands
    causes: tuple[Cause, ...]
    doubted: tuple[DoubtedProbe, ...]
    members: int
    effective_members: float
    tempering: float
    peaks_c: Floats = field(repr=False)
    state: State = field(repr=False)

    def to_json(self) -> dict[str, Any]:
        """The forecast as the replay contract and the pages have it."""
        return {
            "at_h": round(self.at_h, 4),
            "limit_c": self.limit_c,
            "core_peak_c": self.core_peak_c.to_json(),
            "core_peak_at_h": self.core_peak_at_h.to_json(),
            "hottest_peak_c": self.hottest_peak_c.to_json(),
            "hottest_peak_at_h": self.hottest_peak_at_h.to_json(),
            "chance_core_over_limit": round(self.chance_core_over_limit, 4),
            "chance_hottest_over_limit": round(self.chance_hottest_over_limit, 4),
            "crosses_limit_at_h": None
            if self.crosses_limit_at_h is None
            else self.crosses_limit_at_h.to_json(),
            "time_left_h": None if self.time_left_h is None else round(self.time_left_h, 3),
            "release_at_h": None if self.release_at_h is None else self.release_at_h.to_json(),
            "end_conversion": self.end_conversion.to_json(),
            "causes": [cause.to_json() for cause in self.causes],
            "probes": [
                {"place": p.place, "trust": round(p.trust, 3), "reason": p.reason} for p in self.doubted
            ],
            "bands": self.bands.to_json(),
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
    members: int = 64,
    seed: int = 0,
    previous: Forecast | None = None,
    changes: Sequence[Change] = (),
) -> Forecast:
    """What the pour will probably do, from readings up to at_h.

    history: place → hours and °C (NaN for a fault), the places `core`, `core-2`, `surface`, `underside`, `room` …;
    readings after at_h are not looked at. previous: an earlier forecast of the same pour, to start the search from.
    changes: what was done to the pour so far (fans on, …). Raises BadInput, DidNotConverge.
    """
    if not at_h >= 0.0:
        raise BadInput("at_h", "is before pouring", value=at_h, allowed="0 h or more")
    at_h = max(float(at_h), 1.0 / 60.0)
    until_h = max(plan.run.hours, at_h + 1.0)
    rng = np.random.default_rng([seed, round(at_h * 3600)])
    unknowns = unknowns_of(plan)
    room_h, room_c = good_readings(history["room"], at_h) if "room" in history else (np.zeros(0), np.zeros(0))
    before, ahead = room_draws(plan, room_h, room_c, at_h=at_h, until_h=until_h, rng=rng, count=members)
    memory_h = _memory_h(plan)
    probes = evidence_of(history, at_h, memory_h, float(before.celsius.mean()))
    times = np.unique(np.concatenate([*(p.times for p in probes), [at_h]]))

    def run(theta: Floats) -> EnsembleResult:
        return run_ensemble(plan, members_at(unknowns, theta), hours=at_h, output_hours=times, room=before,
                            changes=changes, fineness=FINENESS)  # fmt: skip

    room_then = np.interp(times, before.hours, before.celsius)

    def read(theta: Floats, result: EnsembleResult) -> list[Floats]:
        return [_as_read(unknowns, theta, result, p, times, room_then) for p in probes]

    start = np.zeros(len(unknowns)) if previous is None else previous.state.best
    pilots = rng.standard_normal((PILOTS, len(unknowns)))
    if previous is not None:
        pilots = np.vstack([np.zeros(len(unknowns)), pilots])
    posterior = fit(lambda theta: read(theta, run(theta)), probes, start, pilots=pilots)
    theta, drawn_log = draw(posterior, DRAWN_PER_MEMBER * members, rng)
    drawn = run(theta)
    seen = read(theta, drawn)
    weights, power = weigh(theta, drawn_log, seen, probes)
    kept = _pick(weights, members, rng)
    now = Checkpoint(
        at_h, drawn.end.t_k[kept], drawn.end.alpha[kept], drawn.end.step_s[kept], drawn.end.layers
    )
    later = theta[kept] + DRIFT * rng.standard_normal((members, len(unknowns)))
    shift, past = _of_core(probes, seen, kept)
    state = State(posterior.best, members_at(unknowns, later), now, ahead, until_h, shift, memory_h,
                  rng.standard_normal(members), *past)  # fmt: skip
    answer = _look_ahead(plan, state, changes)
    return replace(
        answer, causes=causes_of(unknowns, theta[kept], plan), doubted=_doubted(posterior),
        effective_members=effective(weights) / len(weights) * members, tempering=power,
    )  # fmt: skip


def forecast_hours(
    plan: Plan,
    history: Mapping[str, Readings],
    hours: Sequence[float],
    *,
    members: int = 64,
    seed: int = 0,
    changes: Sequence[Change] = (),
) -> list[Forecast]:
    """A forecast at each of the hours, rising, each from the readings up to it."""
    made: list[Forecast] = []
    for at_h in sorted(hours):
        done = [change for change in changes if change.at_h <= at_h]
        previous = made[-1] if made else None
        made.append(
            forecast(plan, history, at_h=at_h, members=members, seed=seed, previous=previous, changes=done)
        )
    return made


#: core-will-overheat: raised when the chance is at least RAISE in RAISE_OF[0] of the last RAISE_OF[1] forecasts,
#: cleared when it is below CLEAR in all of the last CLEAR_AFTER.
RAISE, RAISE_OF = 0.5, (2, 3)
CLEAR, CLEAR_AFTER = 0.15, 3


def will_overheat(chances: Sequence[float]) -> bool:
    """Whether core-will-overheat stands after these chances of successive forecasts, oldest first.

    Between RAISE and CLEAR it stays as it was, so that a chance that hovers makes no chatter.
    """
    standing = False
    for i in range(len(chances)):
        needed, of = RAISE_OF
        recent = chances[max(0, i - of + 1) : i + 1]
        if not standing:
            standing = sum(c >= RAISE for c in recent) >= needed
        elif i + 1 >= CLEAR_AFTER:
            standing = not all(c < CLEAR for c in chances[i + 1 - CLEAR_AFTER : i + 1])
    return standing


#: A new forecast is due after this long, or this part of the pour's age if that is more, h.
DUE_H, DUE_PART = 5.0 / 60.0, 0.06


def due_hours(until_h: float, from_h: float = 0.0) -> list[float]:
    """When forecasts are due after from_h and before until_h: every five minutes of a young pour, less often later."""
    due: list[float] = []
    at = from_h
    while True:
        at += max(DUE_H, DUE_PART * at)
        if at >= until_h:
            return due
        due.append(at)


def _memory_h(plan: Plan) -> float:
    """How long a model error lasts in this pour: a part of the planned time to the peak."""
    planned = run_ensemble(plan, Members(), fineness=0.5, output_hours=[0.0])
    return float(np.clip(MEMORY_PART * planned.core_peak_at_h[0], SHORTEST_MEMORY_H, LONGEST_MEMORY_H))


def _as_read(
    unknowns: tuple[Unknown, ...],
    theta: Floats,
    result: EnsembleResult,
    probe: Probe,
    times: Floats,
    room_c: Floats,
) -> Floats:
    """What the probe's pieces would be in each member (M, n)."""
    values: Floats = getattr(result, probe.kind + "_c")
    part = reach(unknowns, theta, probe.kind)
    if part is not None:
        values = values + part[:, None] * (values - room_c)
    return np.asarray(values[:, np.searchsorted(times, probe.times)] @ probe.gather.T)


def _pick(weights: Floats, count: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Systematic resampling (Kitagawa 1996, J. Comput. Graph. Stat. 5:1, from memory)."""
    at = (rng.random() + np.arange(count)) / count
    return np.minimum(np.searchsorted(np.cumsum(weights), at), len(weights) - 1)


def _of_core(
    probes: Sequence[Probe], seen: list[Floats], kept: NDArray[np.intp]
) -> tuple[Floats, tuple[float, float]]:
    """What each member still misses of the core probe now (offset, fading error) (2, M), and the measured peak."""
    cores = [(p, s) for p, s in zip(probes, seen, strict=True) if p.kind == "core"]
    if not cores:
        return np.zeros((2, len(kept))), (-np.inf, 0.0)
    probe, values = cores[0]
    miss = (probe.celsius - values[kept]) @ probe.white.T @ probe.white
    fading = probe.error_c[-1] * probe.error_c * np.exp(-(probe.hours[-1] - probe.hours) / probe.memory_h)
    highest = int(np.argmax(probe.celsius))
    return (
        np.stack([OFFSET_C**2 * miss.sum(axis=1), miss @ fading]),
        (float(probe.celsius[highest]), float(probe.hours[highest])),
    )


def _look_ahead(plan: Plan, state: State, changes: Sequence[Change]) -> Forecast:
    at_h, until_h = state.now.hours, state.until_h
    hours = np.linspace(at_h, until_h, 2 * BAND_POINTS)
    run = run_ensemble(plan, state.members, hours=until_h, output_hours=hours, room=state.room, changes=changes,
                       start=state.now, fineness=FINENESS)  # fmt: skip
    limit_c = plan.resin.limits.max_core_c
    room_c = np.stack([np.interp(hours, state.room.hours, row) for row in state.room.celsius])
    core = run.core_c + _missing(state, hours[None, :], run.core_c - room_c)
    mean_room = room_c.mean(axis=1)
    peak_at_h = run.core_peak_at_h
    peak = run.core_peak_c + _missing(state, peak_at_h[:, None], (run.core_peak_c - mean_room)[:, None])[:, 0]
    gone = peak < state.past_peak_c
    hot = run.hottest_peak_c + (peak - run.core_peak_c)
    hot = np.where(gone, np.maximum(hot, state.past_peak_c), hot)
    hot_at_h = np.where(gone, state.past_peak_at_h, run.hottest_peak_at_h)
    peak_at_h = np.where(gone, state.past_peak_at_h, peak_at_h)
    peak = np.where(gone, state.past_peak_c + OFFSET_C * state.noise, peak)
    over, hot_over = peak > limit_c, hot > limit_c
    chance = 1.0 if state.past_peak_c > limit_c else float(over.mean())
    crosses = _first(hours, core, limit_c)
    crossing = None
    if state.past_peak_c <= limit_c and np.isfinite(crosses).mean() > FEW:
        crossing = band(crosses[np.isfinite(crosses)])
    glass = plan.resin.glass
    hard = conversion_at_tg(mean_room + HARD_K, glass)
    ready = (run.core_conversion >= hard[:, None]) & (core <= room_c + COOLED_K)
    release = np.where(ready.any(axis=1), hours[ready.argmax(axis=1)], np.inf)
    every = slice(None, None, 2)
    return Forecast(
        at_h=at_h, limit_c=limit_c, core_peak_c=band(peak), core_peak_at_h=band(peak_at_h),
        hottest_peak_c=band(hot), hottest_peak_at_h=band(hot_at_h), chance_core_over_limit=chance,
        chance_hottest_over_limit=max(chance, float(hot_over.mean())), crosses_limit_at_h=crossing,
        time_left_h=None if crossing is None else max(crossing.p50 - at_h, 0.0),
        release_at_h=band(release) if np.isfinite(release).mean() > 0.95 else None,
        end_conversion=band(run.end_mean_conversion),
        bands=Bands(hours[every], _three(core)[:, every], _three(run.hottest_c + core - run.core_c)[:, every],
                    _three(run.mean_conversion)[:, every]),
        causes=(), doubted=(), members=len(peak), effective_members=float(len(peak)), tempering=1.0,
        peaks_c=peak, state=state,
    )  # fmt: skip


def _missing(state: State, hours: Floats, rise_c: Floats) -> Floats:
    """What a member misses of the probe at hours (M, T) or (1, T): fades from what it misses now to the unknown."""
    left = np.exp(-np.maximum(hours - state.now.hours, 0.0) / state.memory_h)
    unknown = FLOOR_C + PART_OF_RISE["core"] * np.abs(rise_c)
    offset, fading = state.shift[:, :, None]
    return np.asarray(offset + fading * left + unknown * np.sqrt(1.0 - left**2) * state.noise[:, None])


def _first(hours: Floats, values: Floats, level: float) -> Floats:
    """First hour at which each row of values (M, T) reaches the level, inf where it does not."""
    above = values >= level
    at = above.argmax(axis=1)
    before = np.maximum(at - 1, 0)
    rows = np.arange(len(values))
    low, high = values[rows, before], values[rows, at]
    part = np.where(at > 0, (level - low) / np.where(high > low, high - low, 1.0), 1.0)
    when = hours[before] + part * (hours[at] - hours[before])
    return np.where(above.any(axis=1), when, np.inf)


def band(values: Floats) -> Band:
    """5, 50, 95 % of values (M,)."""
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95), method="hazen")
    return Band(float(low), float(middle), float(high))


def _three(values: Floats) -> Floats:
    return np.quantile(values, (0.05, 0.5, 0.95), axis=0)


def _doubted(posterior: Posterior) -> tuple[DoubtedProbe, ...]:
    return tuple(
        DoubtedProbe(name, trust, f"the {name} probe does not fit what the other probes and the plan allow "
                     f"(its misfit is {posterior.misfit[name]:.1f} times the expected)")
        for name, trust in posterior.trust.items() if trust < TRUSTED
    )  # fmt: skip
