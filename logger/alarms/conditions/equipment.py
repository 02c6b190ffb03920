"""Conditions of the equipment that watches: probes, station, clock, supply, disk, messages. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from logger.alarms.inputs import ServiceFacts, StationFacts
from logger.alarms.place_facts import at_place, at_places
from logger.alarms.signal import ProbeSignal, coldest, fresh, hottest
from logger.alarms.state import Observation
from logger.facts import NOTHING, Fact, fact, sentence
from logger.quantities import difference, percent, quantity, temperature
from logger.quantities import minutes as minutes_of
from logger.quantities import seconds as seconds_of

LOST_MS = 90_000
#: A probe that has been without a reading half as long is counted in when another is lost: one cause, one alarm.
ALSO_MS = 45_000
SILENT_MS = 50_000
NO_READINGS_MS = 150_000
DISK_LOW_MB = 500.0
DISK_FULL_MB = 100.0
UNSENT_MS = 120_000
#: From so far on readings are dated by when they arrive (logger/store/reading_batches.py).
CLOCK_OFF_MS = 300_000


def probe_lost(signals: Sequence[ProbeSignal], up: bool, resumed_ms: int) -> Observation:
    """Judge which probes of a station give no reading. Severity: their number, and one more with a core among them.

    Judged on the station's own times, and only since its readings last resumed (`resumed_ms`): a station that is out
    of touch says nothing about its probes.
    """
    newest = max(t.seen_ms for t in signals)
    without = {t.probe: without_ms(t, newest, resumed_ms) for t in signals}
    lost = [t for t in signals if without[t.probe] >= lost_after_ms(t)]
    also = [t for t in signals if without[t.probe] >= missed_after_ms(t)]
    late = any(t.late for t in signals)
    if not lost:
        active = None if also else False
        return Observation(active, newest, fact("probes-read-again"), late=late)
    counted = lost if up else also
    places = at_places(sorted(t.place for t in counted))
    seconds = max(without[t.probe] for t in lost) / 1000
    severity = len(counted) + any(t.base == "core" for t in counted)
    if len(counted) == len(signals) and len(signals) > 1:
        reason = fact("no-probe-reads", n=len(signals), time=seconds_of(seconds))
    else:
        reason = fact("no-reading-for", places=places, time=seconds_of(seconds))
    return Observation(True, newest, reason, seconds, LOST_MS / 1000, severity, late)


def without_ms(signal: ProbeSignal, newest: int, resumed_ms: int) -> int:
    """Return for how long a probe has given no reading, ms, by its station's newest."""
    return newest - max(signal.good_ms if signal.good_ms is not None else signal.first_ms, resumed_ms)


def lost_after_ms(signal: ProbeSignal) -> float:
    """Return after how long without readings a probe is lost, ms."""
    return max(LOST_MS, 2600 * signal.period_s)


def missed_after_ms(signal: ProbeSignal) -> float:
    """Return after how long without readings a probe counts as lost once another is, ms."""
    return max(ALSO_MS, 1400 * signal.period_s)


def probe_doubtful(now: ProbeSignal, others: Sequence[ProbeSignal]) -> Observation:
    """Judge whether this probe can be right. `others`: the other probes of the same pour.

    Severity UNBELIEVED: none of its readings counts; else it is right between its faults.
    """
    at_ms, late, credit = now.seen_ms, now.late, now.credit_s
    if now.jumps >= 2.5:
        reason = fact("probe-jumps", place=at_place(now.place), n=round(now.jumps))
        return Observation(True, at_ms, reason, late=late, credit_s=credit)
    if at_ms - (now.good_ms or now.first_ms) >= LOST_MS:
        return Observation(None, at_ms)  # probe-lost speaks for it
    if now.misses >= 0.35:
        reason = fact("probe-fails-often", place=at_place(now.place), share=percent(now.misses * 100, 0))
        return Observation(True, at_ms, reason, late=late, credit_s=credit)
    stuck = _stuck(now, others)
    if stuck is not None:
        return Observation(True, at_ms, stuck, severity=UNBELIEVED, late=late, credit_s=credit)
    if now.base == "core" and now.believed_c is not None:
        warmer = _warmer_than_the_core(now.believed_c, others, at_ms)
        if warmer is not None:
            reason, severity = warmer
            return Observation(True, at_ms, reason, severity=severity, late=late, credit_s=credit)
    if now.jumps > 1.0 or now.misses > 0.15:
        return Observation(None, at_ms)
    return Observation(False, at_ms, _steady(now.place), late=late, credit_s=credit)


