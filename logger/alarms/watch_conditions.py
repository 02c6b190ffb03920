"""Judges on the watch itself: probes, station, clock, supply, disk, messages. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from logger.alarms.state import Observation
from logger.alarms.trackers import Track
from logger.alarms.view import ServiceFacts, StationFacts
from logger.quantities import difference, temperature
from logger.units import span

LOST_MS = 90_000
#: A probe that has been without a reading half as long is counted in when another is lost: one cause, one alarm.
ALSO_MS = 45_000
SILENT_MS = 50_000
NO_READINGS_MS = 150_000
DISK_LOW_MB = 500.0
DISK_FULL_MB = 100.0
UNSENT_MS = 120_000
#: From so far on readings are dated by when they arrive (logger/store/saving.py).
CLOCK_OFF_MS = 300_000


def probe_lost(tracks: Sequence[Track], up: bool, resumed_ms: int) -> Observation:
    """Which probes of one station give no reading? Severity is their number, and one more when a core is among them.

    Judged on the station's own times, and only since its readings last resumed (`resumed_ms`): a station that is out
    of touch says nothing about its probes.
    """
    newest = max(t.seen_ms for t in tracks)
    without = {
        t.probe: newest - max(t.good_ms if t.good_ms is not None else t.first_ms, resumed_ms) for t in tracks
    }
    lost = [t for t in tracks if without[t.probe] >= max(LOST_MS, 2600 * t.period_s)]
    also = [t for t in tracks if without[t.probe] >= max(ALSO_MS, 1400 * t.period_s)]
    late = any(t.late for t in tracks)
    if not lost:
        active = None if also else False
        return Observation(active, newest, "All probes give readings again.", late=late)
    counted = lost if up else also
    names = ", ".join(sorted(t.place for t in counted))
    seconds = max(without[t.probe] for t in lost) / 1000
    severity = len(counted) + any(t.base == "core" for t in counted)
    if len(counted) == len(tracks) and len(tracks) > 1:
        reason = f"None of the {len(tracks)} probes gives a reading, for {span(seconds)}: look at the wire they share."
    else:
        reason = f"No reading from {names} for {span(seconds)}."
    return Observation(True, newest, reason, seconds, LOST_MS / 1000, severity, late)


def probe_doubtful(now: Track, others: Sequence[Track]) -> Observation:
    """Can what this probe says be true? `others`: the other probes of the same pour."""
    at_ms, late, credit = now.seen_ms, now.late, now.credit_s
    if now.jumps >= 2.5:
        reason = (
            f"The probe at {now.place} jumps: {now.jumps:.0f} readings that nothing around them explains."
        )
        return Observation(True, at_ms, reason, late=late, credit_s=credit)
    if at_ms - (now.good_ms or now.first_ms) >= LOST_MS:
        return Observation(None, at_ms)  # that it is lost says it all
    if now.misses >= 0.35:
        reason = f"The probe at {now.place} fails in {now.misses * 100:.0f} % of its readings."
        return Observation(True, at_ms, reason, late=late, credit_s=credit)
    if now.last_c is not None and now.base in IN_THE_POUR and at_ms - now.unmoved_ms >= STUCK_MS:
        # Heat from outside can move a face alone, so only both faces together tell against the core.
        against = [t for t in others if t.base == "core"] if now.base != "core" else _faces(others)
        moves = [move for move in (t.rise_c(TRAIL_MS) for t in against if t is not now) if move is not None]
        if moves and min(abs(move) for move in moves) >= MOVED_C and (now.base != "core" or len(moves) >= 2):
            reason = (
                f"The probe at {now.place} has said {temperature(now.last_c, 2)} for "
                f"{(at_ms - now.unmoved_ms) / 60_000:.0f} min, while {' and '.join(t.place for t in against)} "
                f"moved by {difference(moves[0], signed=True)}."
            )
            return Observation(True, at_ms, reason, late=late, credit_s=credit)
    if now.base == "core" and now.believed_c is not None:
        faces = {t.base: t.believed_c for t in others if at_ms - t.believed_ms <= t.recent_ms}
        surface, underside = faces.get("surface"), faces.get("underside")
        if (
            surface is not None
            and underside is not None
            and min(surface, underside) > now.believed_c + FACES_C
        ):
            reason = (
                f"The core reads {temperature(now.believed_c)}, but both faces are warmer ({temperature(surface)} and "
                f"{temperature(underside)}): it has slipped out of its place, or one of them is wrong."
            )
            return Observation(True, at_ms, reason, late=late, credit_s=credit)
        room = max(
            (t.believed_c for t in others if t.base == "room" and t.believed_c is not None), default=None
        )
        warm = room is not None and now.believed_c > room + FACES_C
        # Towards the top the sun or a lamp explains it, and surface-heated says so.
        if warm and underside is not None and underside > now.believed_c + FACES_C:
            reason = (
                f"The underside reads {temperature(underside)} and the core only {temperature(now.believed_c)}, but "
                "the heat of the cure comes from inside: the two have changed places, or something heats the form "
                "from below."
            )
            return Observation(True, at_ms, reason, late=late, credit_s=credit)
    if now.jumps > 1.0 or now.misses > 0.15:
        return Observation(None, at_ms)
    return Observation(
        False, at_ms, f"The probe at {now.place} reads steadily again.", late=late, credit_s=credit
    )


def _faces(tracks: Sequence[Track]) -> list[Track]:
    return [t for t in tracks if t.base in ("surface", "underside")]


IN_THE_POUR = ("core", "surface", "underside")
STUCK_MS = 45 * 60_000
TRAIL_MS = 14 * 60_000
MOVED_C = 1.0
FACES_C = 5.0


def station_silent(
    facts: StationFacts, heard_ms: int, readings_ms: int, period_s: float, now_ms: int
) -> Observation:
    """Has the station gone silent? `heard_ms`: last sign of life; `readings_ms`: when readings last arrived."""
    silence = now_ms - heard_ms
    name = facts.station or "the station"
    if silence >= SILENT_MS and facts.refused is not None:
        # It is heard, and nothing of it is kept or judged: that is what its silence would mean.
        reason = (
            f"{name} sends readings, and none could be stored for {span(silence / 1000)}: {facts.refused}."
        )
        return Observation(True, now_ms, reason, silence / 1000, SILENT_MS / 1000)
    if silence >= SILENT_MS:
        reason = f"Nothing heard from {name} for {span(silence / 1000)}."
        return Observation(True, now_ms, reason, silence / 1000, SILENT_MS / 1000)
    without = now_ms - readings_ms
    if without >= max(NO_READINGS_MS, 3000 * period_s):
        reason = f"{name} answers, but has sent no reading for {span(without / 1000)}."
        return Observation(True, now_ms, reason, without / 1000, NO_READINGS_MS / 1000)
    return Observation(False, now_ms, f"{name} is heard again.")


def clock_unset(facts: StationFacts, now_ms: int) -> Observation:
    """Does the station know the time of day?"""
    if facts.clock_set is None:
        return Observation(None, now_ms)
    return Observation(
        not facts.clock_set, now_ms,
        f"The clock of {facts.station or 'the station'} is set."
        if facts.clock_set else f"{facts.station or 'The station'} does not know the time of day.",
    )  # fmt: skip


def clock_wrong(facts: StationFacts, now_ms: int) -> Observation:
    """Is the station's clock, which says that it is set, wrong?"""
    if facts.clock_off_ms is None:
        return Observation(None, now_ms)
    name, off_s = facts.station or "the station", facts.clock_off_ms / 1000
    where = "ahead of" if off_s > 0 else "behind"
    if abs(facts.clock_off_ms) > CLOCK_OFF_MS:
        text = f"The clock of {name} is {span(abs(off_s))} {where} the service's; readings are dated by their arrival."
        return Observation(True, now_ms, text, abs(off_s), CLOCK_OFF_MS / 1000)
    return Observation(False, now_ms, f"The clock of {name} agrees with the service's.")


