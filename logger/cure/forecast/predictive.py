"""Members carried on from now: what each makes of the hours to come, and the bands of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats
from logger.cure.forecast.likelihood import FLOOR_C, OFFSET_C, PART_OF_RISE
from logger.cure.forecast.observation_model import FINENESS
from logger.cure.model.crossing import first_crossings
from logger.cure.model.diffusion import conversion_at_tg
from logger.cure.solver.ensemble import (
    Checkpoint,
    EnsembleRun,
    Intervention,
    Members,
    RoomHistory,
    run_ensemble,
)
from logger.cure.solver.hardness import COOLED_K, HARD_K
from logger.cure.solver.march import Accuracy, Resolution
from logger.plan.file import Plan

#: Points over the hours to come.
POINTS = 240
QUANTILES = (0.05, 0.5, 0.95)
#: Looser than a prediction: peaks of members are within 0.5 K of it, their mean within 0.05 K, in half the time.
ACCURACY = Accuracy(kelvin=0.3, part_of_rise=0.01, conversion=0.003, rebuild_part=0.25)
NAMES = ("p05", "p50", "p95")
#: A reading tells which way a pour goes when it does so in this part of the cases.
CLEAR_PART = 0.9


@dataclass(frozen=True)
class Band:
    """5, 50 and 95 % of a quantity."""

    p05: float
    p50: float
    p95: float

    def to_json(self) -> dict[str, float]:
        """Return the same, rounded to what a probe can tell."""
        return {"p05": round(self.p05, 3), "p50": round(self.p50, 3), "p95": round(self.p95, 3)}


@dataclass(frozen=True)
class Moment:
    """5, 50, 95 % of the hour at which something happens; None where it does not happen within within_h hours.

    chance: the part of the members in which it does.
    """

    p05: float | None
    p50: float | None
    p95: float | None
    within_h: float
    chance: float

    def to_json(self) -> dict[str, float | None]:
        """Return the same, rounded as a Band; null stands for "not within within_h"."""
        hours = {name: getattr(self, name) for name in NAMES}
        rounded = {name: None if hour is None else round(hour, 3) for name, hour in hours.items()}
        return rounded | {"within_h": round(self.within_h, 3), "chance": round(self.chance, 4)}


@dataclass(frozen=True)
class QuantileCurves:
    """For drawing: hours (T,), and of °C and mean conversion 5 %, the middle member's course, and 95 % (3, T)."""

    hours: Floats
    core_c: Floats
    hottest_c: Floats
    mean_conversion: Floats

    def to_json(self) -> dict[str, Any]:
        """Plain lists."""
        out: dict[str, Any] = {"hours": [round(h, 4) for h in self.hours.tolist()]}
        for name, digits in (("core_c", 2), ("hottest_c", 2), ("mean_conversion", 4)):
            rows = getattr(self, name).tolist()
            out[name] = {p: [round(v, digits) for v in row] for p, row in zip(NAMES, rows, strict=True)}
        return out


@dataclass(frozen=True)
class MemberState:
    """The members now: what a what-if goes on from.

    shift (2, M): what each still misses of the core probe: its offset, and what fades over
    memory_h. noise (M,): each member's share of what is never known. done: what was and will be done to the pour.
    past_peak: the highest that the core probe has read, and when.
    """

    members: Members
    now: Checkpoint
    room: RoomHistory
    until_h: float
    shift: Floats
    memory_h: float
    noise: Floats
    done: tuple[Intervention, ...]
    past_peak_c: float
    past_peak_at_h: float


@dataclass(frozen=True)
class Outlook:
    """What each member makes of it: (M,) peaks °C and hours, hours of crossing the limit, of release and of the
    earliest gel at the core (inf: never; the present hour: it has gelled),
    conversion at the end; by when the readings tell whether the limit is passed (clear_in); bands to draw."""

    core_peak_c: Floats
    core_peak_at_h: Floats
    hottest_peak_c: Floats
    hottest_peak_at_h: Floats
    crosses_at_h: Floats
    release_at_h: Floats
    gel_at_h: Floats
    end_conversion: Floats
    clear_at_h: float | None
    bands: QuantileCurves

    def chance_over(self, limit_c: float) -> float:
        """Part of the members whose core passes the limit."""
        return float(np.mean(self.core_peak_c > limit_c))


