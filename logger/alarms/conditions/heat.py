"""Conditions of heat in the pour: core and surface against limit, prediction and forecast, and the fan. Pure.

Each returns an `Observation`: True over the limit, False inside it, None when that cannot be known.
"""

from __future__ import annotations

from collections.abc import Sequence

from logger.alarms.band import Expected
from logger.alarms.inputs import AlarmLimits, FanState, ForecastAnswer
from logger.alarms.signal import ProbeSignal, fresh, hottest
from logger.alarms.state import Observation
from logger.cure.forecast.decision import CLEAR, chance_needed
from logger.facts import Fact
from logger.quantities import difference, rate, temperature
from logger.quantities import peak as peak_mark
from logger.units import HOUR_MS

#: core-hot comes this much early: half of the tolerance of ±0.5 °C that the DS18B20's datasheet gives. Without it
#: noise on the first reading over the limit could hide the crossing until the next sweep.
EARLY_C = 0.25
#: The first minutes show the mix and the probes settling, not the cure.
SETTLING_H = 0.5
#: surface-heated: above core and room by this much, °C, or this much more warming than the core within 10 min.
ABOVE_ALL_C = 3.0
QUICK_C = 4.0
QUICK_MS = 600_000
#: A core that has moved more than this in a quarter of an hour sends its own heat to the surface.
CALM_C = 3.0
#: cure-behind: the forecast release is so much later than the planned one, h.
BEHIND_H = 2.0
#: fan-not-cooling: less than this part of the cooling that it should bring.
LEAST_COOLING = 0.3
#: A forecast is made every few minutes, so one may stand for this long, s.
FORECAST_CREDIT_S = 1800.0
#: After the peak one is made every few hours, and the peak stays past meanwhile, s.
PAST_CREDIT_S = 12 * 3600.0


def core_hot(cores: Sequence[ProbeSignal], now: ProbeSignal, limits: AlarmLimits) -> Observation:
    """Judge whether a core probe is over the resin's limit. `now`: the probe that has just been read."""
    limit = limits.max_core_c
    value = hottest(fresh(cores, now.believed_ms)) if len(cores) > 1 else now.believed_c
    if value is None:
        return Observation(None, now.believed_ms)
    if value <= limit - EARLY_C:
        if len(cores) > 1:
            old = hottest(cores)
            if old is not None and old > limit - 2 * EARLY_C:
                return Observation(None, now.believed_ms)  # the hot one is lost, and a lost one never clears
        return Observation(False, now.believed_ms, "", value, limit, late=now.late, credit_s=now.credit_s)
    rise = now.rise_c(180_000)
    fast = rise is not None and rise >= 3.0
    severity = 3 if value > limit + 30 else 2 if value > limit + 10 or fast else 1
    over = "is over" if value > limit else "is at"
    reason = f"The core reads {temperature(value)}: it {over} the resin's limit of {temperature(limit)}."
    reason += _trend(now)
    return Observation(True, now.believed_ms, reason, value, limit, severity, now.late, True, now.credit_s)


def hotter_than_predicted(
    cores: Sequence[ProbeSignal], now: ProbeSignal, expected: Expected | None, started_ms: int
) -> Observation:
    """Judge whether the core runs above the band of the frozen prediction."""
    hours = (now.believed_ms - started_ms) / HOUR_MS
    value = hottest(fresh(cores, now.believed_ms)) if len(cores) > 1 else now.believed_c
    if expected is None or hours < SETTLING_H or value is None:
        return Observation(None, now.believed_ms)
    top = expected.top_c(hours)
    if value <= top:
        return Observation(False, now.believed_ms, "", value, top, late=now.late, credit_s=now.credit_s)
    core = expected.core_c(hours)
    severity = 2 if value - core > 2 * (top - core) else 1
    reason = (
        f"The core reads {temperature(value)}, {hours:.1f} h after pouring; {temperature(core)} was predicted, "
        f"and up to {temperature(top)} would be in the band.{_trend(now)}"
    )
    return Observation(True, now.believed_ms, reason, value, top, severity, now.late, False, now.credit_s)


def core_will_overheat(answer: ForecastAnswer, limits: AlarmLimits, started_ms: int) -> Observation:
    """Judge whether the core will probably pass the resin's limit."""
    chance, limit = answer.chance_over_limit, limits.max_core_c
    hours = (answer.made_at_ms - started_ms) / HOUR_MS
    crossing = answer.crossing_h.p50 if answer.crossing_h is not None else None
    if answer.peak_at_h is not None and answer.peak_at_h.p95 is not None and answer.peak_at_h.p95 <= hours:
        return Observation(False, answer.made_at_ms, "The peak is past.", credit_s=PAST_CREDIT_S)
    needed = chance_needed(hours, crossing)
    if chance < needed:
        # Between the chance that raises it and the one that clears it nothing changes: no chatter near either.
        return Observation(
            False if chance < CLEAR else None,
            answer.made_at_ms,
            f"The chance to pass {temperature(limit, 0)} is down to {chance * 100:.0f} %.",
            chance,
            needed,
            credit_s=FORECAST_CREDIT_S,
        )
    reason = _overheat_reason(answer, limit, None if crossing is None else crossing - hours)
    peak = answer.core_peak_c
    severity = 2 if chance >= 0.9 and peak.p50 is not None and peak.p50 > limit + 20 else 1
    return Observation(True, answer.made_at_ms, reason, chance, needed, severity, credit_s=FORECAST_CREDIT_S)


