"""How the alarms themselves behave: rates, floods, chattering, fleeting and stale ones, spread of priorities.

Targets: ISA-18.2-2016 section 16.4, tables 5 and 6, and EEMUA 191, both quoted at second hand; those marked "from
memory" could not be checked. They are meant for at least 30 days of a plant, or several similar batches: a single pour
says little.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from logger.alarms.kind import Priority
from logger.facts import fact
from logger.quantities import percent
from logger.units import DAY_MS, HOUR_MS

TEN_MIN_MS = 600_000
#: A flood starts above 10 alarms in 10 min and ends below 5 in 10 min (ISA-18.2, second hand).
FLOOD_STARTS, FLOOD_ENDS = 10, 5
#: Chattering: comes and goes three or more times in a minute (second hand).
CHATTER_TIMES, CHATTER_MS = 3, 60_000
#: Fleeting: clears within seconds and does not repeat; 10 s is the project's choice.
FLEETING_MS = 10_000
#: Stale: up for more than 24 h (ISA-18.2, second hand).
STALE_MS = DAY_MS


@dataclass(frozen=True, slots=True)
class Span:
    """One activation of one alarm, as history keeps it. Quiet ones (shelved, out of service) are left out."""

    kind: str
    subject: str
    priority: Priority
    raised_ms: int
    returned_ms: int | None = None
    acknowledged_ms: int | None = None


@dataclass(frozen=True, slots=True)
class RateTarget:
    """One figure against its target. `met` None: too little history to say."""

    name: str
    value: float
    unit: str
    target: str
    source: str
    met: bool | None


@dataclass(frozen=True, slots=True)
class Rates:
    """The figures of a stretch of time."""

    hours: float
    alarms: int
    per_hour: float
    busiest_10_min: int
    busy_10_min_part: float  #: part of the 10-min intervals with more than 10 alarms
    flood_part: float  #: part of the time in flood
    floods: int
    chattering: tuple[str, ...]
    fleeting: tuple[str, ...]
    stale: tuple[str, ...]
    shares: dict[Priority, float] = field(default_factory=dict)
    most: tuple[tuple[str, int], ...] = ()  #: the kinds that came most often
    longest_unanswered_min: float = 0.0
    targets: tuple[RateTarget, ...] = ()


def rates(spans: Sequence[Span], from_ms: int, until_ms: int) -> Rates:
    """Return the figures of [from_ms, until_ms): alarms raised in it, and those still up in it."""
    hours = max(0.0, (until_ms - from_ms) / HOUR_MS)
    inside = sorted((s for s in spans if from_ms <= s.raised_ms < until_ms), key=lambda s: s.raised_ms)
    times = [s.raised_ms for s in inside]
    per_hour = len(inside) / hours if hours > 0 else 0.0
    slots = Counter((t - from_ms) // TEN_MIN_MS for t in times)
    slot_count = max(1, -(-(until_ms - from_ms) // TEN_MIN_MS))
    busy = sum(1 for count in slots.values() if count > FLOOD_STARTS)
    flood_ms, floods = _floods(times, until_ms)
    counts = Counter(s.priority for s in inside)
    shares = {p: counts[p] / len(inside) if inside else 0.0 for p in Priority}
    up = [s for s in spans if s.raised_ms < until_ms and (s.returned_ms is None or s.returned_ms > from_ms)]
    stale = tuple(
        sorted({_name(s) for s in up if min(s.returned_ms or until_ms, until_ms) - s.raised_ms > STALE_MS})
    )
    waits = [min(s.acknowledged_ms or s.returned_ms or until_ms, until_ms) - s.raised_ms for s in inside]
    chattering = _chattering(inside)
    fleeting = _fleeting(inside, set(chattering))
    figures = Rates(
        hours,
        len(inside),
        per_hour,
        max(slots.values(), default=0),
        busy / slot_count,
        flood_ms / max(1, until_ms - from_ms),
        floods,
        chattering,
        fleeting,
        stale,
        shares,
        tuple(Counter(s.kind for s in inside).most_common(10)),
        max(waits, default=0) / 60_000,
    )
    return replace(figures, targets=_targets(figures))


def _name(span: Span) -> str:
    return f"{span.kind}/{span.subject}"


def _by_name(spans: Sequence[Span]) -> dict[str, list[Span]]:
    named: dict[str, list[Span]] = {}
    for span in spans:
        named.setdefault(_name(span), []).append(span)
    return named


def _chattering(spans: Sequence[Span]) -> tuple[str, ...]:
    """Those that were raised three times, and had returned in between, within a minute."""
    chattering = []
    for name, mine in _by_name(spans).items():
        raised = [span.raised_ms for span in mine]
        if any(
            raised[i + CHATTER_TIMES - 1] - raised[i] < CHATTER_MS
            for i in range(len(raised) - CHATTER_TIMES + 1)
        ):
            chattering.append(name)
    return tuple(sorted(chattering))


def _fleeting(spans: Sequence[Span], chattering: set[str]) -> tuple[str, ...]:
    short = {
        _name(s) for s in spans if s.returned_ms is not None and s.returned_ms - s.raised_ms < FLEETING_MS
    }
    return tuple(sorted(short - chattering))


def _floods(times: Sequence[int], until_ms: int) -> tuple[int, int]:
    """Time in flood (ms) and number of floods: begins above 10 alarms in the last 10 min, ends below 5."""
    total, count, began, first = 0, 0, None, 0
    for i, now in enumerate(times):
        if began is not None:
            # Between two alarms the count only falls: it ends when the fifth newest is 10 min old.
            ends = times[i - FLOOD_ENDS] + TEN_MIN_MS
            if ends <= now:
                total += ends - began
                began = None
        while times[first] <= now - TEN_MIN_MS:
            first += 1
        if began is None and i - first + 1 > FLOOD_STARTS:
            began, count = now, count + 1
    if began is not None:
        total += max(0, min(until_ms, times[-FLOOD_ENDS] + TEN_MIN_MS) - began)
    return total, count


def _targets(figures: Rates) -> tuple[RateTarget, ...]:
    second, memory = fact("source-second-hand"), fact("source-from-memory")
    enough, none = figures.hours >= 24, fact("rate-none")
    about = {share: fact("rate-about", about=percent(share, 0)) for share in (5, 15, 80)}

    def if_enough(met: bool) -> bool | None:
        return met if enough else None

    high, medium, low = (figures.shares[p] * 100 for p in (Priority.HIGH, Priority.MEDIUM, Priority.LOW))
    several = figures.alarms >= 20
    return (
        RateTarget(
            fact("rate-hour"),
            figures.per_hour,
            "1/h",
            fact("rate-about-most", about=6, most=12),
            second,
            if_enough(figures.per_hour <= 6),
        ),
        RateTarget(
            fact("rate-day"),
            figures.per_hour * 24,
            "1/d",
            fact("rate-about-most", about=150, most=300),
            memory,
            if_enough(figures.per_hour * 24 <= 150),
        ),
        RateTarget(
            fact("rate-ten-min"),
            figures.busiest_10_min,
            "",
            fact("rate-ten-or-fewer"),
            second,
            figures.busiest_10_min <= 10,
        ),
        RateTarget(
            fact("rate-busy"),
            figures.busy_10_min_part * 100,
            "%",
            fact("rate-below", most=percent(1, 0)),
            second,
            if_enough(figures.busy_10_min_part < 0.01),
        ),
        RateTarget(
            fact("rate-flood"),
            figures.flood_part * 100,
            "%",
            fact("rate-below", most=percent(1, 0)),
            second,
            if_enough(figures.flood_part < 0.01),
        ),
        RateTarget(
            fact("rate-chattering"),
            len(figures.chattering),
            "",
            fact("rate-none"),
            second,
            not figures.chattering,
        ),
        RateTarget(fact("rate-fleeting"), len(figures.fleeting), "", none, second, not figures.fleeting),
        RateTarget(
            fact("rate-stale"),
            len(figures.stale),
            "",
            fact("rate-fewer", most=5),
            second,
            len(figures.stale) < 5,
        ),
        RateTarget(
            fact("rate-high"),
            high,
            "%",
            about[5],
            second,
            high <= 10 if several else None,
        ),
        RateTarget(
            fact("rate-medium"),
            medium,
            "%",
            about[15],
            second,
            medium <= 20 if several else None,
        ),
        RateTarget(
            fact("rate-low"),
            low,
            "%",
            about[80],
            second,
            low >= 75 if several else None,
        ),
    )
