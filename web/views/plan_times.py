"""When each layer of a plan goes on, and what comes of it: one axis of hours, drawn, and the same in words. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup, escape

from logger import extremes
from logger.facts import Fact
from logger.plan.file import Plan
from logger.planning.finding import Finding
from logger.quantities import hours_alone, length, moment, peak, whole_hours
from logger.words.phrase import phrase
from logger.words.reader import Reader
from logger.words.render import say
from web.views.agenda import JOINTS
from web.views.predicted import Foretold

#: Room for a layer's number at the left, height of a row, of the row of marks and of the axis, px.
GUTTER, ROW, MARKS, AXIS = 30.0, 30.0, 36.0, 26.0
#: Steps of the axis, h; most strokes on it, by its width in px.
STEPS_H = (1, 2, 3, 6, 12, 24, 48, 72, 96, 168, 336)
PER_STROKE = 52.0
#: A mark so much later than all others is named in the list alone: it would squeeze the rest.
FAR = 2.0
#: About how wide a letter of a drawing's words is, px.
LETTER = 7.4


@dataclass(frozen=True, slots=True)
class LayerTimes:
    """One layer, h after the first pour: poured, set (a next one may go on), and until when that bonds by itself.

    joint: what it finds below it, in words; "" for the first.
    """

    at: float
    depth: float
    gels: float | None = None
    bonds_until: float | None = None
    joint: str = ""


@dataclass(frozen=True, slots=True)
class Times:
    """The layers from the bottom up, and what the whole comes to, h after the first pour; None: not known."""

    layers: tuple[LayerTimes, ...]
    peak: float | None
    peak_c: float | None
    release: float | None
    cured: float | None
    #: Soonest and latest, where the resin's glass transition is not stated.
    release_range: tuple[float, float] | None = None
    bonds_range: tuple[float, float] | None = None
    peak_range_c: tuple[float, float] | None = None


def times_of(
    plan: Plan,
    findings: Sequence[Finding],
    foretold: Foretold,
    hottest: tuple[float, float] | None,
    peak_range_c: tuple[float, float] | None = None,
) -> Times:
    """Return when everything happens, as far as it has been worked out.

    hottest: of the whole pour, (h, °C); peak_range_c: between what it may lie, 90 %. Of a pour that runs away the
    layers and that are all there is to say.
    """
    runs_away = hottest is not None and extremes.is_runaway(hottest[1])
    joints = [_joint(finding) for finding in findings if finding.key.startswith("joint-")]
    starts = [0.0, *(layer.at_h for layer in plan.layer)]
    depths = [plan.pour.depth_mm, *(layer.depth_mm for layer in plan.layer)]
    finds = ["", *(JOINTS.get(verdict, "") for _, verdict in foretold.layers)]
    layers = []
    for i, (at, depth) in enumerate(zip(starts, depths, strict=True)):
        window = joints[i] if i < len(joints) else (None, None)
        if i == len(starts) - 1:
            window = foretold.bonds_from_h, foretold.bonds_until_h
            if window[0] is None and len(starts) == 1:
                window = foretold.gel_at_h, None
        if runs_away:
            window = None, None
        layers.append(LayerTimes(at, depth, *window, finds[i] if i < len(finds) else ""))
    return Times(
        tuple(layers),
        hottest and hottest[0],
        hottest and hottest[1],
        None if runs_away else foretold.release_at_h,
        None if runs_away else foretold.full_cure_at_h,
        peak_range_c=peak_range_c,
        release_range=None if runs_away else foretold.release_range_h,
        bonds_range=None if runs_away else foretold.bonds_range_h,
    )


def _joint(finding: Finding) -> tuple[float | None, float | None]:
    """Return from when the layer below has gelled, and from when it must be scuffed: a joint's constants."""
    hours: dict[str, float] = {
        constant.name.code: constant.value
        for constant in finding.constants
        if isinstance(constant.name, Fact)
    }
    return hours.get("constant.layer-below-gels"), hours.get("constant.scuff-from")


def rows_of(times: Times, poured_ms: int | None, now_ms: int, u: Reader) -> list[Mapping[str, Any]]:
    """Return the same as rows of a time line; clock times count from the pour, before it as if it were poured now."""
    rows: list[tuple[float, str, str]] = []
    several = len(times.layers) > 1
    for number, layer in enumerate(times.layers, start=1):
        depth = length(layer.depth, None)
        said = phrase("Pour layer {number}: {depth}", number=number, depth=depth)
        rows.append((layer.at, said if several else phrase("Pour {depth}", depth=depth), layer.joint))
    last = times.layers[-1]
    if last.gels is not None and last.bonds_until is not None:
        until = hours_alone(last.bonds_until)
        bonds = phrase("A next layer bonds without a scuff, until {until}", until=until)
        rows.append((last.gels, bonds, _open(times.bonds_range)))
    if times.peak is not None and times.peak_c is not None and times.peak > 0.05:
        rows.append((times.peak, _hottest(times.peak_c, times.peak_range_c), ""))
    ends = (
        (times.release, phrase("Hard: out of the form"), _open(times.release_range)),
        (times.cured, phrase("Fully cured"), ""),
    )
    rows += [(at, what, note) for at, what, note in ends if at is not None]
    start_ms = now_ms if poured_ms is None else poured_ms
    made: list[Mapping[str, Any]] = []
    for at, text, note in sorted(rows, key=lambda row: row[0]):
        clock = moment(start_ms + round(at * 3_600_000))
        noted = phrase("{clock}: {note}", clock=clock, note=note) if note else clock
        made.append(
            {
                "at": say(hours_alone(at) if at else phrase("{h} h", h=0), u),
                "text": text,
                "note": noted,
                "tone": "",
            }
        )
    return made