def _faces(signals: Sequence[ProbeSignal]) -> list[ProbeSignal]:
    return [t for t in signals if t.base in ("surface", "underside")]


def _stuck(now: ProbeSignal, others: Sequence[ProbeSignal]) -> Fact | None:
    """Say that a probe's reading has stood still too long while others moved; None where that is not so."""
    at_ms = now.seen_ms
    stuck_ms = at_ms - now.unmoved_ms
    if now.last_c is None or now.base not in IN_THE_POUR or stuck_ms < STUCK_SOON_MS:
        return None
    # Heat from outside can move a face alone, so only both faces together tell against the core.
    against = [t for t in others if t.base == "core"] if now.base != "core" else _faces(others)
    moves = [move for move in (t.rise_c(TRAIL_MS) for t in against if t is not now) if move is not None]
    if not moves or (now.base == "core" and len(moves) < 2):
        return None
    moved = stuck_ms >= STUCK_MS and min(abs(move) for move in moves) >= MOVED_C
    # Both faces warm, and not from the room: the heat comes from inside.
    from_inside = (
        now.base == "core" and min(moves) >= WARMED_C and _warmer_than_the_room(others, at_ms) is True
    )
    if not moved and not from_inside:
        return None
    return fact(
        "probe-stuck",
        place=at_place(now.place),
        value=temperature(now.last_c, 2),
        time=minutes_of(round(stuck_ms / 60_000)),
        others=at_places([t.place for t in against]),
        moved=difference(moves[0], signed=True),
    )


def _warmer_than_the_room(others: Sequence[ProbeSignal], at_ms: int) -> bool | None:
    """Return whether every face is warmer than the room; None where room or faces are not known."""
    present = fresh(others, at_ms)
    room, face = hottest(t for t in present if t.base == "room"), coldest(_faces(present))
    return None if room is None or face is None else face > room + AIR_C


def _warmer_than_the_core(
    core_c: float, others: Sequence[ProbeSignal], at_ms: int
) -> tuple[Fact, int] | None:
    """Say that what is around the core is warmer than it, and the severity of that; None when it is not."""
    faces = {t.base: t.believed_c for t in others if at_ms - t.believed_ms <= t.recent_ms}
    surface, underside = faces.get("surface"), faces.get("underside")
    if surface is not None and underside is not None and min(surface, underside) > core_c + FACES_C:
        reason = fact(
            "core-below-its-faces",
            core=temperature(core_c),
            surface=temperature(surface),
            underside=temperature(underside),
        )
        # A warm room warms the faces of a cold pour first: then the core may be where it belongs.
        return reason, 1 if _warmer_than_the_room(others, at_ms) is False else UNBELIEVED
    room = hottest(t for t in others if t.base == "room")
    # Towards the top the sun or a lamp explains it, and surface-heated says so.
    if (
        room is not None
        and core_c > room + FACES_C
        and underside is not None
        and underside > core_c + FACES_C
    ):
        return fact("core-below-underside", underside=temperature(underside), core=temperature(core_c)), 1
    return None


IN_THE_POUR = ("core", "surface", "underside")
#: A probe that has said the same for so long is stuck when those around it have moved by MOVED_C in TRAIL_MS; a core
#: sooner, when both faces have warmed by WARMED_C from inside.
STUCK_MS, STUCK_SOON_MS = 45 * 60_000, 15 * 60_000
WARMED_C = 2.0
TRAIL_MS = 14 * 60_000
MOVED_C = 1.0
FACES_C = 5.0
#: What is this near the room's temperature may stand in its air, °C.
AIR_C = 2.0
#: Severity of a doubt that leaves nothing to believe.
UNBELIEVED = 2


def station_silent(
    facts: StationFacts, heard_ms: int, readings_ms: int, period_s: float, now_ms: int
) -> Observation:
    """Judge whether the station has gone silent.

    `heard_ms`: last sign of life; `readings_ms`: when readings last arrived.
    """
    silence = now_ms - heard_ms
    station, silent_for = _station(facts), seconds_of(silence / 1000)
    if silence >= SILENT_MS and facts.refused is not None:
        # It is heard, and nothing of it is kept or judged: that is what its silence would mean.
        reason = fact("station-not-stored", station=station, time=silent_for, why=sentence(facts.refused))
        return Observation(True, now_ms, reason, silence / 1000, SILENT_MS / 1000)
    if silence >= SILENT_MS:
        reason = fact("station-not-heard", station=station, time=silent_for)
        return Observation(True, now_ms, reason, silence / 1000, SILENT_MS / 1000)
    without = now_ms - readings_ms
    if without >= max(NO_READINGS_MS, 3000 * period_s):
        reason = fact("station-sends-nothing", station=station, time=seconds_of(without / 1000))
        return Observation(True, now_ms, reason, without / 1000, NO_READINGS_MS / 1000)
    return Observation(False, now_ms, _well("station-heard-again", station))


