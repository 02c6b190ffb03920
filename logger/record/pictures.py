"""The plots of one record: what was measured against what was predicted, and the forecasts as they were. Pure."""

from __future__ import annotations

from itertools import pairwise

from logger.facts import fact
from logger.quantities import quantity, temperature
from logger.record.figures import GAP_H
from logger.record.json_values import JsonView
from logger.record.plots import DAYS, HOURS, Dot, Line, PlotMark, ShadedRange, place_line, plot
from logger.words.reader import METRIC, Reader

_ORDER = ("core", "surface", "underside", "room")
PAGE_WIDTH = 680.0
#: From so many hours on the client's curve goes by days.
DAYS_FROM_H = 72.0
#: Sizes of the plots of the air: across the page, and two side by side on paper.
WHOLE, HALF = (PAGE_WIDTH, 170.0), (340.0, 150.0)
#: Height and width of a plot on a phone: its letters are not made smaller.
PHONE = (230.0, 310.0)


def course_plot(
    record: JsonView, reader: Reader = METRIC, height: float = 300, width: float = PAGE_WIDTH
) -> str:
    """Return measured temperatures over the frozen prediction and the resin's limit."""
    curves = sorted(record["curves"], key=lambda curve: _rank(curve["place"]))
    lines = [
        place_line(curve["place"], *_measured(curve, reader))
        for curve in curves
        if _rank(curve["place"]) < len(_ORDER)
    ]
    planned = (record["prediction"] or {}).get("curve", {})
    if planned.get("hours"):
        end = max((line.hours[-1] for line in lines if len(line.hours)), default=planned["hours"][-1])
        shown_at = [at for at, hour in enumerate(planned["hours"]) if hour <= max(end, 1.0)]
        lines.append(
            place_line(
                "planned",
                [planned["hours"][at] for at in shown_at],
                [reader.degrees(planned["core_c"][at]) for at in shown_at],
                fact("plot-core-predicted"),
            )
        )
    limit = record["figures"]["limit_c"]
    marks = (
        []
        if limit is None
        else [PlotMark(fact("plot-limit", limit=temperature(limit, 0)), level=reader.degrees(limit))]
    )
    marks += [
        PlotMark(fact("plot-layer", number=layer["number"]), hour=layer["poured_at_h"])
        for layer in record["layers"]
        if layer["number"] > 1 and layer["poured_at_h"] is not None
    ]
    title = fact("plot-course")
    return plot([*lines, *marks], title=title, unit=reader.degree, reader=reader, size=(width, height))


def cure_plot(
    record: JsonView, reader: Reader = METRIC, height: float = 200, width: float = PAGE_WIDTH
) -> str:
    """Return the measured core alone, with the limit and its hottest moment: for whoever never saw such a plot.

    Over days where the cure took some. A gap in the line is a gap in the readings.
    """
    figures = record["figures"]
    cores = [curve for curve in record["curves"] if curve["place"].partition("-")[0] == "core"]
    last = max((hour for curve in cores for hour in curve["hours"]), default=0.0)
    per, across = (24.0, DAYS) if last >= DAYS_FROM_H else (1.0, HOURS)
    lines = [
        place_line(curve["place"], *_measured(curve, reader, per), fact("plot-middle")) for curve in cores
    ]
    limit, peak, at_h = figures["limit_c"], figures["core_peak_c"], figures["core_peak_at_h"]
    marks: list[PlotMark | Dot] = []
    if limit is not None:
        marks.append(PlotMark(fact("plot-limit", limit=temperature(limit, 0)), level=reader.degrees(limit)))
    if peak is not None and at_h is not None:
        name = fact("plot-hottest", peak=temperature(peak, 0))
        marks.append(Dot(at_h / per, reader.degrees(peak), name=name))
    size = (width, height)
    return plot(
        [*lines, *marks], title=fact("plot-cure"), unit=reader.degree, size=size, reader=reader, across=across
    )


def forecast_plot(record: JsonView, reader: Reader = METRIC, height: float = 300) -> str | None:
    """Return what was forecast at 1, 4 and 12 h against the core as measured; None without a forecast that has a
    band.
    """
    bands, lines = [], []
    for body, (colour, dash) in zip(
        record["forecasts"], (("#0b5c8a", "8 3"), ("#22603d", "2 3"), ("#6b4a00", "9 3 2 3")), strict=False
    ):
        if not body.get("bands"):
            continue
        core = body["bands"]["core_c"]
        hours = body["bands"]["hours"]
        hour = quantity(body["asked_at_h"], "", None)
        bands.append(
            ShadedRange(
                fact("plot-forecast-range", hour=hour),
                hours,
                [reader.degrees(v) for v in core["p05"]],
                [reader.degrees(v) for v in core["p95"]],
                colour,
            )
        )
        lines.append(
            Line(
                fact("plot-forecast-at", hour=hour),
                hours,
                [reader.degrees(v) for v in core["p50"]],
                colour,
                dash,
                1.4,
            )
        )
    if not bands:
        return None
    lines += [
        place_line(curve["place"], *_measured(curve, reader))
        for curve in record["curves"]
        if curve["place"].partition("-")[0] == "core"
    ]
    return plot(
        [*lines, *bands],
        title=fact("plot-forecasts"),
        unit=reader.degree,
        reader=reader,
        size=(PAGE_WIDTH, height),
    )


def air_plot(
    record: JsonView,
    reader: Reader = METRIC,
    size: tuple[float, float] = WHOLE,
) -> str | None:
    """Return the room over the cure; None where nobody measured it."""
    rooms = [curve for curve in record["curves"] if curve["place"].partition("-")[0] == "room"]
    if not rooms:
        return None
    lines = [place_line(room["place"], *_measured(room, reader)) for room in rooms]
    return plot(lines, title=fact("plot-room"), unit=reader.degree, reader=reader, size=size)


def damp_plot(record: JsonView, reader: Reader = METRIC, size: tuple[float, float] = WHOLE) -> str | None:
    """Return the room's relative humidity, hourly means; None where nobody measured it."""
    hours = record["air"]["hours"]
    if not hours:
        return None
    line = Line(
        fact("plot-humidity"),
        [hour + 0.5 for hour, _ in hours],
        [mean for _, mean in hours],
        "#0b5c8a",
        "7 3",
    )
    return plot([line], title=fact("plot-room-humidity"), unit="%", reader=reader, size=size)


def _rank(place: str) -> int:
    kind = place.partition("-")[0]
    return _ORDER.index(kind) if kind in _ORDER else len(_ORDER)


def _measured(curve: JsonView, reader: Reader, per: float = 1.0) -> tuple[list[float], list[float | None]]:
    """Return a measured curve to draw, in units of `per` hours: nothing is drawn across hours without a reading.

    A curve is kept thinned, so that its points lie apart by more than readings do: a gap is four times what is usual.
    """
    hours, values = curve["hours"], _in(curve["celsius"], reader)
    steps = sorted(late - early for early, late in pairwise(hours))
    gap_h = max(GAP_H, 4 * steps[len(steps) // 2]) if steps else GAP_H
    drawn_hours: list[float] = []
    drawn: list[float | None] = []
    for at, (hour, value) in enumerate(zip(hours, values, strict=True)):
        if at and hour - hours[at - 1] > gap_h:
            drawn_hours.append((hours[at - 1] + hour) / 2 / per)
            drawn.append(None)
        drawn_hours.append(hour / per)
        drawn.append(value)
    return drawn_hours, drawn


def _in(values: list[float | None], reader: Reader) -> list[float | None]:
    return [None if value is None else reader.degrees(value) for value in values]
