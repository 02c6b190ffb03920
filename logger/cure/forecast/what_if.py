"""What would help: the same members carried on with something done about it now."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from logger.arrays import Floats
from logger.cure.forecast.decision import NOW
from logger.cure.forecast.predictive import Band, MemberState, Outlook, band, roll_forward
from logger.cure.model import heat_transfer
from logger.cure.solver.ensemble import Intervention, RoomHistory
from logger.cure.solver.fans import FAN_M_S, OVER_ROOM_K
from logger.cure.solver.mesh import section_of
from logger.facts import Fact, fact
from logger.plan.file import Plan
from logger.quantities import difference
from logger.quantities import peak as peak_of

#: What the room can be cooled by, K, within an hour (common practice, no source).
COOLER_K, COOLER_AFTER_H = 4.0, 1.0
#: Cooled members peak later than as it is; they are followed for so many times as long.
FOLLOWED = 2.0

FANS, UNDERSIDE, ROOM, SHADE = "fans", "underside open", "cooler room", "shade"


@dataclass(frozen=True)
class WhatIf:
    """The pour if that were done now: peaks °C and the chance to pass the limit."""

    words: Fact
    core_peak_c: Band
    hottest_peak_c: Band
    chance_core_over_limit: float

    def to_json(self) -> dict[str, Any]:
        """Return the same in plain JSON types, rounded."""
        return {
            "words": self.words,
            "core_peak_c": self.core_peak_c.to_json(),
            "hottest_peak_c": self.hottest_peak_c.to_json(),
            "chance_core_over_limit": round(self.chance_core_over_limit, 4),
        }


def what_if(plan: Plan, state: MemberState, as_it_is: Outlook) -> dict[str, WhatIf]:
    """Each remedy's answer, with that of doing nothing first. Raises DidNotConverge.

    state, as_it_is: a forecast's. Members are followed until well past the last of their peaks, no further.
    """
    at_h = state.now.hours
    last_h = float(np.quantile(as_it_is.core_peak_at_h, 0.95))
    until_h = min(state.until_h, at_h + FOLLOWED * max(last_h - at_h, 0.0) + 1.0)
    state = replace(state, until_h=until_h)
    answers = {NOW: as_it_is}
    answers[FANS] = roll_forward(plan, state, more=[fans_on(plan, state)])
    answers[UNDERSIDE] = roll_forward(plan, state, more=[underside_open(plan, state)])
    room = state.room
    ramp = COOLER_K * np.clip((room.hours - at_h) / COOLER_AFTER_H, 0.0, 1.0)
    answers[ROOM] = roll_forward(plan, state, room=RoomHistory(room.hours, room.celsius - ramp))
    heated = [c.absorbed_w_m2 for c in state.done if c.at_h <= at_h and c.absorbed_w_m2 is not None]
    if heated and np.any(heated[-1]):
        shaded = [
            replace(c, absorbed_w_m2=0.0) if c.absorbed_w_m2 is not None and c.at_h > at_h else c
            for c in state.done
        ]
        answers[SHADE] = roll_forward(
            plan, replace(state, done=tuple(shaded)), more=[Intervention(at_h, absorbed_w_m2=0.0)]
        )
    now_c = float(np.median(answers[NOW].core_peak_c))
    limit_c = plan.resin.limits.max_core_c
    return {name: _answer(name, ahead, now_c, limit_c) for name, ahead in answers.items()}


def fans_on(plan: Plan, state: MemberState) -> Intervention:
    """Fans over the surface from now; a member whose surface sheds more already keeps that."""
    at_h = state.now.hours
    if plan.air.top_w_m2k is None:
        air_m_s = max(FAN_M_S, plan.air.top_air_m_s)
        return Intervention(at_h, top_air_m_s=air_m_s, top_factor=_at_least(1.0, state.members.top_factor))
    section = section_of(plan, 0.5)
    room_c = float(np.mean(state.room.celsius))
    fan = float(
        heat_transfer.top_w_m2k(
            room_c + OVER_ROOM_K,
            room_c,
            size_m=section.plate_size_m,
            run_m=section.plate_run_m,
            air_m_s=FAN_M_S,
            emissivity=plan.air.emissivity,
        )
    )
    now = plan.air.top_w_m2k * np.atleast_1d(state.members.top_factor)
    return Intervention(at_h, top_w_m2k=1.0, top_factor=_at_least(fan, now))


def underside_open(plan: Plan, state: MemberState) -> Intervention:
    """Return the form lifted so that air moves freely under it; a member that sheds more already keeps that."""
    at_h = state.now.hours
    if plan.air.bottom_w_m2k is None:
        return Intervention(at_h, underside="open", bottom_factor=_at_least(1.0, state.members.bottom_factor))
    section = section_of(plan, 0.5)
    room_c = float(np.mean(state.room.celsius))
    free = float(
        heat_transfer.underside_w_m2k(
            room_c + OVER_ROOM_K,
            room_c,
            size_m=section.plate_size_m,
            emissivity=plan.air.emissivity,
            closed=False,
        )
    )
    now = plan.air.bottom_w_m2k * np.atleast_1d(state.members.bottom_factor)
    return Intervention(at_h, bottom_w_m2k=1.0, bottom_factor=_at_least(free, now))


def _at_least(least: float, factor: Floats | float) -> Floats:
    return np.asarray(np.maximum(least, np.atleast_1d(factor)))


def _answer(name: str, ahead: Outlook, now_c: float, limit_c: float) -> WhatIf:
    peak = band(ahead.core_peak_c)
    now, then = peak_of(now_c), peak_of(peak.p50)
    words = {
        NOW: fact("what-if-nothing", now=now),
        FANS: fact("what-if-fans", now=now, then=then),
        UNDERSIDE: fact("what-if-underside", now=now, then=then),
        ROOM: fact("what-if-room", cooler=difference(COOLER_K, 0), now=now, then=then),
        SHADE: fact("what-if-shade", now=now, then=then),
    }[name]
    return WhatIf(words, peak, band(ahead.hottest_peak_c), ahead.chance_over(limit_c))
