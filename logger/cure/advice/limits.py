"""What the model advises: how deep, in how warm a room, and what a fan or free air below would buy.

Every answer comes from runs of the real solver. Two depths a few millimetres apart can differ by 100 °C in peak,
so nothing is interpolated: an answer is a bracket, the last setting that was run and stayed safe and the first
one that was run and did not. The search walks up from the safe end, and only then halves the gap, so that every
setting tried below the bracket has been seen to be safe.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np

from logger import extremes
from logger.cure.solver.fans import FAN_M_S
from logger.cure.solver.hardness import field_hours, milestones
from logger.cure.solver.prediction import coarse_peak_c, long_enough, predict, predict_coarsely, proven_peak_c
from logger.errors import DidNotConverge, OutOfRange
from logger.facts import NOTHING, Fact, Quantity, Value, fact
from logger.plan.file import Plan
from logger.quantities import (
    at_most,
    chance,
    difference,
    hours_alone,
    length,
    peak,
    quantity,
    temperature,
    whole_hours,
)

#: No single layer is looked for that is deeper, mm.
MOST_MM = 300.0
#: Rooms between which the coolest and warmest are looked for, °C, in halves of a degree.
COLDEST_C, HOTTEST_C, WITHIN_C = 5.0, 40.0, 0.5
#: A casting that is not hard everywhere by then is not worth starting, h. Five days: the shop's own setting.
READY_H = 120.0
#: A search by long steps leaves so much under the limit for what full accuracy adds, K.
MARGIN_K = 0.5
#: What a plan is taken to reach, °C: its own peak by the solver, or, where a search is to hold by chance, the peak that
#: so many of the cases stay under that the chance to pass the limit is the one asked for.
Reaches = Callable[[Plan], float]
#: An end of the bracket that full accuracy moves more often than this has no bracket.
_MOVES = 8
#: Peaks further over the limit than this say nothing about where it is passed, K.
_FAR_K = 20.0


@dataclass(frozen=True)
class Bracket:
    """The last setting that stayed safe and the first that did not, with what decided it for each.

    safe: None when even the first setting tried is not safe; not_safe: None when every setting tried is.
    """

    safe: float | None
    not_safe: float | None
    at_safe: float | None
    at_not_safe: float | None


@dataclass(frozen=True)
class Depths:
    """The depths among which the deepest safe layer is looked for, mm.

    Those that are tried are multiples of step_mm, so that a depth that is printed is one that was solved.
    """

    from_mm: float = 1.0
    most_mm: float = MOST_MM
    step_mm: float = 1.0

    def ladder(self) -> list[float]:
        """Return the depths that a search walks up, mm, each 40 % deeper. Raises OutOfRange."""
        if not 0 < self.from_mm < self.most_mm or self.step_mm <= 0:
            raise OutOfRange(
                "depths",
                fact("no-depths-to-search"),
                value=(self.from_mm, self.most_mm, self.step_mm),
                allowed=fact("rising-depths"),
                remedy=fact("give-other-depths"),
            )
        ladder = [self._on_grid(self.from_mm)]
        while ladder[-1] < self.most_mm:
            rung = max(ladder[-1] + self.step_mm, self._on_grid(ladder[-1] * 1.4))
            ladder.append(min(self._on_grid(self.most_mm), rung))
        return ladder

    def _on_grid(self, depth_mm: float) -> float:
        return self.step_mm * max(1, math.ceil(depth_mm / self.step_mm - 1e-9))


ALL_DEPTHS = Depths()


@dataclass(frozen=True)
class DeepestLayer:
    """The deepest single layer (mm) whose hottest point stays within limit_c; peaks in °C.

    chance: that it passes the limit all the same is below this; None where the plan is solved as it is.
    """

    bracket: Bracket
    limit_c: float
    datasheet_mm: float | None
    chance: float | None = None

    @property
    def depth_mm(self) -> float | None:
        """The depth to pour: the safe end of the bracket, and never more than the datasheet allows."""
        if self.bracket.safe is None or self.datasheet_mm is None:
            return self.bracket.safe
        return min(self.bracket.safe, self.datasheet_mm)

    def message(self) -> Fact:
        """Return the answer as a sentence for the maker."""
        bracket, limit = self.bracket, temperature(self.limit_c, None)
        over = None if bracket.not_safe is None else length(bracket.not_safe, None)
        if bracket.safe is None:
            assert over is not None  # a search tries one depth at least
            if self.chance is not None:
                return fact("no-depth-at-chance", depth=over, chance=chance(self.chance), limit=limit)
            return fact("no-safe-depth", depth=over, peak=_over(bracket.at_not_safe), limit=limit)
        safe, sheet = at_most(length(bracket.safe, None)), NOTHING
        if self.datasheet_mm is not None and self.datasheet_mm < bracket.safe:
            sheet = fact("keep-to-sheet-depth", depth=at_most(length(self.datasheet_mm, None)))
        if over is None:
            return fact("every-depth-safe", depth=safe, limit=limit, sheet=sheet)
        if self.chance is not None:
            return fact(
                "deepest-at-chance",
                depth=safe,
                chance=chance(self.chance),
                limit=limit,
                deeper=over,
                sheet=sheet,
            )
        return fact(
            "deepest-safe",
            depth=safe,
            peak=temperature(bracket.at_safe or 0.0),
            deeper=over,
            reached=_over(bracket.at_not_safe),
            limit=limit,
            sheet=sheet,
        )


@dataclass(frozen=True)
class Rooms:
    """The coolest room in which every place is hard within ready_h, and the warmest that keeps the limit.

    The coolest is looked for from the warmest safe one down. coolest: bracket of °C, decided by the hours to hard
    (at_not_safe is None where it never gets hard); warmest: bracket of °C, decided by the peak in °C. chance: as in
    DeepestLayer.
    """

    coolest: Bracket
    warmest: Bracket
    limit_c: float
    ready_h: float
    chance: float | None = None

    @property
    def works(self) -> bool:
        """Whether there is a room that is warm enough and not too warm."""
        cool, warm = self.coolest.safe, self.warmest.safe
        return cool is not None and warm is not None and cool <= warm

    def message(self) -> Fact:
        """Return the answer as a sentence for the maker."""
        limit = temperature(self.limit_c, None)
        cool, warm = self.coolest, self.warmest
        if cool.safe is None or warm.safe is None or not self.works:
            return fact("no-room-suits", within=hours_alone(self.ready_h), limit=limit)
        rooms: dict[str, Value] = {
            "coolest": temperature(cool.safe),
            "tried_cool": fact("coolest-tried") if cool.not_safe is None else NOTHING,
            "hard": whole_hours(cool.at_safe or 0.0),
            "warmest": temperature(warm.safe),
            "tried_warm": fact("warmest-tried") if warm.not_safe is None else NOTHING,
            "limit": limit,
        }
        if self.chance is not None:
            return fact("rooms-at-chance", **rooms, chance=chance(self.chance))
        return fact("rooms-that-work", **rooms, peak=temperature(warm.at_safe or 0.0))


@dataclass(frozen=True)
class Gain:
    """What one way of cooling gives: the peak of the planned pour (°C) and the deepest safe layer."""

    way: Literal["still air, closed below", "fan", "free air below", "fan and free air below"]
    peak_c: float
    deepest: DeepestLayer | None


@dataclass(frozen=True)
class Remedy:
    """One change that brings a plan that gets too hot under its limit: in words, and the peak with it, °C."""

    words: Fact
    peak_c: float


def in_allowed_room(plan: Plan) -> tuple[Plan, str]:
    """Return the plan in a room that the datasheet allows, and that room; NOTHING where it is the plan's own."""
    limits, schedule = plan.resin.limits, plan.room_schedule()
    coldest, warmest = min(c for _, c in schedule), max(c for _, c in schedule)
    if limits.min_room_c <= coldest and warmest <= limits.max_room_c:
        return plan, NOTHING
    room = [(h, min(max(c, limits.min_room_c), limits.max_room_c)) for h, c in schedule]
    least, most = temperature(limits.min_room_c, None), temperature(limits.max_room_c, None)
    if warmest <= limits.max_room_c:
        asked = fact("room-at-least", least=least)
    elif coldest >= limits.min_room_c:
        asked = fact("room-at-most", most=most)
    else:
        asked = fact("room-between", least=least, most=most)
    air = plan.air.model_copy(update={"room_c": room})
    return plan.model_copy(update={"air": air}), fact("in-sheet-room", room=asked)