def _overheat_reason(answer: ForecastAnswer, limit: float, left_h: float | None) -> str:
    """Return why the core will overheat.

    While the limit lies inside the band no single peak is given: it would be taken for the answer.
    """
    peak, chance = answer.core_peak_c, f"chance {answer.chance_over_limit * 100:.0f} %"
    is_open = peak.p05 is not None and peak.p05 <= limit
    sure = "more likely than not passes" if is_open else "will probably pass"
    reason = f"The core {sure} {temperature(limit, 0)}: {chance}"
    if peak.p05 is not None and peak.p95 is not None:
        reach = f"{peak_mark(peak.p05)} to {peak_mark(peak.p95)}"
        about = "" if peak.p50 is None or is_open else f"about {peak_mark(peak.p50)} "
        reason += f", peak {about}({reach})" if about else f", peak anywhere from {reach}"
    elif peak.p50 is not None:
        reason += f", peak about {peak_mark(peak.p50)}"
    if left_h is not None:
        reason += f", in about {left_h:.1f} h" if left_h > 0.05 else ", any minute now"
    reason += "."
    if answer.causes:
        reason += f" Why: {'; '.join(answer.causes)}."
    if answer.would_help:
        helps = [
            words.partition(":")[0] if is_open and not isinstance(words, Fact) else words
            for words in answer.would_help
        ]
        reason += f" What would help: {'; '.join(helps)}."
    return reason


def spread_too_wide(core: ProbeSignal, surface: ProbeSignal, limits: AlarmLimits) -> Observation:
    """Judge whether core and surface differ more than the resin bears."""
    at_ms = max(core.believed_ms, surface.believed_ms)
    oldest = min(core.believed_ms, surface.believed_ms)
    if core.believed_c is None or surface.believed_c is None or at_ms - oldest > core.recent_ms:
        return Observation(None, at_ms)
    spread, limit = core.believed_c - surface.believed_c, limits.max_spread_c
    late = core.late or surface.late
    if spread < limit:
        return Observation(False, at_ms, "", spread, limit, late=late, credit_s=core.credit_s)
    reason = (
        f"The core reads {temperature(core.believed_c)}, the surface {temperature(surface.believed_c)}: "
        f"{difference(spread)} apart, limit {difference(limit)}."
    )
    severity = 2 if spread >= 2 * limit else 1
    return Observation(True, at_ms, reason, spread, limit, severity, late, False, core.credit_s)


def surface_heated(
    surface: ProbeSignal, core: ProbeSignal | None, room: ProbeSignal | None, started_ms: int
) -> Observation:
    """Judge whether the surface warms in a way that the cure cannot explain."""
    at_ms, value = surface.believed_ms, surface.believed_c
    others = [t for t in (core, room) if t is not None and at_ms - t.believed_ms <= 1000 * t.credit_s]
    beside = [t.believed_c for t in others if t.believed_c is not None]
    if value is None or len(beside) < 2 or core is None or (at_ms - started_ms) / HOUR_MS < SETTLING_H:
        return Observation(None, at_ms)
    above = value - max(beside)
    if above > ABOVE_ALL_C:
        reason = (
            f"The surface reads {temperature(value)}, {difference(above)} above both core and room: "
            "heat comes from outside."
        )
        return Observation(
            True,
            at_ms,
            reason,
            above,
            ABOVE_ALL_C,
            2 if above > 10 else 1,
            surface.late,
            False,
            surface.credit_s,
        )
    mine, its = surface.rise_c(QUICK_MS), core.rise_c(QUICK_MS)
    if mine is not None and its is not None and core.range_c() < CALM_C and mine - max(0.0, its) > QUICK_C:
        reason = (
            f"The surface warmed by {difference(mine)} in 10 min, the core by {difference(its)}: sun, a lamp or a "
            "heat gun, or the fan has stopped."
        )
        return Observation(
            True, at_ms, reason, mine - max(0.0, its), QUICK_C, 1, surface.late, False, surface.credit_s
        )
    return Observation(
        False,
        at_ms,
        "The surface is back between core and room.",
        above,
        ABOVE_ALL_C,
        late=surface.late,
        credit_s=surface.credit_s,
    )


def cure_behind(answer: ForecastAnswer, limits: AlarmLimits) -> Observation:
    """Judge whether it will be hard later than planned."""
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
    """Judge whether the fan that is meant to run does not cool."""
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


def _trend(signal: ProbeSignal) -> str:
    """Return a sentence on how fast it moves, from the last 10 min; empty when that is not known or too little."""
    rise = signal.rise_c(600_000)
    if rise is None or abs(rise) < 0.3:
        return ""
    return f" It is {'rising' if rise > 0 else 'falling'} by {rate(abs(rise) * 6)}."
