"""Conditions of what surrounds the pour: room, air, the floor under the form, and the looks of the first hour. Pure.

Each returns an `Observation`: True outside the limit, False inside it, None when that cannot be known.
"""

from __future__ import annotations

from collections.abc import Sequence

from logger.alarms.inputs import AlarmLimits, LooksSummary, RoomAir, WetContact
from logger.alarms.signal import ProbeSignal, coldest, fresh, hottest
from logger.alarms.state import Observation
from logger.facts import NOTHING, fact
from logger.planning.physics.air import LEAST_HUMIDITY_PCT, MAGNUS_C, dew_point_c
from logger.quantities import difference, minutes, percent, temperature

#: look-due: a look is overdue by this much, ms; by so much it is worse.
OVERDUE_MS, LONG_OVERDUE_MS = 120_000, 1_200_000


def room_cold(rooms: Sequence[ProbeSignal], now: ProbeSignal, limits: AlarmLimits) -> Observation:
    """Judge whether the room is below the resin's range."""
    return _room(rooms, now, limits.min_room_c, -1)


def room_hot(rooms: Sequence[ProbeSignal], now: ProbeSignal, limits: AlarmLimits) -> Observation:
    """Judge whether the room is above the resin's range."""
    return _room(rooms, now, limits.max_room_c, 1)


def _room(rooms: Sequence[ProbeSignal], now: ProbeSignal, limit: float, sign: int) -> Observation:
    pick = hottest if sign > 0 else coldest
    value = pick(fresh(rooms, now.believed_ms)) if len(rooms) > 1 else now.believed_c
    if value is None:
        return Observation(None, now.believed_ms)
    if sign * (value - limit) > 0:
        severity = 2 if sign * (value - limit) > 5 else 1
        code = "room-above" if sign > 0 else "room-below"
        reason = fact(code, room=temperature(value), limit=temperature(limit))
        return Observation(
            True, now.believed_ms, reason, value, limit, severity, now.late, False, now.credit_s
        )
    if len(rooms) > 1:
        old = pick(rooms)
        if old is not None and sign * (old - limit) > 0:
            return Observation(None, now.believed_ms)
    return Observation(False, now.believed_ms, "", value, limit, late=now.late, credit_s=now.credit_s)


def air_damp(air: RoomAir, room_c: float | None, surface_c: float | None, limits: AlarmLimits) -> Observation:
    """Judge whether the air is damp, or the surface near the dew point.

    Dew point by Magnus (logger.planning.physics.air).
    """
    margin: float | None = None
    below = air.coldest_surface_c if air.coldest_surface_c is not None else surface_c
    # A room that burns has no dew point, and is no reason to stop judging the core.
    has_dew_point = (
        air.humidity_pct >= LEAST_HUMIDITY_PCT and room_c is not None and MAGNUS_C[0] <= room_c <= MAGNUS_C[1]
    )
    if has_dew_point and room_c is not None and below is not None:
        margin = below - dew_point_c(room_c, min(air.humidity_pct, 100.0))
    if margin is not None and below is not None and margin < limits.min_dew_margin_c:
        reason = fact(
            "surface-near-dew-point" if margin >= 0 else "surface-below-dew-point",
            surface=temperature(below),
            margin=difference(abs(margin)),
            least=difference(limits.min_dew_margin_c, 0),
        )
        return Observation(True, air.at_ms, reason, air.humidity_pct, None, credit_s=600)
    if air.humidity_pct >= limits.max_humidity_pct:
        most = percent(limits.max_humidity_pct, 0)
        reason = fact("air-too-humid", humidity=percent(air.humidity_pct, 0), most=most)
        return Observation(True, air.at_ms, reason, air.humidity_pct, limits.max_humidity_pct, credit_s=600)
    if margin is not None and margin < limits.min_dew_margin_c + 1.0:
        return Observation(None, air.at_ms)
    return Observation(
        False,
        air.at_ms,
        fact("air-back", humidity=percent(air.humidity_pct, 0)),
        air.humidity_pct,
        limits.max_humidity_pct,
        credit_s=600,
    )


def wet_under_form(contacts: Sequence[WetContact], looks: LooksSummary | None, now_ms: int) -> Observation:
    """Judge whether it is wet under the form. A contact whose state is not known clears nothing."""
    wet = [contact.name for contact in contacts if contact.wet]
    if wet:
        return Observation(True, now_ms, fact("contacts-wet", contacts=wet), severity=len(wet))
    if looks is not None and looks.leaking:
        note = fact("what-was-noted", note=looks.finding) if looks.finding else NOTHING
        return Observation(True, now_ms, fact("found-leaking", who=looks.by or fact("somebody"), note=note))
    looked = looks is not None and looks.leaking is not None
    if any(contact.wet is None for contact in contacts) or (not contacts and not looked):
        return Observation(None, now_ms)
    return Observation(False, now_ms, fact("dry-under-form"))


def look_due(looks: LooksSummary, now_ms: int) -> Observation:
    """Judge whether a look of the first hour was missed."""
    if looks.overdue_since_ms is None:
        return Observation(False, now_ms, fact("first-hour-over" if looks.over else "form-checked"))
    overdue = now_ms - looks.overdue_since_ms
    if overdue < OVERDUE_MS:
        return Observation(None, now_ms)
    reason = fact("check-overdue", late=minutes(round(overdue / 60_000)))
    return Observation(
        True, now_ms, reason, overdue / 60_000, OVERDUE_MS / 60_000, 2 if overdue > LONG_OVERDUE_MS else 1
    )