def power_low(facts: StationFacts, now_ms: int) -> Observation:
    """Is the station's supply too weak?"""
    if facts.power_low is None:
        return Observation(None, now_ms)
    name = facts.station or "the station"
    text = f"The supply of {name} is {'too weak' if facts.power_low else 'good again'}."
    return Observation(facts.power_low, now_ms, text)


def pins_failed(facts: StationFacts, now_ms: int) -> Observation:
    """Do lamp, buzzer, fan and contacts of the station work?"""
    if facts.pin_faults is None:
        return Observation(None, now_ms)
    name = facts.station or "the station"
    if facts.pin_faults:
        return Observation(True, now_ms, f"Pins of {name} do not work: {facts.pin_faults}.")
    return Observation(False, now_ms, f"All pins of {name} work again.")


def disk_low(free_mb: float | None, whose: str, now_ms: int) -> Observation:
    """Is the disk nearly full?"""
    if free_mb is None:
        return Observation(None, now_ms)
    severity = 2 if free_mb < DISK_FULL_MB else 1
    text = f"The disk of {whose} has {free_mb:.0f} MB free; {DISK_LOW_MB:.0f} MB is the least."
    return Observation(free_mb < DISK_LOW_MB, now_ms, text, free_mb, DISK_LOW_MB, severity)


def message_undelivered(facts: ServiceFacts, now_ms: int) -> Observation:
    """Does a message wait too long, or has it failed for good?"""
    if facts.failed_for_good > 0:
        text = f"{facts.failed_for_good} message(s) could not be delivered by any channel."
        return Observation(True, now_ms, text, severity=2)
    if facts.oldest_unsent_ms is not None and now_ms - facts.oldest_unsent_ms >= UNSENT_MS:
        minutes = (now_ms - facts.oldest_unsent_ms) / 60_000
        text = f"A message has waited for {minutes:.0f} min to be sent."
        return Observation(True, now_ms, text, minutes, UNSENT_MS / 60_000)
    if facts.oldest_unsent_ms is not None:
        return Observation(None, now_ms)  # on its way: neither late nor delivered
    return Observation(False, now_ms, "All messages have been sent.")
