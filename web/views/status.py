"""How a pour stands: one state in a word, a shape and a colour, its temperatures, and how old they are.

Rows and `now` in, plain values out. An old number is never shown as a present one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import Connection

from logger.alarms.kind import Priority
from logger.alarms.registry import KINDS
from logger.alarms.state import UP, Phase
from logger.pour import LIVE, Stage
from logger.quantities import METRIC
from logger.store import alarms, page_queries
from logger.store.rows import AlarmRow, ListedPour, ProbeRow
from web.answers import StandingShape
from web.service.pipeline import unjudged
from web.service.service import Service

#: A state's shape and colour.
Tone = Literal["stop", "lost", "watch", "hand", "calm", "quiet"]
#: Readings older than this are called old: in the first hour (one every 5 s), later (one every 30 s).
OLD_EARLY_MS, OLD_LATER_MS = 60_000, 150_000
#: Places that hold thermometers, in the order in which they are read out; others are contacts.
PLACES = ("core", "surface", "underside", "room")
PLACE_WORDS = {"core": "Core", "surface": "Surface", "underside": "Underside", "room": "Room"}
STAGE_WORDS = {
    Stage.PLANNED: "Planned",
    Stage.READY: "Ready to pour",
    Stage.POURING: "Pouring",
    Stage.WATCHED: "First hour",
    Stage.CURING: "Curing",
    Stage.RELEASED: "Out of the form",
    Stage.CLOSED: "Record sealed",
    Stage.SPOILED: "Given up",
}
#: A pour of which no alarm would come.
NOT_WATCHED = "Not watched"
NO_TEMPERATURE = "no present temperature: do not take it for calm"
NO_CORE = "no probe at the core has been read: nobody sees how hot it gets"
#: A station's word for a missing temperature → what a maker can do something with.
FAULT_WORDS = {
    "missing": "unplugged or cut",
    "empty-read": "no answer",
    "malformed": "garbled answer",
    "bad-crc": "disturbed by noise",
    "all-zero": "data wire held low",
    "power-on-85": "woke up without measuring",
    "low-power-127": "starved of power",
    "out-of-range": "outside what it can measure",
    "io-error": "could not be read",
    "stuck-read": "did not answer in time",
    "open-wire": "broken wire",
}


@dataclass(frozen=True, slots=True)
class Spot:
    """One thermometer as a page shows it. `celsius` is None when there is no present temperature."""

    place: str
    word: str
    kind: str  #: the place without its number: "core" of "core-2"
    celsius: float | None
    last_c: float | None
    last_ms: int | None
    fault: str | None


@dataclass(frozen=True, slots=True)
class Status:
    """One pour at one moment."""

    tone: Tone
    word: str
    because: str  #: with marked quantities
    spots: tuple[Spot, ...]
    last_ms: int | None
    old: bool
    live: bool
    #: The alarm that it is about, who is on it, and since when (ms); None: nobody, or no alarm.
    alarm: int | None = None
    by: str | None = None
    since_ms: int | None = None

    @property
    def core(self) -> Spot | None:
        """The hottest core probe that reads, or the first one."""
        cores = [spot for spot in self.spots if spot.kind == "core"]
        return max(cores, key=lambda spot: -300.0 if spot.celsius is None else spot.celsius, default=None)


def status_from(
    pour: ListedPour,
    probes: Sequence[ProbeRow],
    open_now: Sequence[AlarmRow],
    now_ms: int,
    unjudged: str | None = None,
) -> Status:
    """How a pour stands at `now_ms` (true time), from its probes' last readings and its open alarms.

    `unjudged`: why no alarm of it can be relied on now; None: it has lately been judged.
    """
    live = pour.stage in LIVE
    thermometers = [row for row in probes if row.place.split("-")[0] in PLACES]
    last_ms = max((row.last_good_ms for row in thermometers if row.last_good_ms is not None), default=None)
    too_old = OLD_EARLY_MS if pour.stage in (Stage.POURING, Stage.WATCHED) else OLD_LATER_MS
    old = live and (last_ms is None or now_ms - last_ms > too_old)
    spots = tuple(sorted((_spot(row, now_ms, too_old) for row in thermometers), key=_order))
    unseen = live and not any(spot.kind == "core" and spot.last_c is not None for spot in spots)
    tone, word, alarm = _state(pour, open_now, unjudged if live else None, lost=old or unseen, live=live)
    because = "" if alarm is None else KINDS[alarm.kind].title
    if word == NOT_WATCHED:
        because = unjudged or ""
    elif tone == "lost":
        because = NO_TEMPERATURE if old else NO_CORE
    elif alarm is not None and alarm.phase == Phase.RETURNED:
        because += ": nobody has said that they saw it"
    taken = alarm if alarm is not None and alarm.phase == Phase.ACKNOWLEDGED else None
    return Status(
        tone,
        word,
        because,
        spots,
        last_ms,
        old,
        live,
        None if alarm is None else alarm.id,
        None if taken is None else taken.acknowledged_by or "Somebody",
        None if taken is None else taken.acknowledged_ms,
    )


def status_of(service: Service, connection: Connection, pour: ListedPour, now_ms: int) -> Status:
    """Return the same, asked from the store."""
    open_now = alarms.open_alarms(connection, pour.id)
    probes = page_queries.probes_of_pour(connection, pour)
    return status_from(
        pour, probes, open_now, now_ms, unjudged(service, pour) if pour.stage in LIVE else None
    )


def status_json(s: Status) -> StandingShape:
    """As programs see it."""
    return StandingShape(
        tone=s.tone, word=s.word, because=METRIC.shown(s.because), alarm=s.alarm, by=s.by, since_ms=s.since_ms
    )


def _order(spot: Spot) -> tuple[int, str]:
    return PLACES.index(spot.kind), spot.place


def _spot(row: ProbeRow, now_ms: int, too_old_ms: int) -> Spot:
    kind, _, number = row.place.partition("-")
    last_c = None if row.last_milli_c is None else row.last_milli_c / 1000
    present = (
        row.last_fault is None and row.last_good_ms is not None and now_ms - row.last_good_ms <= too_old_ms
    )
    fault = None if row.last_fault is None else FAULT_WORDS.get(row.last_fault, row.last_fault)
    word = f"{PLACE_WORDS[kind]} {number}".strip()
    return Spot(row.place, word, kind, last_c if present else None, last_c, row.last_good_ms, fault)


def _state(
    pour: ListedPour, open_now: Sequence[AlarmRow], unjudged: str | None, *, lost: bool, live: bool
) -> tuple[Tone, str, AlarmRow | None]:
    """Tone, word, and the alarm that they are about.

    What is true and of high priority leads, also when somebody is on it: that a hand is on its way cools nothing.
    """
    true = [row for row in open_now if row.phase in UP]
    high = [row for row in true if row.priority == Priority.HIGH]
    waiting = [row for row in high if row.phase == Phase.RAISED]
    if waiting:
        return "stop", "Go there now", waiting[0]
    if unjudged is not None:
        return "stop", NOT_WATCHED, None
    if high:
        return "stop", f"{high[0].acknowledged_by or 'Somebody'} is on it", high[0]
    if lost:
        return "lost", "No news", None
    raised = [row for row in true if row.phase == Phase.RAISED]
    if raised:
        return "watch", "Look at it", raised[0]
    returned = [row for row in open_now if row.phase == Phase.RETURNED]
    if returned:
        return "watch", "It is over", returned[0]
    if true:
        return "hand", f"{true[0].acknowledged_by or 'Somebody'} is on it", true[0]
    if live:
        return "calm", "Nothing wrong", None
    return "quiet", STAGE_WORDS[Stage(pour.stage)], None


#: Trouble first.
URGENCY = {"stop": 0, "lost": 1, "watch": 2, "hand": 3, "calm": 4, "quiet": 5}


def urgency(s: Status) -> tuple[int, bool]:
    """Where a pour stands among others: trouble first, and of that what nobody is on yet."""
    return URGENCY[s.tone], s.by is not None
