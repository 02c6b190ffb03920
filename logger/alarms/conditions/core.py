"""Condition of core-unwatched: no believable reading of a core that can still get hotter. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from logger.alarms.band import SLOWER_PART, Expected
from logger.alarms.conditions.equipment import AIR_C, FACES_C, UNBELIEVED, lost_after_ms
from logger.alarms.inputs import AlarmLimits, ForecastAnswer
from logger.alarms.place_facts import at_place
from logger.alarms.signal import ProbeSignal, fresh, hottest
from logger.alarms.state import Observation
from logger.facts import Fact, fact, in_a_row
from logger.quantities import temperature

#: A room this far above the resin's range is no room, °C.
WARM_ROOM_C = 5.0
#: A core that falls faster than this is past its peak, and its underside may lag behind, °C/h.
FALLS_C_H = 2.0
#: No plan's core is past its peak before this, h after pouring: a prediction that it stays cool may be wrong.
LEAST_HEAT_H = 6.0


@dataclass(frozen=True, slots=True)
class CoreStatus:
    """How one core probe of a pour stands.

    `without_ms`: for how long it has given no reading, by its station's newest, `newest_ms`. `doubt`: see
    probe_doubtful. `lost`: what its station has lost, see probe_lost; None when that was not judged.
    """

    signal: ProbeSignal
    without_ms: int
    newest_ms: int
    doubt: Observation
    lost: Observation | None

    @property
    def gone(self) -> bool:
        """Whether it gives no reading at all."""
        return self.without_ms >= lost_after_ms(self.signal)

    @property
    def blind(self) -> bool:
        """Whether none of its readings shows how hot the core is."""
        return self.gone or (self.doubt.active is True and self.doubt.severity >= UNBELIEVED)

    @property
    def reason(self) -> str:
        """Why it is blind."""
        if not self.gone:
            return self.doubt.reason
        lost = None if self.lost is None else self.lost.reason
        return lost or fact("no-reading-from", place=at_place(self.signal.place))


def core_unwatched(cores: Sequence[CoreStatus], heats: bool) -> Observation:
    """Judge whether nobody sees how hot the core gets. Over once it can no longer heat (`heats`)."""
    at_ms = max(core.newest_ms for core in cores)
    late = any(core.signal.late for core in cores)
    credit = max(core.signal.credit_s for core in cores)
    if not heats:
        return Observation(False, at_ms, fact("core-heats-no-more"), late=late, credit_s=credit)
    if not all(core.blind for core in cores):
        return Observation(False, at_ms, fact("core-seen-again"), late=late, credit_s=credit)
    reasons = dict.fromkeys(core.reason for core in cores)
    text = fact("nobody-sees-the-core", why=in_a_row(list(reasons)))
    # That nothing came for so long is no lone bad reading.
    sure = all(core.gone for core in cores)
    return Observation(True, at_ms, text, late=late, sure=sure, credit_s=credit)


def may_heat(hours: float, expected: Expected | None, answer: ForecastAnswer | None) -> bool:
    """Return whether a pour's core may still get hotter: until its peak is past, by the forecast and by the plan.

    A forecast that rests on a wrong core may call the peak past too early, so the plan's must have come as well;
    without a forecast the plan's is waited for a quarter longer.
    """
    planned_h = None if expected is None else max(expected.peak_h, LEAST_HEAT_H)
    foretold = None if answer is None or answer.peak_at_h is None else answer.peak_at_h.p95
    if foretold is not None:
        return foretold > hours or (planned_h is not None and hours < planned_h)
    return planned_h is None or hours < (1 + SLOWER_PART) * planned_h


def misplaced(
    core: ProbeSignal, others: Sequence[ProbeSignal], limits: AlarmLimits, expected_c: float | None
) -> Observation | None:
    """Judge whether a core probe stands where it is cooler: in the air, or in the room's or the underside's place.

    None: nothing suggests it. `expected_c`: the predicted core.
    """
    at_ms, here = core.seen_ms, core.believed_c
    present = fresh(others, at_ms)
    around = {
        base: hottest(t for t in present if t.base == base) for base in ("room", "surface", "underside")
    }
    if here is None:
        return None
    slope = core.slope_c_h()
    if slope is not None and slope < -FALLS_C_H:
        around["underside"] = None
    reason = _hotter_elsewhere(here, around, limits, expected_c) or _in_the_air(here, around, expected_c)
    if reason is None:
        return None
    return Observation(True, at_ms, reason, severity=UNBELIEVED, late=core.late, credit_s=core.credit_s)


def _hotter_elsewhere(
    here: float, around: Mapping[str, float | None], limits: AlarmLimits, expected_c: float | None
) -> Fact | None:
    for place in ("room", "underside"):
        there = around[place]
        if there is not None and there > limits.max_core_c and here < there - FACES_C:
            return fact(
                "core-cooler-than-elsewhere",
                place=at_place(place),
                there=temperature(there),
                here=temperature(here),
            )
    room, warm_c = around["room"], limits.max_room_c + WARM_ROOM_C
    if room is None or expected_c is None or min(room, expected_c) <= warm_c:
        return None
    if here >= min(room, expected_c) - 2 * FACES_C:
        return None
    return fact(
        "core-cooler-than-room",
        room=temperature(room),
        here=temperature(here),
        predicted=temperature(expected_c),
    )


def _in_the_air(here: float, around: Mapping[str, float | None], expected_c: float | None) -> Fact | None:
    room, surface = around["room"], around["surface"]
    if room is None or surface is None or expected_c is None:
        return None
    if surface <= here + FACES_C or abs(here - room) > AIR_C or expected_c <= here + 2 * FACES_C:
        return None
    return fact("core-in-the-air", here=temperature(here), surface=temperature(surface))
