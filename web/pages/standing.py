"""How a pour stands: one state in a word, a shape and a colour, its temperatures, and how old they are.

Pure: rows and `now` in, plain values out. An old number is never shown as a present one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row

from logger.alarms.kinds import KINDS
from logger.alarms.state import Phase
from logger.pour import LIVE, Stage

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
class Standing:
    """One pour at one moment."""

    tone: str  #: calm, watch, stop, hand, lost, quiet: the shape and colour
    word: str
    because: str
    spots: tuple[Spot, ...]
    last_ms: int | None
    old: bool
    live: bool

    @property
    def core(self) -> Spot | None:
        """The hottest core probe that reads, or the first one."""
        cores = [spot for spot in self.spots if spot.kind == "core"]
        return max(cores, key=lambda spot: -300.0 if spot.celsius is None else spot.celsius, default=None)


def standing(
    pour: Row[Any], probes: Sequence[Row[Any]], alarms: Sequence[Row[Any]], now_ms: int,
    unjudged: str | None = None,
) -> Standing:  # fmt: skip
    """How a pour stands at `now_ms` (true time), from its probes' last readings and its open alarms.

    `unjudged`: why no alarm of it can be relied on now; None: it has lately been judged.
    """
    live = pour.stage in LIVE
    thermometers = [row for row in probes if row.place.split("-")[0] in PLACES]
    last_ms = max((row.last_good_ms for row in thermometers if row.last_good_ms is not None), default=None)
    too_old = OLD_EARLY_MS if pour.stage in (Stage.POURING, Stage.WATCHED) else OLD_LATER_MS
    old = live and (last_ms is None or now_ms - last_ms > too_old)
    spots = tuple(sorted((_spot(row, now_ms, too_old) for row in thermometers), key=_order))
    tone, word, because = _state(pour, alarms, unjudged if live else None, old=old, live=live)
    return Standing(tone, word, because, spots, last_ms, old, live)


def _order(spot: Spot) -> tuple[int, str]:
    return PLACES.index(spot.kind), spot.place


def _spot(row: Row[Any], now_ms: int, too_old_ms: int) -> Spot:
    kind, _, number = row.place.partition("-")
    last_c = None if row.last_milli_c is None else row.last_milli_c / 1000
    present = (
        row.last_fault is None and row.last_good_ms is not None and now_ms - row.last_good_ms <= too_old_ms
    )
    fault = None if row.last_fault is None else FAULT_WORDS.get(row.last_fault, row.last_fault)
    word = f"{PLACE_WORDS[kind]} {number}".strip()
    return Spot(row.place, word, kind, last_c if present else None, last_c, row.last_good_ms, fault)


def _state(
    pour: Row[Any], alarms: Sequence[Row[Any]], unjudged: str | None, *, old: bool, live: bool
) -> tuple[str, str, str]:
    raised = [row for row in alarms if row.phase == Phase.RAISED]
    high = [row for row in raised if row.priority == "high"]
    if high:
        return "stop", "Go there now", KINDS[high[0].kind].title
    if unjudged is not None:
        return "stop", NOT_WATCHED, unjudged
    if old:
        return "lost", "No news", "no present temperature: do not take it for calm"
    if raised:
        return "watch", "Look at it", KINDS[raised[0].kind].title
    returned = [row for row in alarms if row.phase == Phase.RETURNED]
    if returned:
        return "watch", "It is over", f"{KINDS[returned[0].kind].title}: nobody has said that they saw it"
    if alarms:
        return "hand", f"{alarms[0].acknowledged_by or 'Somebody'} has it", KINDS[alarms[0].kind].title
    if live:
        return "calm", "Nothing wrong", ""
    return "quiet", STAGE_WORDS[Stage(pour.stage)], ""


#: Trouble first.
URGENCY = {"stop": 0, "lost": 1, "watch": 2, "hand": 3, "calm": 4, "quiet": 5}