def single_layer(plan: Plan, depth_mm: float) -> Plan:
    """Return the plan poured as one layer of that depth."""
    pour = plan.pour.model_copy(update={"depth_mm": depth_mm})
    return plan.model_copy(update={"layer": [], "pour": pour})


def deepest_safe(
    plan: Plan,
    *,
    limit_c: float | None = None,
    faster: float = 1.0,
    depths: Depths = ALL_DEPTHS,
    peaks: bool = True,
    reaches: Reaches | None = None,
    chance: float | None = None,
) -> DeepestLayer:
    """Return the deepest single layer of this plan's resin, form and room that stays under the limit.

    limit_c: default, the datasheet's highest core temperature. faster: how many times faster than fitted the
    resin may be (Fit.rate_factor_range). Both ends are proven at full accuracy: `plan` and `advise` ask this one
    search and have one answer. Later layers of the plan are left out. peaks: whether the peaks at both ends are
    asked for, and so solved to their last digit; the depths are the same. reaches, chance: what a depth is taken to
    reach, and the chance that this leaves to pass the limit; default, the peak of the plan as it is. Raises OutOfRange,
    DidNotConverge.
    """
    limit, ladder = _limit(plan, limit_c), depths.ladder()
    quick = faster_resin(plan, faster)
    by_chance = None if reaches is None else cache(lambda depth_mm: reaches(single_layer(quick, depth_mm)))

    def peak_c(depth_mm: float, full: bool) -> float:
        if by_chance is not None:
            return by_chance(depth_mm)
        single = long_enough(single_layer(quick, depth_mm))
        if full:
            return predict(single).peak_c if peaks else proven_peak_c(single, limit)
        return coarse_peak_c(single, limit + _FAR_K)

    # Most answers lie around what the datasheet allows or half of what was planned: the walk begins there.
    guess = min(plan.resin.limits.max_depth_mm or MOST_MM, 0.5 * plan.pour.depth_mm)
    begin = sum(rung <= guess for rung in ladder) - 1
    bracket = _bracket(
        peak_c, ladder, lambda peak: peak <= limit, depths.step_mm, begin=max(begin, 0), limit=limit
    )
    return DeepestLayer(bracket, limit, plan.resin.limits.max_depth_mm, chance)


