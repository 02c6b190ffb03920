"""Judges on what the forecast answered, the fan, the contacts and the looks of the first hour. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from logger.alarms.inputs import AlarmLimits, FanState, ForecastAnswer, LooksSeen, WetContact
from logger.alarms.state import Observation
from logger.cure.forecast.decision import CLEAR, chance_needed
from logger.quantities import peak as peak_mark
from logger.quantities import temperature
from logger.units import HOUR_MS

BEHIND_H = 2.0
LEAST_COOLING = 0.3
OVERDUE_MS = 120_000
#: A forecast is made every few minutes: one stands for so long.
FORECAST_CREDIT_S = 1800.0
#: After the peak one is made every few hours, and the peak stays past meanwhile.
PAST_CREDIT_S = 12 * 3600.0


def core_will_overheat(answer: ForecastAnswer, limits: AlarmLimits, started_ms: int) -> Observation:
    """Will the core probably pass the resin's limit?"""
    chance, limit = answer.chance_over_limit, limits.max_core_c
    hours = (answer.made_at_ms - started_ms) / HOUR_MS
    crossing = answer.crossing_h.p50 if answer.crossing_h is not None else None
    if answer.peak_at_h is not None and answer.peak_at_h.p95 is not None and answer.peak_at_h.p95 <= hours:
        return Observation(False, answer.made_at_ms, "The peak is past.", credit_s=PAST_CREDIT_S)
    needed = chance_needed(hours, crossing)
    if chance < needed:
        # Between what calls and what clears it stays as it was: a chance that hovers makes no chatter.
        return Observation(
            False if chance < CLEAR else None,
            answer.made_at_ms,
            f"The chance to pass {temperature(limit, 0)} is down to {chance * 100:.0f} %.",
            chance,
            needed,
            credit_s=FORECAST_CREDIT_S,
        )
    reason = f"The core will probably pass {temperature(limit, 0)}: chance {chance * 100:.0f} %"
    peak = answer.core_peak_c
    if peak.p50 is not None:
        reason += f", peak about {peak_mark(peak.p50)}"
        if peak.p05 is not None and peak.p95 is not None:
            reason += f" ({peak_mark(peak.p05)} to {peak_mark(peak.p95)})"
    if crossing is not None:
        left = crossing - hours
        reason += f", in about {left:.1f} h" if left > 0.05 else ", any minute now"
    reason += "."
    if answer.causes:
        reason += f" Why: {'; '.join(answer.causes)}."
    if answer.would_help:
        reason += f" What would help: {'; '.join(answer.would_help)}."
    severity = 2 if chance >= 0.9 and peak.p50 is not None and peak.p50 > limit + 20 else 1
    return Observation(True, answer.made_at_ms, reason, chance, needed, severity, credit_s=FORECAST_CREDIT_S)


def cure_behind(answer: ForecastAnswer, limits: AlarmLimits) -> Observation:
    """Will it be hard later than planned?"""
    release, planned = answer.release_h, limits.planned_release_h
    if release is None or planned is None:
        return Observation(None, answer.made_at_ms)
    if release.p50 is not None:
        behind = release.p50 - planned
        text = (
            f"It will be hard about {release.p50:.0f} h after pouring; {planned:.0f} h was planned: "
            f"{behind:.1f} h later."
        )
    elif release.within_h is not None and release.within_h - planned >= BEHIND_H:
        behind = release.within_h - planned
        text = (
            f"It may not be hard within {release.within_h:.0f} h after pouring; {planned:.0f} h was planned."
        )
    else:
        # Not hard by the end of what was followed, and that is not long enough to say that it is behind.
        return Observation(None, answer.made_at_ms)
    return Observation(
        behind >= BEHIND_H, answer.made_at_ms, text, behind, BEHIND_H, credit_s=FORECAST_CREDIT_S
    )


def fan_not_cooling(fan: FanState, answer: ForecastAnswer | None, at_ms: int) -> Observation:
    """Judge: does the fan that is meant to run cool?"""
    if not fan.commanded:
        return Observation(False, at_ms, "The fan is not meant to run.", credit_s=FORECAST_CREDIT_S)
    if fan.turning is False:
        return Observation(True, at_ms, "The fan is switched on, and its contact says that it does not turn.")
    if answer is None or answer.fan_cooling is None:
        return Observation(None if fan.turning is None else False, at_ms, "The fan turns.")
    text = f"The fan brings {max(0.0, answer.fan_cooling) * 100:.0f} % of the cooling that it should."
    return Observation(
        answer.fan_cooling < LEAST_COOLING,
        at_ms,
        text,
        answer.fan_cooling,
        LEAST_COOLING,
        credit_s=FORECAST_CREDIT_S,
    )


def wet_under_form(contacts: Sequence[WetContact], looks: LooksSeen | None, now_ms: int) -> Observation:
    """Is it wet under the form? A contact that is not known clears nothing."""
    wet = [contact.name for contact in contacts if contact.wet]
    if wet:
        return Observation(True, now_ms, f"Wet under the form: {', '.join(wet)}.", severity=len(wet))
    if looks is not None and looks.leaking:
        found = f" ({looks.found})" if looks.found else ""
        return Observation(True, now_ms, f"{looks.by or 'Somebody'} found it leaking{found}.")
    told = looks is not None and looks.leaking is not None
    if any(contact.wet is None for contact in contacts) or (not contacts and not told):
        return Observation(None, now_ms)
    return Observation(False, now_ms, "Dry under the form.")


def look_due(looks: LooksSeen, now_ms: int) -> Observation:
    """Was a look of the first hour missed?"""
    if looks.overdue_since_ms is None:
        return Observation(False, now_ms, "The first hour is over." if looks.over else "Somebody has looked.")
    overdue = now_ms - looks.overdue_since_ms
    if overdue < OVERDUE_MS:
        return Observation(None, now_ms)
    reason = f"The look that was due {overdue / 60_000:.0f} min ago has not been made."
    return Observation(
        True, now_ms, reason, overdue / 60_000, OVERDUE_MS / 60_000, 2 if overdue > 1_200_000 else 1
    )