def roll_forward(
    plan: Plan, state: MemberState, *, more: Sequence[Intervention] = (), room: RoomHistory | None = None
) -> Outlook:
    """Every member from now to the end of the plan. more: what would be done besides. room: another room."""
    at_h, until_h = state.now.hours, state.until_h
    room = room or state.room
    hours = np.linspace(at_h, until_h, POINTS)
    run = run_ensemble(
        plan,
        state.members,
        EnsembleRun(hours=until_h, output_hours=hours, resolution=Resolution(FINENESS, ACCURACY)),
        room=room,
        changes=[*state.done, *more],
        start=state.now,
    )
    limit_c = plan.resin.limits.max_core_c
    room_c = np.stack([np.interp(hours, room.hours, row) for row in room.celsius])
    core = run.core_c + _missing(state, hours[None, :], run.core_c - room_c)
    mean_room = room_c.mean(axis=1)
    peak_at_h = run.core_peak_at_h
    rise = (run.core_peak_c - mean_room)[:, None]
    peak = run.core_peak_c + _missing(state, peak_at_h[:, None], rise)[:, 0]
    gone = peak < state.past_peak_c
    hot = run.hottest_peak_c + (peak - run.core_peak_c)
    # What the probe reads and what is true differ by its offset: the band is to hold for both.
    peak = np.where(gone, state.past_peak_c, peak) + OFFSET_C * state.noise
    hard = conversion_at_tg(mean_room + HARD_K, plan.resin.glass)
    ready = (run.core_conversion >= hard[:, None]) & (core <= room_c + COOLED_K)
    middle = middle_member(peak)
    return Outlook(
        core_peak_c=peak,
        core_peak_at_h=np.where(gone, state.past_peak_at_h, peak_at_h),
        hottest_peak_c=np.where(gone, np.maximum(hot, peak), hot),
        hottest_peak_at_h=np.where(gone, state.past_peak_at_h, run.hottest_peak_at_h),
        crosses_at_h=first_crossings(hours, core, limit_c),
        release_at_h=np.where(ready.any(axis=1), hours[ready.argmax(axis=1)], np.inf),
        gel_at_h=np.where(np.isnan(run.gel_at_h), np.inf, run.gel_at_h),
        end_conversion=run.end_mean_conversion,
        clear_at_h=clear_in(hours, core, peak > limit_c),
        bands=_curves(
            hours,
            (core, run.hottest_c + core - run.core_c, run.mean_conversion),
            middle,
            None if gone[middle] else (float(peak_at_h[middle]), float(peak[middle])),
        ),
    )


def _missing(state: MemberState, hours: Floats, rise_c: Floats) -> Floats:
    """Return what a member misses of the probe at hours (M, T) or (1, T): fades from what it misses now to the
    unknown.
    """
    left = np.exp(-np.maximum(hours - state.now.hours, 0.0) / state.memory_h)
    unknown = FLOOR_C + PART_OF_RISE["core"] * np.abs(rise_c)
    offset, fading = state.shift[:, :, None]
    return np.asarray(offset + fading * left + unknown * np.sqrt(1.0 - left**2) * state.noise[:, None])


def clear_in(hours: Floats, core_c: Floats, over: NDArray[np.bool_]) -> float | None:
    """Return by which of the hours (T,) the core's reading alone tells members that pass the limit, over (M,), from
    those that do not; core_c (M, T). None where all or none of them pass it, or no reading ever tells.

    A reading tells when in CLEAR_PART of all pairs the one that passes is hotter by more than a probe may be off: the
    area under the receiver operating characteristic, by its pairs (Mann and Whitney 1947: U over the product of the
    counts, closed form).
    """
    if over.all() or not over.any():
        return None
    apart = core_c[over][:, None, :] - core_c[~over][None, :, :]
    tells = (apart > OFFSET_C).mean(axis=(0, 1)) >= CLEAR_PART
    return float(hours[tells.argmax()]) if tells.any() else None


def band(values: Floats) -> Band:
    """5, 50, 95 % of values (M,)."""
    low, middle, high = np.quantile(values, QUANTILES, method="hazen")
    return Band(float(low), float(middle), float(high))


def moment(hours: Floats, within_h: float) -> Moment:
    """5, 50, 95 % of hours (M,), inf in the members in which it does not happen within within_h.

    The quantiles are a band's; one that leans on such a member is None, not a number between an hour and never.
    """
    ordered, last = np.sort(hours), len(hours) - 1

    def of(quantile: float) -> float | None:
        at = min(max(quantile * len(hours) - 0.5, 0.0), last)  # Hazen's place, as in band()
        low, high = ordered[int(np.floor(at))], ordered[int(np.ceil(at))]
        return float(low + (at % 1.0) * (high - low)) if np.isfinite(high) else None

    low, middle, high = map(of, QUANTILES)
    return Moment(low, middle, high, within_h, float(np.isfinite(hours).mean()))


def middle_member(peak_c: Floats) -> int:
    """Return the member whose peak (M,) is nearest to the median of them: the course to draw."""
    return int(np.argmin(np.abs(peak_c - np.median(peak_c))))


def _curves(
    hours: Floats, courses: tuple[Floats, ...], middle: int, peak: tuple[float, float] | None
) -> QuantileCurves:
    """Return what to draw: 5 and 95 % of all courses (M, T), and between them the course of the middle member.

    The median of each hour would be lower than every peak where peaks come at different hours, and contradict the
    number beside it. peak: hour and °C of the middle member's, put in where it falls between two points.
    """
    drawn_h = hours[::2]
    if peak is not None and drawn_h[0] < peak[0] < drawn_h[-1]:
        drawn_h = np.unique(np.append(drawn_h, peak[0]))
    core_c, hottest_c, conversion = (
        np.stack([np.interp(drawn_h, hours, row) for row in _three(values, middle)]) for values in courses
    )
    if peak is not None:
        at = int(np.argmin(np.abs(drawn_h - peak[0])))
        if abs(drawn_h[at] - peak[0]) < 1e-9:
            hottest_c[1, at] += max(peak[1] - core_c[1, at], 0.0)
            core_c[1, at] = max(core_c[1, at], peak[1])
    return QuantileCurves(drawn_h, core_c, hottest_c, conversion)


def _three(values: Floats, middle: int) -> Floats:
    low, high = np.quantile(values, (QUANTILES[0], QUANTILES[-1]), axis=0)
    return np.stack([low, values[middle], high])