def remedy(plan: Plan, peak_c: float, reaches: Reaches | None = None) -> Remedy | None:
    """Return the first of a few changes that brings a plan that is too hot under its limit, proven at full accuracy:
    free air below, a fan, both, a cooler room. None where none does; a runaway is not asked about. reaches: as in
    deepest_safe. Raises DidNotConverge.
    """
    limit = plan.resin.limits.max_core_c
    holds = _held_at(limit, reaches)
    if extremes.is_runaway(peak_c):
        return None
    opened = plan.model_copy(
        update={
            "form": plan.form.model_copy(update={"underside": "open"}),
            "air": plan.air.model_copy(update={"bottom_w_m2k": None}),
        }
    )
    tries: list[tuple[Fact, Plan]] = []
    if plan.form.underside != "open" and plan.air.bottom_w_m2k is None:
        tries.append((fact("remedy-free-air"), opened))
    if plan.air.top_air_m_s < FAN_M_S and not plan.fan:
        air = quantity(FAN_M_S, "m/s", None)
        tries.append((fact("remedy-fan", air=air), _fanned(plan)))
        tries += [(fact("remedy-fan-and-free-air", air=air), _fanned(opened))] if tries[1:] else []
    for words, changed in tries:
        asked = long_enough(changed)
        if holds(asked) and (prediction := predict(asked).peak_c) <= limit:
            return Remedy(words, prediction)
    return _cooler_room(plan, limit, holds)


def _held_at(limit: float, reaches: Reaches | None) -> Callable[[Plan], bool]:
    """Return what tells a search whether a plan keeps the limit."""
    if reaches is None:
        return lambda plan: coarse_peak_c(plan, limit) <= limit - MARGIN_K
    return lambda plan: reaches(plan) <= limit


def _cooler_room(plan: Plan, limit: float, holds: Callable[[Plan], bool]) -> Remedy | None:
    """Return the least cooling of the room, in whole kelvins, that keeps the limit; not below what the datasheet
    allows.
    """
    room = plan.room_schedule()
    coldest = min(c for _, c in room)

    def cooled(down: int) -> Plan:
        cooler = [(h, c - down) for h, c in room]
        air = plan.air.model_copy(update={"room_c": cooler if len(room) > 1 else cooler[0][1]})
        return long_enough(plan.model_copy(update={"air": air}))

    lowered_k = math.floor(coldest - plan.resin.limits.min_room_c)
    if lowered_k < 1 or not holds(cooled(lowered_k)):
        return None
    too_little_k = 0
    while lowered_k - too_little_k > 1:
        middle = (lowered_k + too_little_k) // 2
        if holds(cooled(middle)):
            lowered_k = middle
        else:
            too_little_k = middle
    peak_c = predict(cooled(lowered_k)).peak_c
    words = (
        fact("remedy-room", room=temperature(coldest - lowered_k, None))
        if len(room) == 1
        else fact("remedy-cooler-room", cooler=difference(lowered_k, 0))
    )
    return Remedy(words, peak_c) if peak_c <= limit else None


