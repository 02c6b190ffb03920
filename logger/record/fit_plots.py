"""What a datasheet states beside the curve that was fitted to it, as SVG: one plot for each statement. Pure."""

from __future__ import annotations

import numpy as np

from logger.facts import fact
from logger.record.json_values import JsonView
from logger.record.plots import Dot, Line, PlotMark, plot
from logger.words.reader import Reader

#: A plot shows the specimen for so many times as long as what is stated of it.
SHOWN = 1.6


def fitted_plots(
    fit: JsonView,
    reader: Reader,
    width: float = 420,
    height: float = 230,
) -> list[tuple[str, str]]:
    """Return (statement, SVG) of each statement with a curve.

    `fit` as Fit.to_json gives it; `reader`: in whose units and language.
    """
    plots = []
    for curve in fit["curves"]:
        mine = [point for point in fit["points"] if point["statement"] == curve["statement"]]
        hours = np.asarray(curve["hours"], dtype=float)
        shown_c = np.array([reader.degrees(value) for value in curve["core_c"]])
        peak_h = float(hours[int(shown_c.argmax())])
        marks, dots, last_h = [], [], 0.0
        for point in mine:
            part = point["tolerance_pct"] / 100
            if point["quantity"] == "peak below":
                marks.append(PlotMark(fact("plot-must-stay-below"), level=reader.degrees(point["stated"])))
                last_h = max(last_h, 2 * peak_h)
            elif point["unit"] == "°C":
                stated_h = next((p["stated"] for p in mine if p["quantity"] == "peak time"), peak_h)
                off_c = part * (point["stated"] - curve["core_c"][0])
                off = reader.degrees(point["stated"] + off_c) - reader.degrees(point["stated"])
                dots += [
                    Dot(stated_h, reader.degrees(point["stated"]), full=False, off_value=off),
                    Dot(peak_h, reader.degrees(point["fitted"])),
                ]
                last_h = max(last_h, 2 * peak_h, stated_h)
            elif point["quantity"] != "peak time":
                for hour, full in ((point["stated"], False), (point["fitted"], True)):
                    on = float(np.interp(hour, hours, shown_c))
                    dots.append(Dot(hour, on, full, 0.0 if full else part * hour))
                last_h = max(last_h, *(p["stated"] for p in mine), *(p["fitted"] for p in mine))
        shown = hours <= max(SHOWN * last_h, hours[1])
        line = Line(fact("plot-fitted"), hours[shown].tolist(), shown_c[shown].tolist(), "#a31d12", "", 2.2)
        plots.append(
            (
                curve["statement"],
                plot(
                    [line, *marks, *dots],
                    title=curve["statement"],
                    unit=reader.degree,
                    reader=reader,
                    size=(width, height),
                ),
            )
        )
    return plots
