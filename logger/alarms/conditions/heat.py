"""Conditions of heat in the pour: core and surface against limit, prediction and forecast, and the fan. Pure.

Each returns an `Observation`: True over the limit, False inside it, None when that cannot be known.
"""

from __future__ import annotations

from collections.abc import Sequence

from logger.alarms.band import Expected
from logger.alarms.inputs import AlarmLimits, FanState, ForecastAnswer, Quantiles
from logger.alarms.signal import ProbeSignal, fresh, hottest
from logger.alarms.state import Observation
from logger.cure.forecast.decision import CLEAR, chance_needed
from logger.facts import NOTHING, Fact, Quantity, fact, sentence
from logger.quantities import chance as chance_of
from logger.quantities import difference, minutes, percent, rate, temperature
from logger.quantities import hours as hours_of
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
#: A forecast stands until the next is made: an hour or two where nothing is open, some hours after the peak, s.
FORECAST_CREDIT_S = 12 * 3600.0


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
    reason = fact(
        "core-over" if value > limit else "core-at",
        core=temperature(value),
        limit=temperature(limit),
        trend=_trend(now),
    )
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
    reason = fact(
        "core-above-band",
        core=temperature(value),
        age=hours_of(hours),
        predicted=temperature(core),
        top=temperature(top),
        trend=_trend(now),
    )
    return Observation(True, now.believed_ms, reason, value, top, severity, now.late, False, now.credit_s)


def core_will_overheat(answer: ForecastAnswer, limits: AlarmLimits, started_ms: int) -> Observation:
    """Judge whether the core will probably pass the resin's limit."""
    chance, limit = answer.chance_over_limit, limits.max_core_c
    hours = (answer.made_at_ms - started_ms) / HOUR_MS
    crossing = answer.crossing_h.p50 if answer.crossing_h is not None else None
    if answer.peak_at_h is not None and answer.peak_at_h.p95 is not None and answer.peak_at_h.p95 <= hours:
        return Observation(False, answer.made_at_ms, fact("peak-is-past"), credit_s=FORECAST_CREDIT_S)
    needed = chance_needed(hours, crossing)
    if chance < needed:
        # Between the chance that raises it and the one that clears it nothing changes: no chatter near either.
        return Observation(
            False if chance < CLEAR else None,
            answer.made_at_ms,
            fact("chance-is-down", limit=temperature(limit, 0), chance=chance_of(chance)),
            chance,
            needed,
            credit_s=FORECAST_CREDIT_S,
        )
    reason = _overheat_reason(answer, limit, None if crossing is None else crossing - hours)
    peak = answer.core_peak_c
    severity = 2 if chance >= 0.9 and peak.p50 is not None and peak.p50 > limit + 20 else 1
    return Observation(True, answer.made_at_ms, reason, chance, needed, severity, credit_s=FORECAST_CREDIT_S)


def _overheat_reason(answer: ForecastAnswer, limit: float, left_h: float | None) -> Fact:
    """Return why the core will overheat.

    While the limit lies inside the band no single peak is given: it would be taken for the answer.
    """
    peak = answer.core_peak_c
    is_open = peak.p05 is not None and peak.p05 <= limit
    when = NOTHING
    if left_h is not None:
        when = fact("overheats-in", time=hours_of(left_h)) if left_h > 0.05 else fact("overheats-any-minute")
    causes = [sentence(cause) for cause in answer.causes]
    helps = [remedy.short if is_open else sentence(remedy.words) for remedy in answer.would_help]
    return fact(
        "core-likely-passes" if is_open else "core-will-pass",
        limit=temperature(limit, 0),
        chance=chance_of(answer.chance_over_limit),
        peak=_overheat_peak(peak, is_open),
        when=when,
        why=fact("overheats-why", causes=causes) if causes else NOTHING,
        help=fact("overheats-help", remedies=helps) if helps else NOTHING,
    )


def _overheat_peak(peak: Quantiles, is_open: bool) -> str:
    if peak.p05 is not None and peak.p95 is not None:
        reach = {"low": peak_mark(peak.p05), "high": peak_mark(peak.p95)}
        if peak.p50 is None or is_open:
            return fact("overheats-anywhere", **reach)
        return fact("overheats-about", middle=peak_mark(peak.p50), **reach)
    return NOTHING if peak.p50 is None else fact("overheats-at", middle=peak_mark(peak.p50))


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
    reason = fact(
        "core-and-surface-apart",
        core=temperature(core.believed_c),
        surface=temperature(surface.believed_c),
        apart=difference(spread),
        limit=difference(limit),
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
        reason = fact("surface-above-all", surface=temperature(value), above=difference(above))
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
        reason = fact("surface-warms-alone", surface=difference(mine), core=difference(its))
        return Observation(
            True, at_ms, reason, mine - max(0.0, its), QUICK_C, 1, surface.late, False, surface.credit_s
        )
    return Observation(
        False,
        at_ms,
        fact("surface-back"),
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
        text = fact(
            "hard-later-than-planned" if behind >= 0 else "hard-as-planned",
            hard=_whole_hours(release.p50),
            planned=_whole_hours(planned),
            later=minutes(60 * round(abs(behind), 1)),
        )
    elif release.within_h is not None and release.within_h - planned >= BEHIND_H:
        behind = release.within_h - planned
        text = fact("hard-not-within", within=_whole_hours(release.within_h), planned=_whole_hours(planned))
    else:
        # Not hard by the end of what was followed, and that is not long enough to say that it is behind.
        return Observation(None, answer.made_at_ms)
    return Observation(
        behind >= BEHIND_H, answer.made_at_ms, text, behind, BEHIND_H, credit_s=FORECAST_CREDIT_S
    )


def _whole_hours(hours: float) -> Quantity:
    """Return hours that are shown as such, "53 h": a cure is planned in hours, however many days they are."""
    return minutes(60 * round(hours))


def fan_not_cooling(fan: FanState, answer: ForecastAnswer | None, at_ms: int) -> Observation:
    """Judge whether the fan that is meant to run does not cool."""
    if not fan.commanded:
        return Observation(False, at_ms, fact("fan-not-meant"), credit_s=FORECAST_CREDIT_S)
    if fan.turning is False:
        return Observation(True, at_ms, fact("fan-does-not-turn"))
    if answer is None or answer.fan_cooling is None:
        return Observation(None if fan.turning is None else False, at_ms, fact("fan-turns"))
    text = fact("fan-brings", share=percent(max(0.0, answer.fan_cooling) * 100, 0))
    return Observation(
        answer.fan_cooling < LEAST_COOLING,
        at_ms,
        text,
        answer.fan_cooling,
        LEAST_COOLING,
        credit_s=FORECAST_CREDIT_S,
    )


def _trend(signal: ProbeSignal) -> str:
    """Say how fast it moves, from the last 10 min; nothing when that is not known or too little."""
    rise = signal.rise_c(600_000)
    if rise is None or abs(rise) < 0.3:
        return NOTHING
    return fact("trend-rising" if rise > 0 else "trend-falling", by=rate(abs(rise) * 6))