def _fanned(plan: Plan) -> Plan:
    return plan.model_copy(
        update={"air": plan.air.model_copy(update={"top_air_m_s": FAN_M_S, "top_w_m2k": None})}
    )


def rooms(
    plan: Plan,
    *,
    limit_c: float | None = None,
    ready_h: float = READY_H,
    faster: float = 1.0,
    reaches: Reaches | None = None,
    chance: float | None = None,
) -> Rooms:
    """Return the coolest and the warmest constant room in which this pour works.

    faster counts on the warm side only; a mix poured at the room's temperature (no start_c) moves with it. reaches,
    chance: as in deepest_safe. Raises OutOfRange, DidNotConverge.
    """
    limit = _limit(plan, limit_c)
    if not ready_h > 0:
        raise OutOfRange(
            "ready_h",
            fact("is-no-time"),
            value=ready_h,
            allowed=fact("above-no-time"),
            remedy=fact("give-hours"),
        )

    def in_room(of: Plan, room_c: float) -> Plan:
        return of.model_copy(update={"air": plan.air.model_copy(update={"room_c": room_c})})

    quick = faster_resin(plan, faster)
    by_chance = None if reaches is None else cache(lambda room_c: reaches(in_room(quick, room_c)))

    def peak_c(room_c: float, full: bool) -> float:
        if by_chance is not None:
            return by_chance(room_c)
        asked = long_enough(in_room(quick, room_c))
        return predict(asked).peak_c if full else coarse_peak_c(asked, limit)

    def hard_h(room_c: float, full: bool) -> float:
        cool = in_room(plan, room_c)
        at_h = field_hours(cool)
        hardening = milestones(
            cool, predict(cool, field_hours=at_h) if full else predict_coarsely(cool, at_h)
        )
        hours = [steps.hard_h for steps in hardening.places]
        return max(np.inf if h is None else h for h in hours)

    upward = [float(c) for c in np.arange(COLDEST_C, HOTTEST_C + 0.1, 5.0)]
    warmest = _bracket(peak_c, upward, lambda peak: peak <= limit, WITHIN_C)
    # A room warmer than the warmest that is safe helps nobody: the way down begins there.
    top = HOTTEST_C if warmest.safe is None else warmest.safe
    downward = [top, *(c for c in reversed(upward) if c < top)]
    coolest = _bracket(hard_h, downward, lambda hours: hours <= ready_h, WITHIN_C)
    if coolest.at_not_safe is not None and not np.isfinite(coolest.at_not_safe):
        coolest = replace(coolest, at_not_safe=None)
    return Rooms(coolest, warmest, limit, ready_h, chance)


def gains(
    plan: Plan,
    *,
    limit_c: float | None = None,
    faster: float = 1.0,
    depths: bool = True,
    reaches: Reaches | None = None,
    chance: float | None = None,
) -> list[Gain]:
    """Return what a fan over the top and free air below buy, against still air with the underside closed.

    Coefficients that the plan gives for a face that is changed are computed instead. depths: also search the
    deepest safe layer of each way. reaches, chance: as in deepest_safe. Raises OutOfRange, DidNotConverge.
    """
    ways: list[
        tuple[
            Literal["still air, closed below", "fan", "free air below", "fan and free air below"],
            float,
            Literal["open", "closed"],
        ]
    ] = [
        ("still air, closed below", 0.0, "closed"),
        ("fan", FAN_M_S, "closed"),
        ("free air below", 0.0, "open"),
        ("fan and free air below", FAN_M_S, "open"),
    ]
    answers: list[Gain] = []
    for way, air_m_s, underside in ways:
        air = plan.air.model_copy(update={"top_air_m_s": air_m_s, "top_w_m2k": None, "bottom_w_m2k": None})
        form = plan.form.model_copy(update={"underside": underside})
        changed = plan.model_copy(update={"air": air, "form": form})
        peak_c = predict(long_enough(faster_resin(changed, faster))).peak_c
        deepest = None
        if depths:
            deepest = deepest_safe(
                changed, limit_c=limit_c, faster=faster, peaks=False, reaches=reaches, chance=chance
            )
        answers.append(Gain(way, peak_c, deepest))
    return answers


def _over(peak_c: float | None) -> Quantity | Fact:
    """Return a peak that passed the limit, never rounded down to it."""
    above = 0.0 if peak_c is None else math.ceil(10.0 * peak_c - 1e-6) / 10.0
    return peak(above, 1)


