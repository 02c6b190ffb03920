"""What the chart of a pour draws beside the measured curves: ranges of time, marks, clock, forecast and plan.

`web/static/curve.js` draws it; `web/templates/curve.html` is its place in a page.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any

import numpy as np

from logger.alarms.registry import KINDS
from logger.condition.evidence import ExpectedPeak
from logger.pour import LIVE, Stage
from logger.record.straighten import needed
from logger.store.rows import AlarmRow, EventRow, PourRow
from logger.words.phrase import phrase
from logger.words.reader import Reader, reading
from logger.words.render import say
from web.views.words import event_text, event_word

HOUR_MS = 3_600_000
#: An hour with some air behind it: what happens at its end is still seen.
FIRST_HOUR_H = 1.1
#: How far a range goes beyond the peak that it leads to, as a share of its hour.
BEYOND_PEAK = 0.2
#: What people have done that changes a curve or says something of it.
DEEDS = ("pouring", "watched", "curing", "released", "layer", "fan", "look", "level", "note", "photo")
#: Most marks of one kind, and most letters of one's text.
MOST_MARKS, MOST_LETTERS = 80, 160
#: Most points of a predicted line: a chart is no wider on a phone or in an office.
MOST_POINTS = 240
#: How large a chart is drawn at most, for what of a line can be seen.
WIDE_PX, PX_OF_DEGREE = 1600.0, 8.0


@dataclass(frozen=True, slots=True)
class Stand:
    """Where a pour stands, as its chart needs it; hours since pouring, °C.

    now_h: None before it is poured. peak_h, peak_until_h: the hour of the peak, expected or read, and by when it is
    past; None where none is expected. last_h: where what is known or predicted ends. astray: the core is hotter than
    anything predicted, and there is no forecast from the readings.
    """

    stage: Stage
    now_h: float | None
    peak_h: float | None
    peak_until_h: float | None
    last_h: float
    astray: bool = False


@dataclass(frozen=True, slots=True)
class Range:
    """Some hours of a chart, by a name that its button has."""

    name: str
    until_h: float


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened, at an hour since pouring. rank: an alarm's priority, or "deed"."""

    at_h: float
    rank: str
    text: str
    href: str | None = None


def ends_h(curve: Mapping[str, Any]) -> float:
    """Return the last hour of a predicted course, or 0 without one."""
    return float(max(curve.get("hours") or (0.0,)))


def peak_of(
    curve: Mapping[str, Any],
    expected: ExpectedPeak | None = None,
    hottest: tuple[float, float] | None = None,
) -> tuple[float | None, float | None]:
    """Return the hour of the core's peak, and by when it is past: as it is expected; else, where the core has been
    read, as it was read; else as planned. (None, None) where nothing is known."""
    if expected is not None:
        return expected.at_h, expected.last_at_h
    if hottest is not None:
        return hottest[1], hottest[1]
    core = curve.get("core_c")
    if not core:
        return None, None
    at_h = float(curve["hours"][max(range(len(core)), key=core.__getitem__)])
    return at_h, at_h


def ranges_of(stand: Stand) -> list[Range]:
    """Return the ranges that make sense of a pour, shortest name first: the first hour, since pouring, to the peak,
    all."""
    end = max(stand.last_h, stand.now_h or 0.0, FIRST_HOUR_H)
    ranges = [Range("first-hour", FIRST_HOUR_H)]
    if stand.now_h is not None and stand.stage in LIVE:
        # A core that has left what was predicted is seen with the hours that it may take to its peak.
        ranges.append(Range("since-pouring", max(0.1, 2.0 * stand.now_h if stand.astray else stand.now_h)))
    if stand.peak_h is not None:
        beyond = (1 + BEYOND_PEAK) * stand.peak_h
        to_peak = max(beyond, stand.peak_until_h or 0.0, min(FIRST_HOUR_H, end))
        if to_peak < end:
            ranges.append(Range("to-peak", to_peak))
    ranges.append(Range("all", end))
    return ranges


def chosen_range(stand: Stand) -> str:
    """Return the name of the range that a page opens with: what the maker looks at in that stage."""
    names = {one.name for one in ranges_of(stand)}
    if stand.stage not in (*LIVE, Stage.PLANNED, Stage.READY):
        return "all"
    if stand.now_h is None:
        return "to-peak" if "to-peak" in names else "all"
    if stand.astray:
        return "since-pouring"
    if stand.now_h < FIRST_HOUR_H:
        return "first-hour"
    if "to-peak" in names and stand.peak_h is not None and stand.now_h < (1 + BEYOND_PEAK) * stand.peak_h:
        return "to-peak"
    return "since-pouring"


