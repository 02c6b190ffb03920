"""What the model advises: how deep, in how warm a room, and what a fan or free air below would buy.

Every answer comes from runs of the real solver. Two depths a few millimetres apart can differ by 100 °C in peak,
so nothing is interpolated: an answer is a bracket, the last setting that was run and stayed safe and the first
one that was run and did not. The search walks up from the safe end, and only then halves the gap, so that every
setting tried below the bracket has been seen to be safe.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from logger.cure.glass import field_hours, milestones
from logger.cure.history import time_to
from logger.cure.prediction import Prediction, predict
from logger.cure.solve import Accuracy
from logger.errors import DidNotConverge, OutOfRange
from logger.plan_file import Plan

#: Depths between which the deepest safe layer is looked for, mm, and the width of the bracket.
LEAST_MM, MOST_MM, WITHIN_MM = 5.0, 300.0, 1.0
#: Rooms between which the coolest and warmest are looked for, °C, and the width of the bracket.
COLDEST_C, HOTTEST_C, WITHIN_C = 5.0, 40.0, 0.5
#: A casting that is not hard everywhere by then is not worth starting, h. Five days: the shop's own setting.
READY_H = 120.0
#: Air that a shop fan drives over the top, m/s. Common practice, no source.
FAN_M_S = 2.0
_LONGEST_RUN_H = 240.0
#: The solver's long steps, and its full accuracy.
_WALKING = Accuracy(kelvin=0.1, part_of_rise=3e-3, conversion=1e-3)
_WALKING_CELLS = 0.6
#: An end of the bracket that full accuracy moves more often than this has no bracket.
_MOVES = 8


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
class DeepestLayer:
    """The deepest single layer (mm) whose hottest point stays within limit_c; peaks in °C."""

    bracket: Bracket
    limit_c: float
    datasheet_mm: float | None

    @property
    def depth_mm(self) -> float | None:
        """The depth to pour: the safe end of the bracket, and never more than the datasheet allows."""
        if self.bracket.safe is None or self.datasheet_mm is None:
            return self.bracket.safe
        return min(self.bracket.safe, self.datasheet_mm)

    def message(self) -> str:
        """The answer as a sentence for the maker."""
        found = self.bracket
        if found.safe is None:
            return (
                f"Even {found.not_safe:.0f} mm reaches {found.at_not_safe:.0f} °C, over the limit of "
                f"{self.limit_c:g} °C: this resin is not for casting in this room."
            )
        if found.not_safe is None:
            text = f"Up to {found.safe:.0f} mm, the deepest tried, it stays under {self.limit_c:g} °C."
        else:
            text = (
                f"Deepest safe single layer: {found.safe:.0f} mm (peak {found.at_safe:.0f} °C). "
                f"{found.not_safe:.0f} mm already reaches {found.at_not_safe:.0f} °C; limit {self.limit_c:g} °C."
            )
        if self.datasheet_mm is not None and self.datasheet_mm < found.safe:
            text += f" The datasheet allows {self.datasheet_mm:g} mm: keep to that."
        return text


@dataclass(frozen=True)
class Rooms:
    """The coolest room in which every place is hard within ready_h, and the warmest that keeps the limit.

    The coolest is looked for from the warmest safe one down. coolest: bracket of °C, decided by the hours to hard
    (at_not_safe is None where it never gets hard); warmest: bracket of °C, decided by the peak in °C.
    """

    coolest: Bracket
    warmest: Bracket
    limit_c: float
    ready_h: float

    @property
    def works(self) -> bool:
        """Whether there is a room that is warm enough and not too warm."""
        cool, warm = self.coolest.safe, self.warmest.safe
        return cool is not None and warm is not None and cool <= warm

    def message(self) -> str:
        """The answer as a sentence for the maker."""
        if not self.works:
            return (
                f"No room suits this pour: where it is hard within {self.ready_h:g} h it goes over "
                f"{self.limit_c:g} °C. Pour thinner layers, or take a slower or faster system."
            )
        return (
            f"Works in a room from {self.coolest.safe:.1f} °C (hard everywhere after {self.coolest.at_safe:.0f} h) to "
            f"{self.warmest.safe:.1f} °C (peak {self.warmest.at_safe:.0f} °C, limit {self.limit_c:g} °C)."
        )


@dataclass(frozen=True)
class Gain:
    """What one way of cooling gives: the peak of the planned pour (°C) and the deepest safe layer."""

    way: Literal["still air, closed below", "fan", "free air below", "fan and free air below"]
    peak_c: float
    deepest: DeepestLayer | None


def deepest_safe(
    plan: Plan, *, limit_c: float | None = None, faster: float = 1.0, from_mm: float = LEAST_MM,
    most_mm: float = MOST_MM, within_mm: float = WITHIN_MM, proven: bool = True,
) -> DeepestLayer:  # fmt: skip
    """The deepest single layer of this plan's resin, form and room that stays under the limit.

    limit_c: default, the datasheet's highest core temperature. faster: how many times faster than fitted the
    resin may be (Fit.rate_factor_range). proven: both ends are solved again at full accuracy, which takes most of the
    time; without, they are as the long steps found them. Later layers of the plan are left out.
    Raises OutOfRange, DidNotConverge.
    """
    limit = _limit(plan, limit_c)
    if not 0 < from_mm < most_mm or within_mm <= 0:
        raise OutOfRange("depths", "leave nothing to search", value=(from_mm, most_mm, within_mm),
                         allowed="0 < from_mm < most_mm, within_mm above 0", remedy="give other depths")  # fmt: skip
    single = _faster(plan.model_copy(update={"layer": []}), faster)

    def peak_c(depth_mm: float, full: bool) -> float:
        pour = plan.pour.model_copy(update={"depth_mm": depth_mm})
        return _run(_long_enough(single.model_copy(update={"pour": pour})), full).peak_c

    ladder = [from_mm]
    while ladder[-1] < most_mm:
        ladder.append(min(most_mm, ladder[-1] * 1.4))
    found = _bracket(peak_c, ladder, lambda peak: peak <= limit, within_mm, proven=proven)
    return DeepestLayer(found, limit, plan.resin.limits.max_depth_mm)


def rooms(
    plan: Plan, *, limit_c: float | None = None, ready_h: float = READY_H, faster: float = 1.0
) -> Rooms:
    """The coolest and the warmest constant room in which this pour works.

    faster counts on the warm side only; a mix poured at the room's temperature (no start_c) moves with it.
    Raises OutOfRange, DidNotConverge.
    """
    limit = _limit(plan, limit_c)
    if not ready_h > 0:
        raise OutOfRange("ready_h", "is no time", value=ready_h, allowed="above 0 h", remedy="give hours")

    def in_room(of: Plan, room_c: float) -> Plan:
        return of.model_copy(update={"air": plan.air.model_copy(update={"room_c": room_c})})

    quick = _faster(plan, faster)

    def peak_c(room_c: float, full: bool) -> float:
        return _run(_long_enough(in_room(quick, room_c)), full).peak_c

    def hard_h(room_c: float, full: bool) -> float:
        cool = in_room(plan, room_c)
        found = milestones(cool, _run(cool, full, field_hours(cool)))
        hours = [steps.hard_h for steps in found.places]
        return max(np.inf if h is None else h for h in hours)

    upward = [float(c) for c in np.arange(COLDEST_C, HOTTEST_C + 0.1, 5.0)]
    warmest = _bracket(peak_c, upward, lambda peak: peak <= limit, WITHIN_C)
    # A room warmer than the warmest that is safe helps nobody: the way down begins there.
    top = HOTTEST_C if warmest.safe is None else warmest.safe
    downward = [top, *(c for c in reversed(upward) if c < top)]
    coolest = _bracket(hard_h, downward, lambda hours: hours <= ready_h, WITHIN_C)
    if coolest.at_not_safe is not None and not np.isfinite(coolest.at_not_safe):
        coolest = replace(coolest, at_not_safe=None)
    return Rooms(coolest, warmest, limit, ready_h)


def gains(
    plan: Plan, *, limit_c: float | None = None, faster: float = 1.0, depths: bool = True
) -> list[Gain]:
    """What a fan over the top and free air below buy, against still air with the underside closed.

    Coefficients that the plan gives for a face that is changed are computed instead. depths: also search the
    deepest safe layer of each way. Raises OutOfRange, DidNotConverge.
    """
    ways: list[tuple[Literal["still air, closed below", "fan", "free air below", "fan and free air below"],
                     float, Literal["open", "closed"]]] = [
        ("still air, closed below", 0.0, "closed"), ("fan", FAN_M_S, "closed"),
        ("free air below", 0.0, "open"), ("fan and free air below", FAN_M_S, "open"),
    ]  # fmt: skip
    found: list[Gain] = []
    for way, air_m_s, underside in ways:
        air = plan.air.model_copy(update={"top_air_m_s": air_m_s, "top_w_m2k": None, "bottom_w_m2k": None})
        form = plan.form.model_copy(update={"underside": underside})
        changed = plan.model_copy(update={"air": air, "form": form})
        peak_c = predict(_long_enough(_faster(changed, faster))).peak_c
        deepest = deepest_safe(changed, limit_c=limit_c, faster=faster) if depths else None
        found.append(Gain(way, peak_c, deepest))
    return found


def _run(plan: Plan, full: bool, at_h: Sequence[float] = ()) -> Prediction:
    if full:
        return predict(plan, field_hours=at_h)
    return predict(plan, field_hours=at_h, fineness=_WALKING_CELLS, accuracy=_WALKING)


def _bracket(
    run: Callable[[float, bool], float], ladder: list[float], is_safe: Callable[[float], bool], within: float,
    *, proven: bool = True,
) -> Bracket:  # fmt: skip
    """Walk the ladder from its safe end to the first setting that is not safe, halve the gap, prove both ends.

    run: setting and whether at full accuracy → what decides.
    """
    safe: float | None = None
    not_safe: float | None = None
    for setting in ladder:
        if not is_safe(run(setting, False)):
            not_safe = setting
            break
        safe = setting
    while safe is not None and not_safe is not None and abs(not_safe - safe) > within:
        middle = 0.5 * (safe + not_safe)
        if is_safe(run(middle, False)):
            safe = middle
        else:
            not_safe = middle
    if not proven:
        return Bracket(safe, not_safe, None, None)
    return _proven(run, ladder, is_safe, within, safe, not_safe)


def _proven(
    run: Callable[[float, bool], float], ladder: list[float], is_safe: Callable[[float], bool], within: float,
    safe: float | None, not_safe: float | None,
) -> Bracket:  # fmt: skip
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
        raise DidNotConverge(f"no safe setting was confirmed near {not_safe}; ask again with a wider bracket")
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
        raise DidNotConverge(f"no unsafe setting was confirmed near {safe}; ask again with a wider bracket")
    return Bracket(safe, not_safe, at_safe, at_not_safe)


def _limit(plan: Plan, limit_c: float | None) -> float:
    limit = plan.resin.limits.max_core_c if limit_c is None else limit_c
    warmest = max(c for _, c in plan.room_schedule())
    if not warmest < limit <= 200.0:
        raise OutOfRange("limit_c", "leaves no room for any rise", value=limit,
                         allowed=f"above the room's {warmest:g} °C, at most 200 °C",
                         remedy="take the datasheet's highest core temperature")  # fmt: skip
    return limit


def _faster(plan: Plan, factor: float) -> Plan:
    if not 0.1 <= factor <= 10:
        raise OutOfRange("faster", "is no plausible factor", value=factor, allowed="0.1 to 10",
                         remedy="take the fit's rate_factor_range")  # fmt: skip
    rate = plan.resin.rate
    quick = rate.model_copy(update={"k1_per_s": rate.k1_per_s * factor, "k2_per_s": rate.k2_per_s * factor})
    return plan.model_copy(update={"resin": plan.resin.model_copy(update={"rate": quick})})


def _long_enough(plan: Plan) -> Plan:
    """The plan run far enough to see its peak: to 60 % conversion at the coldest that the room or mix is."""
    coldest = min(c for _, c in plan.room_schedule())
    needed = time_to(0.6, coldest, plan.resin.rate) or _LONGEST_RUN_H
    last = max((layer.at_h for layer in plan.layer), default=0.0)
    hours = min(_LONGEST_RUN_H, max(plan.run.hours, last + 1.2 * needed))
    return plan.model_copy(update={"run": plan.run.model_copy(update={"hours": hours})})