def _bracket(
    run: Callable[[float, bool], float],
    ladder: list[float],
    is_safe: Callable[[float], bool],
    within: float,
    *,
    begin: int = 0,
    limit: float | None = None,
) -> Bracket:
    """Walk the ladder from its safe end to the first setting that is not safe, narrow the gap, prove both ends.

    run: setting and whether at full accuracy → what decides. Ladder and answers are multiples of `within`. begin: the
    rung at which the walk begins; where that is not safe it goes down first. limit: where given, a peak's: the gap is
    cut where a straight line passes it, else in the middle.
    """
    results: dict[float, float] = {}

    def at(setting: float) -> float:
        if setting not in results:
            results[setting] = run(setting, False)
        return results[setting]

    while begin > 0 and not is_safe(at(ladder[begin])):
        begin -= 1
    safe: float | None = None
    not_safe: float | None = None
    for setting in ladder[begin:]:
        if not is_safe(at(setting)):
            not_safe = setting
            break
        safe = setting
    halve = False
    while safe is not None and not_safe is not None and abs(not_safe - safe) > 1.5 * within:
        part = 0.5
        if limit is not None and not halve:
            low, high = limit - at(safe), min(at(not_safe) - limit, _FAR_K)
            part = low / max(low + high, 1e-9)
        steps = round(abs(not_safe - safe) / within)
        cut = min(max(math.floor(part * steps), 1), steps - 1)
        setting = safe + math.copysign(within * cut, not_safe - safe)
        # A line that cuts off little says little: the next cut is in the middle.
        halve = not halve and not 0.25 < cut / steps < 0.75
        if is_safe(at(setting)):
            safe = setting
        else:
            not_safe = setting
    return _proven(run, ladder, is_safe, within, safe, not_safe)


def _proven(
    run: Callable[[float, bool], float],
    ladder: list[float],
    is_safe: Callable[[float], bool],
    within: float,
    safe: float | None,
    not_safe: float | None,
) -> Bracket:
    """Both ends at full accuracy; an end that turns out to be on the other side becomes the other end."""
    onward = within if ladder[-1] > ladder[0] else -within
    at_safe = at_not_safe = None
    for _ in range(_MOVES):
        if safe is None:
            break
        at_safe = run(safe, True)
        if is_safe(at_safe):
            break
        not_safe, at_not_safe = safe, at_safe
        back = safe - onward
        safe = at_safe = None
        if (back - ladder[0]) * onward >= 0:
            safe = back
    else:
        raise DidNotConverge(fact("nothing-safe-confirmed", setting=_setting(not_safe)))
    for _ in range(_MOVES):
        if not_safe is None:
            break
        if at_not_safe is None:
            at_not_safe = run(not_safe, True)
        if not is_safe(at_not_safe):
            break
        safe, at_safe = not_safe, at_not_safe
        ahead = not_safe + onward
        at_not_safe = None
        not_safe = ahead if (ladder[-1] - ahead) * onward >= 0 else None
    else:
        raise DidNotConverge(fact("nothing-unsafe-confirmed", setting=_setting(safe)))
    return Bracket(safe, not_safe, at_safe, at_not_safe)


def _setting(setting: float | None) -> Quantity:
    return quantity(math.nan if setting is None else setting, "", None)


def _limit(plan: Plan, limit_c: float | None) -> float:
    limit = plan.resin.limits.max_core_c if limit_c is None else limit_c
    warmest = max(c for _, c in plan.room_schedule())
    if not warmest < limit <= 200.0:
        raise OutOfRange(
            "limit_c",
            fact("leaves-no-rise"),
            value=limit,
            allowed=fact("limit-above-room", room=temperature(warmest, None), most=temperature(200.0, 0)),
            remedy=fact("take-highest-core"),
        )
    return limit


def faster_resin(plan: Plan, factor: float) -> Plan:
    """Return the plan with a resin that cures so many times faster. Raises OutOfRange."""
    if not 0.1 <= factor <= 10:
        raise OutOfRange(
            "faster",
            fact("is-no-plausible-factor"),
            value=factor,
            allowed=fact("range", low=quantity(0.1, "", None), high=quantity(10.0, "", None)),
            remedy=fact("take-rate-factor-range"),
        )
    rate = plan.resin.rate
    quick = rate.model_copy(update={"k1_per_s": rate.k1_per_s * factor, "k2_per_s": rate.k2_per_s * factor})
    return plan.model_copy(update={"resin": plan.resin.model_copy(update={"rate": quick})})
