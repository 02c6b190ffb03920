"""Plots of a record as SVG: lines over hours, distinct by dash and by name, not by colour alone. Pure.

The same drawing serves the page, the PDF and paper; it needs no script, and its numbers are the record's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from logger.facts import fact
from logger.places import place_name
from logger.record.straighten import straightened
from logger.words.reader import METRIC, Reader
from logger.words.render import say

#: Unlike by dash and width as well, for prints without colour; red is the limit's alone. Place → stroke, dash, width.
PLACES = {
    "core": ("#1b1a16", "", 2.3),
    "surface": ("#0b5c8a", "7 3", 1.5),
    "underside": ("#8a5a00", "2 3", 1.5),
    "room": ("#6a6a6a", "9 3 2 3", 1.3),
    "planned": ("#5d4a8a", "5 3", 1.4),
}
#: For pours laid over one another: stroke and dash, all pairs unlike.
MANY = [
    (colour, dash)
    for dash in ("", "8 3", "2 3", "10 3 2 3")
    for colour in ("#a31d12", "#0b5c8a", "#22603d", "#6b4a00", "#3d3a8c", "#1b1a16")
]
#: What stands below a plot.
HOURS, DAYS = fact("plot-hours"), fact("plot-days")
_INK, _GRID, _STOP = "#1b1a16", "#d8d2c3", "#96161a"
_LEFT, _RIGHT, _TOP, _BOTTOM = 44.0, 12.0, 10.0, 34.0
_FONT = "'DejaVu Sans','Noto Sans',sans-serif"


@dataclass(frozen=True, slots=True)
class Line:
    """One line: hours and values, None where there is a gap."""

    name: str
    hours: Sequence[float]
    values: Sequence[float | None]
    colour: str = _INK
    dash: str = ""
    width: float = 1.5


@dataclass(frozen=True, slots=True)
class ShadedRange:
    """A shaded range between two lines of values."""

    name: str
    hours: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    colour: str = "#a31d12"


@dataclass(frozen=True, slots=True)
class PlotMark:
    """Something that happened at an hour, or a level that should not be passed."""

    name: str
    hour: float | None = None
    level: float | None = None


@dataclass(frozen=True, slots=True)
class Dot:
    """One number: full, or hollow with how far it may be off, to the sides (hours) or up and down (values); its name
    stands beside it.
    """

    hour: float
    value: float
    full: bool = True
    off_h: float = 0.0
    off_value: float = 0.0
    name: str = ""


def place_line(place: str, hours: Sequence[float], values: Sequence[float | None], name: str = "") -> Line:
    """Return the line of a place in its own colour and dash."""
    kind, _, number = place.partition("-")
    colour, dash, width = PLACES.get(kind, PLACES["room"])
    return Line(
        name or (fact("plot-planned") if kind == "planned" else place_name(place)),
        hours,
        values,
        colour,
        dash,
        width * (0.7 if number else 1.0),
    )


def plot(
    items: Sequence[Line | ShadedRange | PlotMark | Dot],
    *,
    title: str,
    unit: str,
    size: tuple[float, float] = (680.0, 300.0),
    reader: Reader = METRIC,
    across: str = HOURS,
) -> str:
    """Return a plot over hours since pouring as SVG; `size`: width and height. `reader`: in whose language; values and
    `unit` are in theirs already. `across`: what the hours are called, where they were made days.

    A line without a single value is left out; a plot without any value says so.
    """
    width, height = size
    title = say(title, reader)
    bands = [item for item in items if isinstance(item, ShadedRange)]
    marks = [item for item in items if isinstance(item, PlotMark)]
    dots = [item for item in items if isinstance(item, Dot)]
    lines = [item for item in items if isinstance(item, Line)]
    drawn = [line for line in lines if any(value is not None for value in line.values)]
    values = [value for line in drawn for value in line.values if value is not None]
    values += [value for band in bands for value in (*band.low, *band.high)]
    at = [
        hour
        for line in drawn
        for hour, value in zip(line.hours, line.values, strict=True)
        if value is not None
    ]
    at += [hour for band in bands for hour in band.hours]
    values += [value for dot in dots for value in (dot.value - dot.off_value, dot.value + dot.off_value)]
    at += [hour for dot in dots for hour in (dot.hour - dot.off_h, dot.hour + dot.off_h)]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" '
        f'height="{height:g}" role="img" aria-label={quoteattr(title)} font-family="{_FONT}" font-size="10">'
        f"<title>{escape(title)}</title>"
        f'<rect width="{width:g}" height="{height:g}" fill="#ffffff"/>'
    )
    if not values:
        nothing = escape(say(fact("plot-no-readings"), reader))
        return (
            head + f'<text x="{width / 2:g}" y="{height / 2:g}" text-anchor="middle">{nothing}</text></svg>'
        )
    values += [mark.level for mark in marks if mark.level is not None]
    named: list[Line | ShadedRange] = [*drawn, *bands]
    names = [say(item.name, reader) for item in named]
    columns = _columns(names, width)
    rows = 1 + (len(names) - 1) // columns
    frame = _Frame(width, height - 14 * rows, min(0.0, *at), max(at), min(values), max(values), reader)
    pieces = [head, frame.grid(unit, across)]
    pieces += [frame.area(band) for band in bands]
    pieces += [frame.mark(mark) for mark in marks]
    pieces += [frame.path(line) for line in drawn]
    pieces += [frame.dot(dot) + frame.name_of(dot, marks) for dot in dots]
    pieces.append(_legend(named, names, columns, width, height - 14 * rows + 4))
    return "".join(pieces) + "</svg>"


def ticks(low: float, high: float, about: int) -> list[float]:
    """Return round numbers within a span, about so many."""
    span = max(high - low, 1e-9)
    raw = span / max(about, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(factor * power for factor in (1.0, 2.0, 2.5, 5.0, 10.0) if factor * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    return [round(number * step, 10) for number in range(first, math.floor(high / step + 1e-9) + 1)]


#: A plot shows at least this span of temperatures, °C.
LEAST_SPAN_C = 5.0


class _Frame:
    """Where hours and values are on the sheet."""

    def __init__(
        self, width: float, height: float, h0: float, h1: float, low: float, high: float, reader: Reader
    ) -> None:
        self.reader = reader
        self.width, self.height = width, height
        self.h0, self.h1 = h0, max(h1, h0 + 0.1)
        # A steady room is drawn as one: half a degree of probe noise must not fill the frame.
        short = max(LEAST_SPAN_C - (high - low), 0.0) / 2
        low, high = low - short, high + short
        room = 0.05 * max(high - low, 1.0)
        self.low, self.high = low - room, high + room

    def x(self, hour: float) -> float:
        return _LEFT + (hour - self.h0) / (self.h1 - self.h0) * (self.width - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        return (
            self.height
            - _BOTTOM
            - (value - self.low) / (self.high - self.low) * (self.height - _TOP - _BOTTOM)
        )

    def grid(self, unit: str, across: str) -> str:
        right, bottom = self.width - _RIGHT, self.height - _BOTTOM
        pieces = []
        for value in ticks(self.low, self.high, 6):
            y = self.y(value)
            pieces.append(
                _rule(f"M{_LEFT:g} {y:.1f}H{right:g}")
                + _word(_LEFT - 5, y + 3.5, self.reader.number(value), "end")
            )
        for hour in ticks(self.h0, self.h1, 9 if self.width > 500 else 5):
            x = self.x(hour)
            pieces.append(
                _rule(f"M{x:.1f} {_TOP:g}V{bottom:g}")
                + _word(x, bottom + 13, self.reader.number(hour), "middle")
            )
        pieces.append(
            _word(right, bottom + 26, say(across, self.reader), "end") + _word(4, bottom + 26, unit, "start")
        )
        pieces.append(f'<path d="M{_LEFT:g} {_TOP:g}V{bottom:g}H{right:g}" fill="none" stroke="{_INK}"/>')
        return "".join(pieces)

    def path(self, line: Line) -> str:
        steps = []
        pairs = zip(line.hours, line.values, strict=True)
        for there, piece in groupby(pairs, lambda pair: pair[1] is not None):
            if not there:
                continue
            points = [(self.x(hour), self.y(value)) for hour, value in piece if value is not None]
            steps.append(f"M{_through(points)}")
        dash = f' stroke-dasharray="{line.dash}"' if line.dash else ""
        return (
            f'<path d="{"".join(steps)}" fill="none" stroke="{line.colour}" stroke-width="{line.width:g}"'
            f'{dash} stroke-linejoin="round"/>'
        )

    def dot(self, dot: Dot) -> str:
        x, y = self.x(dot.hour), self.y(dot.value)
        bars = ""
        if dot.off_h:
            left, right = self.x(dot.hour - dot.off_h), self.x(dot.hour + dot.off_h)
            bars += f"M{left:.1f} {y - 4:.1f}v8M{left:.1f} {y:.1f}H{right:.1f}m0 -4v8"
        if dot.off_value:
            high, low = self.y(dot.value + dot.off_value), self.y(dot.value - dot.off_value)
            bars += f"M{x - 4:.1f} {high:.1f}h8M{x:.1f} {high:.1f}V{low:.1f}m-4 0h8"
        fill = _INK if dot.full else "#ffffff"
        return (f'<path d="{bars}" fill="none" stroke="{_INK}" stroke-width="1.6"/>' if bars else "") + (
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{fill}" stroke="{_INK}" stroke-width="2"/>'
        )

    def name_of(self, dot: Dot, marks: Sequence[PlotMark]) -> str:
        """Return a dot's name beside it, above a level's line that would run through it."""
        if not dot.name:
            return ""
        x, y = self.x(dot.hour), self.y(dot.value) - 7
        levels = [self.y(mark.level) for mark in marks if mark.level is not None]
        y = min([y, *(level - 4 for level in levels if y - 10 < level < y + 8)])
        right = x > 0.6 * self.width
        return (
            f'<text x="{x + (-8 if right else 8):.1f}" y="{y:.1f}" text-anchor="{"end" if right else "start"}" '
            f'fill="{_INK}" font-weight="bold">{escape(say(dot.name, self.reader))}</text>'
        )

    def area(self, band: ShadedRange) -> str:
        if not len(band.hours):
            return ""
        there, back = (
            _through([(self.x(h), self.y(v)) for h, v in zip(band.hours, values, strict=True)][::step])
            for values, step in ((band.high, 1), (band.low, -1))
        )
        return f'<path d="M{there}L{back}Z" fill="{band.colour}" fill-opacity=".16"/>'

    def mark(self, mark: PlotMark) -> str:
        if mark.level is not None:
            y = self.y(mark.level)
            return (
                f'<path d="M{_LEFT:g} {y:.1f}H{self.width - _RIGHT:g}" stroke="{_STOP}" stroke-width="1.6"/>'
                f'<text x="{self.width - _RIGHT - 2:g}" y="{y - 3:.1f}" text-anchor="end" fill="{_STOP}">'
                f"{escape(say(mark.name, self.reader))}</text>"
            )
        if mark.hour is None or not self.h0 <= mark.hour <= self.h1:
            return ""
        x = self.x(mark.hour)
        return (
            f'<path d="M{x:.1f} {_TOP:g}V{self.height - _BOTTOM:g}" stroke="{_INK}" stroke-width=".8" '
            f'stroke-dasharray="1 2"/><text x="{x + 2:.1f}" y="{_TOP + 9:g}" fill="{_INK}">'
            f"{escape(say(mark.name, self.reader))}</text>"
        )


def _through(points: Sequence[tuple[float, float]]) -> str:
    """Return the steps of a path through points, without those that nobody would miss."""
    return "L".join(f"{x:.1f} {y:.1f}" for x, y in straightened(np.array(points)))


def _rule(path: str) -> str:
    return f'<path d="{path}" stroke="{_GRID}" stroke-width=".7"/>'


def _word(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{_INK}">{escape(text)}</text>'


#: Columns of a legend at most; of more names than this some are cut rather than given rows of their own.
COLUMNS, MANY_NAMES = 4, 8


def _columns(names: Sequence[str], width: float) -> int:
    """Return in how many columns a legend's names are written whole; with many of them, as many as there are."""
    longest = max(len(name) for name in names)
    if len(names) > MANY_NAMES:
        return COLUMNS
    return next((n for n in range(COLUMNS, 1, -1) if longest <= _letters(width, n)), 1)


def _letters(width: float, columns: int) -> int:
    """Return how many letters of a name have room beside its sample."""
    return int(((width - _LEFT) / columns - 29) / 5)


def _legend(
    items: Sequence[Line | ShadedRange], names: Sequence[str], columns: int, width: float, top: float
) -> str:
    pieces = []
    slot, most = (width - _LEFT) / columns, _letters(width, columns)
    for number, (item, whole) in enumerate(zip(items, names, strict=True)):
        x, y = _LEFT + slot * (number % columns), top + 14 * (number // columns)
        if isinstance(item, ShadedRange):
            key = f'<rect x="{x:.1f}" y="{y - 3:.1f}" width="24" height="8" fill="{item.colour}" fill-opacity=".25"/>'
        else:
            dash = f' stroke-dasharray="{item.dash}"' if item.dash else ""
            key = (
                f'<path d="M{x:.1f} {y + 1:.1f}h24" stroke="{item.colour}" stroke-width="{item.width:g}"'
                f"{dash}/>"
            )
        name = whole if len(whole) <= most else whole[: most - 1] + "…"
        pieces.append(f'{key}<text x="{x + 29:.1f}" y="{y + 4.5:.1f}" fill="{_INK}">{escape(name)}</text>')
    return "".join(pieces)