def marks_of(alarms: Iterable[AlarmRow], events: Iterable[EventRow], poured_ms: int, u: Reader) -> list[Mark]:
    """Return alarms and deeds as marks on a chart, in the reader's words, in their order in time.

    What was before pouring has no place on it. Quiet alarms, that nobody was told of, are left out.
    """
    marks = []
    with reading(u):
        for row in alarms:
            if not row.quiet and row.kind in KINDS:
                text = say(phrase("Alarm: {title}", title=KINDS[row.kind].title), u)
                marks.append(Mark(_hour(row.raised_ms, poured_ms), row.priority, text, f"/alarms/{row.id}"))
        marks = sorted(marks, key=lambda mark: mark.at_h)[-MOST_MARKS:]
        deeds = [
            Mark(_hour(row.at_ms, poured_ms), "deed", _said(row, u)) for row in events if row.kind in DEEDS
        ]
    deeds = sorted(deeds, key=lambda mark: mark.at_h)[-MOST_MARKS:]
    return sorted((mark for mark in (*marks, *deeds) if mark.at_h > -0.02), key=lambda mark: mark.at_h)


def _hour(at_ms: int, poured_ms: int) -> float:
    return round((at_ms - poured_ms) / HOUR_MS, 4)


def _said(row: EventRow, u: Reader) -> str:
    word = say(event_word(row.kind), u)
    more = event_text(row.text, row.kind, row.data, u).strip() if row.text else ""
    whole = f"{word}: {more}" if more else word
    return whole if len(whole) <= MOST_LETTERS else f"{whole[: MOST_LETTERS - 1].rstrip()}…"


def clock_offsets(from_ms: int, until_ms: int, zone: tzinfo | None = None) -> list[tuple[int, int]]:
    """Return (from when, ms; minutes ahead of UTC) of a zone's clock over a span: more than one where it is changed.

    zone: None for the workshop's own, which is the machine's. A browser may stand in another one.
    """
    offsets: list[tuple[int, int]] = []
    # Clocks are changed at whole quarters of an hour.
    for at_ms in range(from_ms - from_ms % 900_000, until_ms + 900_000, 900_000):
        ahead = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).utcoffset()
        minutes = round(ahead.total_seconds() / 60) if ahead is not None else 0
        if not offsets or offsets[-1][1] != minutes:
            offsets.append((at_ms, minutes))
    return offsets


def chart_of(
    pour: PourRow,
    limit_c: float | None,
    stand: Stand,
    u: Reader,
    *,
    forecast: dict[str, Any] | None = None,
    marks: Sequence[Mark] = (),
    places: Sequence[str] = ("core",),
    planned_band: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Return what the chart draws beside the measured curves; °C and hours since pouring.

    places: of which places the plan's course is drawn. planned_band: hours, p05, p95 of the core by the plan's chances.
    """
    ranges = ranges_of(stand)
    curve = (pour.prediction or {}).get("curve", {})
    until_h = ranges[-1].until_h + 24.0
    return {
        "pour": pour.id,
        "fahrenheit": u.temperature == "f",
        "limit_c": limit_c,
        "poured_ms": pour.poured_ms,
        "now_h": stand.now_h,
        "live": stand.stage in LIVE,
        "clock": []
        if pour.poured_ms is None
        else clock_offsets(pour.poured_ms - HOUR_MS, pour.poured_ms + round(until_h * HOUR_MS)),
        "ranges": [{"name": one.name, "until_h": round(one.until_h, 3)} for one in ranges],
        "range": chosen_range(stand),
        "predicted": thinned(curve, ("hours", *(f"{place}_c" for place in places))),
        "band": None
        if forecast is None
        else {
            "from_h": forecast["at_h"],
            **thinned({"hours": forecast["bands"]["hours"], **forecast["bands"]["core_c"]}),
        },
        "planned_band": None if planned_band is None else thinned(planned_band, ("hours", "p05", "p95")),
        "marks": [{"at_h": m.at_h, "rank": m.rank, "text": m.text, "href": m.href} for m in marks],
    }


def thinned(
    curve: Mapping[str, Sequence[float]], names: Sequence[str] = (), most: int = MOST_POINTS
) -> dict[str, list[float]]:
    """Return columns with at most so many points, and of these what a chart shows; the first, the last and the highest
    of each are among them.

    The column hours, and the temperatures over it, °C, none further off between its points than can be seen.
    """
    columns = {name: curve.get(name, ()) for name in names or curve}
    count = max((len(column) for column in columns.values()), default=0)
    if count == 0:
        return {name: list(column) for name, column in columns.items()}
    step = max(1, -(-count // most))
    whole = {name: column for name, column in columns.items() if len(column) == count}
    tops = {max(range(count), key=column.__getitem__) for column in whole.values()}
    some = np.array(sorted({*range(0, count, step), count - 1, *tops}))
    hours = np.asarray(whole["hours"], dtype=float)[some]
    across = hours * WIDE_PX / max(float(hours[-1] - hours[0]), 1e-9)
    seen = np.isin(some, [0, count - 1, *tops])
    for name, column in whole.items():
        if name != "hours":
            seen |= needed(np.column_stack([across, PX_OF_DEGREE * np.asarray(column, dtype=float)[some]]))
    return {name: [column[i] for i in some[seen]] if column else [] for name, column in columns.items()}
