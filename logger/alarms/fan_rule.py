"""When a fan runs: a person's word holds until it is given back; else the plan's times, and the forecast. Pure.

The forecast switches a fan on when the core is too hot or will be, and off again only once it would do without: the
chance to pass the limit *without the fan* is small, or the peak is past and the core well below its limit. Judged by
the chance with the fan running, it would stop, and be missed at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from logger.alarms.inputs import ForecastAnswer
from logger.alarms.state import AlarmState
from logger.facts import NOTHING, fact, sentence
from logger.quantities import chance, hours, temperature
from logger.units import HOUR_MS

#: Once on, it runs at least this long: relays and motors wear by switching (the project's choice).
LEAST_RUN_MS = 20 * 60_000
#: Chance over the limit without the fan: below the first it may stop, from the second on it must not.
DOES_WITHOUT, NEEDS_IT = 0.10, 0.50
#: After the peak it may stop once the core is this far below its limit, °C.
COOLED_C = 5.0


class By(StrEnum):
    """Whose word it is."""

    HAND = "hand"
    PLAN = "plan"
    FORECAST = "forecast"


@dataclass(frozen=True, slots=True)
class FanRequest:
    """What plan or forecast asks of the fan. `on` None: it has no reason to change anything."""

    on: bool | None
    by: By
    why: str = NOTHING


@dataclass(frozen=True, slots=True)
class FanNow:
    """The fan as commanded: by whom (None: nobody in particular), and since when (steady ms; None: not known)."""

    on: bool
    by: By | None = None
    since_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Switch:
    """What to command, by whose word and why."""

    on: bool
    by: By | None
    why: str


def planned_request(times_ms: Sequence[tuple[int, int]], now_ms: int) -> FanRequest:
    """Return what the plan's times (from ≤ t < to, ms) ask for."""
    for from_ms, to_ms in times_ms:
        if from_ms <= now_ms < to_ms:
            return FanRequest(True, By.PLAN, fact("fan-planned", time=hours((to_ms - now_ms) / HOUR_MS)))
    return FanRequest(False, By.PLAN, fact("fan-plan-over"))


def forecast_request(
    alarms: Sequence[AlarmState],
    answer: ForecastAnswer | None,
    core_c: float | None,
    limit_c: float,
    started_ms: int,
) -> FanRequest:
    """Return what the forecast asks for.

    `alarms`: those of a core that is too hot or will be; `core_c`: as last believed.
    """
    for state in alarms:
        if state.up and state.out is None:
            return FanRequest(True, By.FORECAST, sentence(state.reason))
    if answer is None:
        return FanRequest(None, By.FORECAST)
    without = answer.chance_without_fan
    if without is not None and without >= NEEDS_IT:
        why = fact("fan-needed", limit=temperature(limit_c, 0), chance=chance(without))
        return FanRequest(True, By.FORECAST, why)
    if without is not None and without < DOES_WITHOUT:
        return FanRequest(False, By.FORECAST, fact("fan-not-needed", limit=temperature(limit_c, 0)))
    made_h = (answer.made_at_ms - started_ms) / HOUR_MS
    past = (
        answer.peak_at_h is not None and answer.peak_at_h.p95 is not None and answer.peak_at_h.p95 <= made_h
    )
    if past and core_c is not None and core_c <= limit_c - COOLED_C:
        return FanRequest(False, By.FORECAST, fact("fan-core-cooled", core=temperature(core_c, 0)))
    return FanRequest(None, By.FORECAST)


def decide(fan: FanNow, requests: Sequence[FanRequest], now_ms: int) -> Switch | None:
    """Return what to command now; None: leave it. `requests`: of every pour that the fan blows on."""
    if fan.by is By.HAND:
        return None
    request = next((one for one in requests if one.on), None)
    if not fan.on:
        return None if request is None else Switch(True, request.by, request.why)
    if request is not None:
        # The same run goes on by another word: an end of the planned time must not look like the plan's own run.
        continued = fan.by is not None and any(one.on and one.by is fan.by for one in requests)
        return None if continued else Switch(True, request.by, request.why)
    # Only the forecast holds what it has begun, or was given, for as long as it does not know better.
    if fan.by is not By.PLAN and any(one.by is By.FORECAST and one.on is None for one in requests):
        return None
    if fan.since_ms is not None and now_ms - fan.since_ms < LEAST_RUN_MS:
        return None
    why = next((one.why for one in requests if one.by is fan.by and one.why), fact("fan-unasked"))
    return Switch(False, None, why)
