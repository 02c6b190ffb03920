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
from logger.quantities import temperature
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
class Want:
    """What one side wants of the fan. `on` None: it has no reason to change anything."""

    on: bool | None
    by: By
    why: str = ""


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


def planned_want(times_ms: Sequence[tuple[int, int]], now_ms: int) -> Want:
    """Return what the plan's times (from ≤ t < to) want."""
    for from_ms, to_ms in times_ms:
        if from_ms <= now_ms < to_ms:
            return Want(True, By.PLAN, f"planned for {(to_ms - now_ms) / 3.6e6:.1f} h from now on")
    return Want(False, By.PLAN, "its planned time is over")


def forecast_want(
    alarms: Sequence[AlarmState],
    answer: ForecastAnswer | None,
    core_c: float | None,
    limit_c: float,
    started_ms: int,
) -> Want:
    """Return what the forecast wants. `alarms`: those of a core that is too hot or will be; `core_c`: as last
    believed.
    """
    for state in alarms:
        if state.up and state.out is None:
            return Want(True, By.FORECAST, state.reason)
    if answer is None:
        return Want(None, By.FORECAST)
    without = answer.chance_without_fan
    if without is not None and without >= NEEDS_IT:
        why = (
            f"without it the core would probably pass {temperature(limit_c, 0)}: chance {without * 100:.0f} %"
        )
        return Want(True, By.FORECAST, why)
    if without is not None and without < DOES_WITHOUT:
        return Want(False, By.FORECAST, f"the core stays below {temperature(limit_c, 0)} without it, too")
    hours = (answer.made_at_ms - started_ms) / HOUR_MS
    past = answer.peak_at_h is not None and answer.peak_at_h.p95 is not None and answer.peak_at_h.p95 <= hours
    if past and core_c is not None and core_c <= limit_c - COOLED_C:
        return Want(False, By.FORECAST, f"the peak is past and the core is at {temperature(core_c, 0)}")
    return Want(None, By.FORECAST)


def decide(fan: FanNow, wants: Sequence[Want], now_ms: int) -> Switch | None:
    """Return what to command now; None: leave it. `wants`: of every pour that the fan blows for."""
    if fan.by is By.HAND:
        return None
    wanted = next((want for want in wants if want.on), None)
    if not fan.on:
        return None if wanted is None else Switch(True, wanted.by, wanted.why)
    if wanted is not None:
        # The same run goes on by another word: an end of the planned time must not look like the plan's own run.
        kept = fan.by is not None and any(want.on and want.by is fan.by for want in wants)
        return None if kept else Switch(True, wanted.by, wanted.why)
    # Only the forecast holds what it has begun, or was given, for as long as it does not know better.
    if fan.by is not By.PLAN and any(want.by is By.FORECAST and want.on is None for want in wants):
        return None
    if fan.since_ms is not None and now_ms - fan.since_ms < LEAST_RUN_MS:
        return None
    why = next((want.why for want in wants if want.by is fan.by and want.why), "nothing asks for it any more")
    return Switch(False, None, why)
