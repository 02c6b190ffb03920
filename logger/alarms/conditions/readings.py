"""Judges on readings: from believed temperatures to an observation with its reason in words. Pure.

Each returns an `Observation`: True over the limit, False inside it, None when that cannot be known.
"""

from __future__ import annotations

from collections.abc import Sequence

from logger.alarms.band import Expected
from logger.alarms.inputs import AlarmLimits, RoomAir
from logger.alarms.signal import ProbeSignal
from logger.alarms.state import Observation
from logger.planning.physics.air import LEAST_HUMIDITY_PCT, MAGNUS_C, dew_point_c
from logger.quantities import difference, rate, temperature
from logger.units import HOUR_MS

#: core-hot comes this much early: half of the tolerance of ±0.5 °C that the DS18B20's datasheet gives. Without it
#: noise on the first reading over the limit could hide the crossing until the next sweep.
EARLY_C = 0.25
#: The first minutes show the mix and the probes settling, not the cure.
SETTLING_H = 0.5


def hottest(tracks: Sequence[ProbeSignal]) -> float | None:
    """Return the highest believed temperature among probes of one place, however old: a lost hot probe stays hot."""
    return max((t.believed_c for t in tracks if t.believed_c is not None), default=None)


def coldest(tracks: Sequence[ProbeSignal]) -> float | None:
    """Return the lowest believed temperature among probes of one place, however old."""
    return min((t.believed_c for t in tracks if t.believed_c is not None), default=None)


def fresh(tracks: Sequence[ProbeSignal], at_ms: int) -> list[ProbeSignal]:
    """Those that have been believed recently."""
    return [t for t in tracks if t.believed_c is not None and at_ms - t.believed_ms <= t.recent_ms]


def core_hot(cores: Sequence[ProbeSignal], now: ProbeSignal, limits: AlarmLimits) -> Observation:
    """Is a core probe over the resin's limit? `now` is the probe that has just been read."""
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
    """Judge: does the core run above the band of the frozen prediction?"""
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


def room_cold(rooms: Sequence[ProbeSignal], now: ProbeSignal, limits: AlarmLimits) -> Observation:
    """Is the room below the resin's range?"""
    return _room(rooms, now, limits.min_room_c, -1, "needs", "or more")


def room_hot(rooms: Sequence[ProbeSignal], now: ProbeSignal, limits: AlarmLimits) -> Observation:
    """Is the room above the resin's range?"""
    return _room(rooms, now, limits.max_room_c, 1, "bears", "at most")


def _room(
    rooms: Sequence[ProbeSignal], now: ProbeSignal, limit: float, sign: int, verb: str, bound: str
) -> Observation:
    pick = hottest if sign > 0 else coldest
    value = pick(fresh(rooms, now.believed_ms)) if len(rooms) > 1 else now.believed_c
    if value is None:
        return Observation(None, now.believed_ms)
    if sign * (value - limit) > 0:
        severity = 2 if sign * (value - limit) > 5 else 1
        reason = f"The room is at {temperature(value)}; this resin {verb} {temperature(limit)} {bound}."
        return Observation(
            True, now.believed_ms, reason, value, limit, severity, now.late, False, now.credit_s
        )
    if len(rooms) > 1:
        old = pick(rooms)
        if old is not None and sign * (old - limit) > 0:
            return Observation(None, now.believed_ms)
    return Observation(False, now.believed_ms, "", value, limit, late=now.late, credit_s=now.credit_s)


def spread_too_wide(core: ProbeSignal, surface: ProbeSignal, limits: AlarmLimits) -> Observation:
    """Do core and surface differ more than the resin bears?"""
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


#: surface-heated: above core and room by this much, °C, or this much more warming than the core within 10 min.
ABOVE_ALL_C = 3.0
QUICK_C = 4.0
QUICK_MS = 600_000
#: A core that has moved more than this in a quarter of an hour sends its own heat to the surface.
CALM_C = 3.0


def surface_heated(
    surface: ProbeSignal, core: ProbeSignal | None, room: ProbeSignal | None, started_ms: int
) -> Observation:
    """Judge: does the surface warm in a way that the cure cannot explain?"""
    at_ms, value = surface.believed_ms, surface.believed_c
    others = [t for t in (core, room) if t is not None and at_ms - t.believed_ms <= 1000 * t.credit_s]
    known = [t.believed_c for t in others if t.believed_c is not None]
    if value is None or len(known) < 2 or core is None or (at_ms - started_ms) / HOUR_MS < SETTLING_H:
        return Observation(None, at_ms)
    above = value - max(known)
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


def air_damp(air: RoomAir, room_c: float | None, surface_c: float | None, limits: AlarmLimits) -> Observation:
    """Is the air damp, or the surface near the dew point? Dew point by Magnus (logger.planning.physics.air)."""
    margin: float | None = None
    below = air.coldest_surface_c if air.coldest_surface_c is not None else surface_c
    # A room that burns has no dew point, and is no reason to stop judging the core.
    known = (
        air.humidity_pct >= LEAST_HUMIDITY_PCT and room_c is not None and MAGNUS_C[0] <= room_c <= MAGNUS_C[1]
    )
    if known and room_c is not None and below is not None:
        margin = below - dew_point_c(room_c, min(air.humidity_pct, 100.0))
    if margin is not None and below is not None and margin < limits.min_dew_margin_c:
        reason = (
            f"A surface at {temperature(below)} is only {difference(margin)} above the dew point; "
            f"{difference(limits.min_dew_margin_c, 0)} is the least."
        )
        return Observation(True, air.at_ms, reason, air.humidity_pct, None, credit_s=600)
    if air.humidity_pct >= limits.max_humidity_pct:
        reason = (
            f"The air has {air.humidity_pct:.0f} % humidity; {limits.max_humidity_pct:.0f} % is the most."
        )
        return Observation(True, air.at_ms, reason, air.humidity_pct, limits.max_humidity_pct, credit_s=600)
    if margin is not None and margin < limits.min_dew_margin_c + 1.0:
        return Observation(None, air.at_ms)
    return Observation(
        False,
        air.at_ms,
        f"The air is back at {air.humidity_pct:.0f} % humidity.",
        air.humidity_pct,
        limits.max_humidity_pct,
        credit_s=600,
    )


def _trend(track: ProbeSignal) -> str:
    """Return a sentence on how fast it moves, from the last 10 min; empty when that is not known or too little."""
    rise = track.rise_c(600_000)
    if rise is None or abs(rise) < 0.3:
        return ""
    return f" It is {'rising' if rise > 0 else 'falling'} by {rate(abs(rise) * 6)}."