def _hottest(peak_c: float, range_c: tuple[float, float] | None) -> str:
    if range_c is None:
        return phrase("At its hottest, about {peak}", peak=peak(peak_c))
    low, high = (peak(celsius) for celsius in range_c)
    return phrase(
        "At its hottest, about {peak} (90 % range {low} to {high})", peak=peak(peak_c), low=low, high=high
    )


def _open(between: tuple[float, float] | None) -> str:
    """Return how far an unstated glass transition leaves an hour open; "" where it hardly does."""
    if between is None or between[1] - between[0] < 1.0:
        return ""
    soonest, latest = whole_hours(between[0]), whole_hours(between[1])
    return phrase(
        "{soonest} to {latest}, as its glass transition is not stated", soonest=soonest, latest=latest
    )


def times_drawing(times: Times, u: Reader, across: int) -> Markup:
    """Return the layers over the hours as SVG, `across` px wide."""
    end = _end(times)
    axis = _Axis(GUTTER, across - 14.0, end)
    parts: list[str] = []
    y = 4.0
    for number, layer in enumerate(times.layers, start=1):
        parts += _row(axis, number, layer, y, end, u)
        y += ROW
    parts += _marks(axis, times, y, end, u)
    y += MARKS
    parts += _hours(axis, y, across, u)
    label = say(phrase("The layers over the hours since the first pour"), u)
    return Markup(
        f'<svg class="drawn" viewBox="0 0 {across} {y + AXIS:.0f}" role="img" aria-label="{escape(label)}">'
        f"{''.join(parts)}</svg>"
    )


@dataclass(frozen=True, slots=True)
class _Axis:
    """Hours to px."""

    left: float
    right: float
    end: float

    def x(self, hours: float) -> float:
        """Return where an hour lies."""
        return self.left + min(hours, self.end) / self.end * (self.right - self.left)


def _end(times: Times) -> float:
    """Return the axis' last hour: all that is near; what comes much later stays out."""
    known = [layer.at for layer in times.layers]
    known += [h for layer in times.layers for h in (layer.gels, layer.bonds_until) if h is not None]
    known += [h for h in (times.peak,) if h is not None]
    near = max(max(known), 1.0)
    later = [h for h in (times.release, times.cured) if h is not None and h <= FAR * near + 24.0]
    return 1.06 * max([near, *later])


def _row(axis: _Axis, number: int, layer: LayerTimes, y: float, end: float, u: Reader) -> list[str]:
    """Draw one layer: liquid, then open to the next one, then set."""
    middle = y + ROW / 2
    spans: list[tuple[str, str, float, float]] = [("open-ended", "", layer.at, end)]
    if layer.gels is not None:
        spans = [("liquid", phrase("liquid"), layer.at, layer.gels)]
        open_until = layer.bonds_until if layer.bonds_until is not None else layer.gels
        spans.append(("open", phrase("bonds"), layer.gels, open_until))
        spans.append(("set", phrase("set"), open_until, end))
    parts = [
        f'<circle class="tag" cx="12" cy="{middle:.1f}" r="9"/>'
        f'<text class="tag-number" x="12" y="{middle + 4.5:.1f}" text-anchor="middle">{number}</text>'
    ]
    for kind, word, start, until in spans:
        left, wide = axis.x(start), axis.x(until) - axis.x(start)
        if wide < 0.5:
            continue
        parts.append(
            f'<rect class="span {kind}" data-from="{start:.2f}" data-until="{until:.2f}" x="{left:.2f}" '
            f'y="{y + 5:.1f}" width="{wide:.2f}" height="{ROW - 10:.1f}"/>'
        )
        said = say(word, u)
        if len(said) * LETTER + 8 <= wide:
            parts.append(
                f'<text class="span-word" x="{left + 6:.1f}" y="{middle + 4.5:.1f}">{escape(said)}</text>'
            )
    return parts


def _marks(axis: _Axis, times: Times, y: float, end: float, u: Reader) -> list[str]:
    """Draw what happens to the whole: hottest, out of the form, cured."""
    marks = (
        ("hottest", phrase("hottest"), times.peak),
        ("hard", phrase("hard"), times.release),
        ("cured", phrase("fully cured"), times.cured),
    )
    parts, taken = [], -1.0
    for kind, word, at in sorted(marks, key=lambda mark: mark[2] or 0.0):
        if at is None or at > end or at < 0.05:
            continue
        x, said = axis.x(at), say(word, u)
        wide = len(said) * LETTER
        left = min(max(x - wide / 2, 2.0), axis.right + 12 - wide)
        if left < taken:
            continue  # the list below has it
        parts.append(f'<path class="mark {kind}" d="M{x:.1f} {y + 2:.1f}l6 8h-12z"/>')
        taken = left + wide + 8
        parts.append(f'<text class="mark-word" x="{left:.1f}" y="{y + 26:.1f}">{escape(said)}</text>')
    return parts


def _hours(axis: _Axis, y: float, across: int, u: Reader) -> list[str]:
    """Draw the axis with its hours."""
    step = next((s for s in STEPS_H if axis.end / s <= (across - GUTTER) / PER_STROKE), STEPS_H[-1])
    parts = [f'<path class="axis" d="M{axis.left:.1f} {y:.1f}H{axis.right:.1f}"/>']
    for i in range(int(axis.end // step) + 1):
        x, said = axis.x(i * step), u.number(i * step, 0)
        if i == 0:
            said = say(phrase("{h} h", h=0), u)
        anchor = "start" if i == 0 else "middle"
        parts.append(f'<path class="axis" d="M{x:.1f} 4V{y + 5:.1f}"/>')
        parts.append(f'<text class="hour" x="{x:.1f}" y="{y + 19:.1f}" text-anchor="{anchor}">{said}</text>')
    return parts