def _station(facts: StationFacts) -> str:
    return facts.station or fact("the-station")


# What is well is judged many times a minute, and seldom said: such a fact is made once.


@lru_cache(maxsize=4096)
def _well(code: str, station: str) -> Fact:
    return fact(code, station=station)


@lru_cache(maxsize=256)
def _steady(place: str) -> Fact:
    return fact("probe-steady-again", place=at_place(place))


def clock_unset(facts: StationFacts, now_ms: int) -> Observation:
    """Judge whether the station's clock is not set."""
    if facts.clock_set is None:
        return Observation(None, now_ms)
    return Observation(
        not facts.clock_set,
        now_ms,
        _well("clock-is-set" if facts.clock_set else "clock-not-set", _station(facts)),
    )


def clock_wrong(facts: StationFacts, now_ms: int) -> Observation:
    """Judge whether the station's clock, which says that it is set, is wrong."""
    if facts.clock_off_ms is None:
        return Observation(None, now_ms)
    station, off_s = _station(facts), facts.clock_off_ms / 1000
    if abs(facts.clock_off_ms) > CLOCK_OFF_MS:
        text = fact(
            "clock-ahead" if off_s > 0 else "clock-behind", station=station, off=seconds_of(abs(off_s))
        )
        return Observation(True, now_ms, text, abs(off_s), CLOCK_OFF_MS / 1000)
    return Observation(False, now_ms, _well("clock-agrees", station))


def power_low(facts: StationFacts, now_ms: int) -> Observation:
    """Judge whether the station's supply is too weak."""
    if facts.power_low is None:
        return Observation(None, now_ms)
    text = _well("supply-weak" if facts.power_low else "supply-good-again", _station(facts))
    return Observation(facts.power_low, now_ms, text)


def pins_failed(facts: StationFacts, now_ms: int) -> Observation:
    """Judge whether lamp, buzzer, fan or contacts of the station do not work."""
    if facts.pin_faults is None:
        return Observation(None, now_ms)
    if facts.pin_faults:
        why = fact("pins-fail", station=_station(facts), why=sentence(facts.pin_faults))
        return Observation(True, now_ms, why)
    return Observation(False, now_ms, _well("pins-work-again", _station(facts)))


def disk_low(free_mb: float | None, owner: str, now_ms: int) -> Observation:
    """Judge whether a disk is nearly full. `owner`: whose it is, a station's name or a fact."""
    if free_mb is None:
        return Observation(None, now_ms)
    severity = 2 if free_mb < DISK_FULL_MB else 1
    if free_mb >= 2 * DISK_LOW_MB:  # nearly always so
        return Observation(False, now_ms, NOTHING, free_mb, DISK_LOW_MB)
    free, least = quantity(free_mb, "MB", 0), quantity(DISK_LOW_MB, "MB", 0)
    text = fact("disk-nearly-full", owner=owner, free=free, least=least)
    return Observation(free_mb < DISK_LOW_MB, now_ms, text, free_mb, DISK_LOW_MB, severity)


def message_undelivered(facts: ServiceFacts, now_ms: int) -> Observation:
    """Judge whether a message has waited too long, or has failed for good."""
    if facts.failed_for_good > 0:
        text = fact("messages-failed", n=facts.failed_for_good)
        return Observation(True, now_ms, text, severity=2)
    if facts.oldest_unsent_ms is not None and now_ms - facts.oldest_unsent_ms >= UNSENT_MS:
        minutes = (now_ms - facts.oldest_unsent_ms) / 60_000
        text = fact("message-waits", time=minutes_of(round(minutes)))
        return Observation(True, now_ms, text, minutes, UNSENT_MS / 60_000)
    if facts.oldest_unsent_ms is not None:
        return Observation(None, now_ms)  # on its way: neither late nor delivered
    return Observation(False, now_ms, fact("messages-sent"))
