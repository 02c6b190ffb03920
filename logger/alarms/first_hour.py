"""The first hour after pouring: when looks are due, what those made have shown, whether the level holds. Pure.

Common practice, no source: stay by the form for at least half an hour, better an hour; look every few minutes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from logger.alarms.inputs import LooksSummary
from logger.alarms.kind import KEEP_CLEAR
from logger.alarms.registry import KINDS
from logger.errors import OutOfRange
from logger.facts import NOTHING, Fact, fact
from logger.quantities import length, minutes, percent, volume

MINUTE_MS = 60_000
#: After the end, a look that nobody made stays due for this long; then the hour is history.
STAYS_DUE_MIN = 60.0


@dataclass(frozen=True, slots=True)
class Rhythm:
    """How often to look: every `every_min` for `first_min`, then every `then_every_min` until `until_min`."""

    every_min: float = 5.0
    first_min: float = 30.0
    then_every_min: float = 10.0
    until_min: float = 60.0

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("every_min", self.every_min, 1, 60),
            ("then_every_min", self.then_every_min, 1, 120),
            ("first_min", self.first_min, 0, 24 * 60),
            ("until_min", self.until_min, 0, 24 * 60),
        ):
            if not low <= value <= high:
                raise OutOfRange(
                    fact("rhythm-of-looks", name=name),
                    fact("rhythm-out-of-range"),
                    value=value,
                    allowed=fact("minutes-from-to", low=low, high=high),
                    remedy=fact("look-more-or-less-often"),
                )


class LookResult(StrEnum):
    """What a look found: one tap."""

    DRY = "dry"  #: dry below, level as it was, no smell of heat
    LEAKING = "leaking"
    LEVEL_FELL = "level-fell"
    HOT = "hot"  #: smells, smokes, or the form is hot to a hand held near it
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Look:
    """One look at the form."""

    at_ms: int
    by: str
    finding: LookResult
    note: str = ""


def due_times_ms(started_ms: int, rhythm: Rhythm) -> list[int]:
    """Return when looks are due, ms, in order."""
    minutes: list[float] = []
    at = rhythm.every_min
    while at <= min(rhythm.first_min, rhythm.until_min) + 1e-9:
        minutes.append(at)
        at += rhythm.every_min
    at = (minutes[-1] if minutes else 0.0) + rhythm.then_every_min
    while at <= rhythm.until_min + 1e-9:
        minutes.append(at)
        at += rhythm.then_every_min
    return [started_ms + round(minute * MINUTE_MS) for minute in minutes]


def next_due_ms(started_ms: int, rhythm: Rhythm, looks: Sequence[Look]) -> int | None:
    """Return when the next look is due, ms: in the past when it is overdue; None when all have been made."""
    last = max((look.at_ms for look in looks), default=started_ms)
    return next((due for due in due_times_ms(started_ms, rhythm) if last < due - _early_ms(rhythm)), None)


#: Whoever answers a reminder with "later" is asked again after so long, at most so often for one look, and at the
#: latest so long after the look is due: a minute before its alarm is raised.
LATER_MS, LATER_TIMES, LATER_LAST_MS = 5 * MINUTE_MS, 2, MINUTE_MS


@dataclass(frozen=True, slots=True)
class Reminding:
    """What has been said of one look: when reminders of it went out, and when "later" was answered, ms."""

    sent_ms: Sequence[int] = ()
    later_ms: Sequence[int] = ()


def remind_at_ms(due_ms: int, rhythm: Rhythm, reminding: Reminding) -> int | None:
    """Return when the next reminder of a look goes out, maybe in the past; None when there is none to come.

    The first goes out when a look begins to count for it: before it is due, so that nobody is late who goes at once.
    """
    at_ms = due_ms - _early_ms(rhythm)
    for later_ms in sorted(reminding.later_ms)[:LATER_TIMES]:
        at_ms = max(at_ms, min(later_ms + LATER_MS, due_ms + LATER_LAST_MS))
    return None if any(sent_ms >= at_ms for sent_ms in reminding.sent_ms) else at_ms


def summarize_looks(started_ms: int, rhythm: Rhythm, looks: Sequence[Look], now_ms: int) -> LooksSummary:
    """Return the looks as the alarms need them. A look counts for every due time up to a little after it."""
    due = next_due_ms(started_ms, rhythm, looks)
    end_ms = started_ms + round((rhythm.until_min + STAYS_DUE_MIN) * MINUTE_MS)
    over = due is None or now_ms >= end_ms
    overdue = due if due is not None and due <= now_ms < end_ms else None
    conclusive = [
        look for look in looks if look.finding in (LookResult.DRY, LookResult.LEAKING, LookResult.LEVEL_FELL)
    ]
    if not conclusive:
        return LooksSummary(overdue, over=over)
    last = max(conclusive, key=lambda look: look.at_ms)
    finding = last.note or (fact("level-went-down") if last.finding is LookResult.LEVEL_FELL else NOTHING)
    return LooksSummary(overdue, last.finding is not LookResult.DRY, finding, last.by, over)


def _early_ms(rhythm: Rhythm) -> int:
    """Return how far ahead of its due time a look still counts, ms: half the shorter interval, 2 min at most."""
    return round(min(2.0, rhythm.every_min / 2, rhythm.then_every_min / 2) * MINUTE_MS)


def advice(finding: LookResult) -> tuple[Fact, ...]:
    """Return what to do about what was found."""
    if finding in (LookResult.LEAKING, LookResult.LEVEL_FELL):
        return KINDS["wet-under-form"].what_to_do
    if finding is LookResult.HOT:
        return KEEP_CLEAR
    if finding is LookResult.OTHER:
        return (fact("look-other.do.1"),)
    return ()


@dataclass(frozen=True, slots=True)
class LevelMark:
    """The level against a fixed mark on the form, mm, higher is fuller."""

    at_ms: int
    level_mm: float
    by: str


#: What bark, checks and live edges drink, and bubbles that rise, lower the level by so much without a leak: common
#: practice, no source.
SOAK_MM = 2.0


def level_fell(
    marks: Sequence[LevelMark], area_m2: float | None = None, soak_mm: float = SOAK_MM
) -> Fact | None:
    """Say so when the level has fallen by more than wood and bubbles take; None when it holds."""
    if len(marks) < 2:
        return None
    ordered = sorted(marks, key=lambda mark: mark.at_ms)
    first, last = ordered[0], ordered[-1]
    fall = first.level_mm - last.level_mm
    if fall <= soak_mm:
        return None
    time = minutes(round((last.at_ms - first.at_ms) / MINUTE_MS))
    known = {"fall": length(fall), "time": time, "soak": length(soak_mm, 0)}
    if area_m2 is None:
        return fact("level-fell", **known)
    return fact("level-fell-volume", volume=volume(fall * area_m2), **known)


def volume_differs(planned_l: float, poured_l: float, part: float = 0.05) -> Fact | None:
    """Say so when what was poured differs from the plan by more than `part`; None when it fits.

    Raises OutOfRange when the planned volume is not above 0 or the poured one is negative.
    """
    if not planned_l > 0 or not poured_l >= 0:
        raise OutOfRange(
            fact("poured-volume"),
            fact("volume-above-0"),
            value=(planned_l, poured_l),
            remedy=fact("correct-the-number"),
        )
    off = (poured_l - planned_l) / planned_l
    if abs(off) <= part:
        return None
    return fact(
        "poured-more" if off > 0 else "poured-less",
        poured=volume(poured_l),
        planned=volume(planned_l),
        share=percent(abs(off) * 100, 0),
    )
