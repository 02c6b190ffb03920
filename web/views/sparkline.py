"""A pour's core in one small picture: what was read, what is forecast with its band, and the limit. SVG, no script.

Pure: numbers in, SVG out. It has no text, so that it may be stretched to any width and height; its colours, dashes and
widths are those of the page's style (classes core, forecast, band, limit, now, inside .spark).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

#: The picture's own units; the page gives it its size.
WIDTH, HEIGHT = 400.0, 100.0
#: Free above and below the curves, so that no line is cut in half.
MARGIN = 5.0
#: The least span of temperatures, K: a pour that rests is a flat line, and not its noise.
LEAST_SPAN_K = 12.0
#: The least span of time, h: the first minutes are not drawn over the whole width.
LEAST_SPAN_H = 1.0


@dataclass(frozen=True, slots=True)
class Band:
    """A forecast of the core: hours since pouring, and °C of its 5, 50 and 95 % points; all of one length."""

    hours: Sequence[float]
    low: Sequence[float]
    middle: Sequence[float]
    high: Sequence[float]


@dataclass(frozen=True, slots=True)
class Course:
    """What is drawn: hours since pouring and °C (None: a gap or a fault), the forecast, the core's limit."""

    hours: Sequence[float]
    celsius: Sequence[float | None]
    now_h: float
    limit_c: float | None = None
    ahead: Band | None = None
    until_h: float | None = None  #: the picture ends here; None: with the forecast, or now


def sparkline(course: Course, label: str = "") -> Markup:
    """Return the picture. label: what a screen reader says of it; "": the page says the same in words beside it."""
    ahead = _ahead(course)
    scale = _scale_of(course, ahead)
    parts = []
    if ahead is not None and ahead.hours:
        parts.append(_path("band", _area(ahead, scale)))
    if course.limit_c is not None:
        level = scale.y(course.limit_c)
        parts.append(_path("limit", f"M0 {level}H{WIDTH:g}"))
    if ahead is not None and ahead.hours:
        parts.append(_path("forecast", _line(ahead.hours, ahead.middle, scale)))
    now = scale.x(course.now_h)
    parts.append(_path("now", f"M{now} 0V{HEIGHT:g}"))
    parts += [_path("core", line) for line in _pieces(course.hours, course.celsius, scale)]
    begin = Markup('<svg class="spark" viewBox="0 0 {:g} {:g}" preserveAspectRatio="none"').format(
        WIDTH, HEIGHT
    )
    drawn = Markup("").join(parts)
    if label:
        return Markup("{}<title>{}</title>{}</svg>").format(begin + Markup(' role="img">'), label, drawn)
    return Markup("{}{}</svg>").format(begin + Markup(' aria-hidden="true">'), drawn)


@dataclass(frozen=True, slots=True)
class _Scale:
    until_h: float
    lowest_c: float
    highest_c: float

    def x(self, hour: float) -> str:
        return f"{WIDTH * min(max(hour / self.until_h, 0.0), 1.0):.1f}"

    def y(self, celsius: float) -> str:
        share = (celsius - self.lowest_c) / (self.highest_c - self.lowest_c)
        return f"{HEIGHT - MARGIN - (HEIGHT - 2 * MARGIN) * share:.1f}"


def _ahead(course: Course) -> Band | None:
    """Return the part of the forecast that lies ahead, as far as it is drawn."""
    band = course.ahead
    if band is None:
        return None
    until_h = math.inf if course.until_h is None else course.until_h
    shown = [i for i, hour in enumerate(band.hours) if course.now_h <= hour <= until_h]
    # From the last point before now on: no gap between what was read and what is to come.
    if shown and shown[0] > 0:
        shown.insert(0, shown[0] - 1)
    return Band(*([values[i] for i in shown] for values in (band.hours, band.low, band.middle, band.high)))


def _scale_of(course: Course, ahead: Band | None) -> _Scale:
    until_h = course.until_h
    if until_h is None:
        until_h = ahead.hours[-1] if ahead is not None and ahead.hours else course.now_h
    seen = [value for value in course.celsius if value is not None]
    seen += [] if ahead is None else [*ahead.low, *ahead.high]
    seen += [] if course.limit_c is None else [course.limit_c]
    lowest, highest = (min(seen), max(seen)) if seen else (0.0, 0.0)
    short = max(0.0, LEAST_SPAN_K - (highest - lowest))
    return _Scale(max(until_h, course.now_h, LEAST_SPAN_H), lowest - short / 2, highest + short / 2)


def _pieces(hours: Sequence[float], celsius: Sequence[float | None], scale: _Scale) -> Iterator[str]:
    """Return the measured line piece by piece: a gap stays a gap. One reading alone is a dot."""
    piece: list[tuple[float, float]] = []
    for hour, value in (*zip(hours, celsius, strict=True), (math.inf, None)):
        if value is not None and hour >= 0:
            piece.append((hour, value))
        elif piece:
            line = _line([at for at, _ in piece], [value for _, value in piece], scale)
            yield line if len(piece) > 1 else f"{line}h0"
            piece = []


def _line(hours: Iterable[float], celsius: Iterable[float], scale: _Scale) -> str:
    points = [f"{scale.x(hour)} {scale.y(value)}" for hour, value in zip(hours, celsius, strict=True)]
    return "M" + "L".join(points)


def _area(band: Band, scale: _Scale) -> str:
    back = _line(band.hours[::-1], band.low[::-1], scale).replace("M", "L", 1)
    return f"{_line(band.hours, band.high, scale)}{back}Z"


def _path(name: str, line: str) -> Markup:
    return Markup('<path class="{}" d="{}" vector-effect="non-scaling-stroke"/>').format(name, line)
