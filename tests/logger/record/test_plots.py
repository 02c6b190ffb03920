"""Plots are well-formed, hold every reading's place, and are told apart without colour."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from logger.record.compare import compared
from logger.record.pictures import course_plot, cure_plot
from logger.record.plots import MANY, PLACES, Line, PlotMark, ShadedRange, plot, ticks
from logger.words.reader import Reader, units_from

SVG = "{http://www.w3.org/2000/svg}"


def paths(drawn: str) -> list[str]:
    """The d of every path."""
    return [path.get("d", "") for path in ElementTree.fromstring(drawn).iter(f"{SVG}path")]


def test_a_line_is_where_its_numbers_are() -> None:
    """The straight line from (0 h, 20) to (10 h, 40) is drawn by hand from the axes' own ticks."""
    drawn = plot([Line("core", [0.0, 10.0], [20.0, 40.0], width=2.25)], title="t", unit="°C")
    root = ElementTree.fromstring(drawn)
    (line,) = [
        path
        for path in root.iter(f"{SVG}path")
        if path.get("stroke-width") == "2.25" and path.get("d", "").count("L") == 1
    ][:1]
    x0, y0, x1, y1 = (float(v) for v in re.findall(r"-?\d+\.\d", line.get("d", "")))
    at = {text.text: (float(text.get("x", 0)), float(text.get("y", 0))) for text in root.iter(f"{SVG}text")}
    assert x0 == pytest.approx(at["0"][0], abs=0.1)
    assert x1 == pytest.approx(at["10"][0], abs=0.1)
    assert y0 == pytest.approx(at["20"][1] - 3.5, abs=0.1)
    assert y1 == pytest.approx(at["40"][1] - 3.5, abs=0.1)


def test_a_gap_stays_a_gap() -> None:
    """No line where there was no reading."""
    drawn = plot([Line("core", [0, 1, 2, 3, 4], [20, 21, None, 23, 24], "#123456")], title="t", unit="°C")
    (line,) = [d for d in paths(drawn) if d.count("M") == 2]
    assert line.count("L") == 2


def test_nothing_is_drawn_across_hours_without_a_reading() -> None:
    """A station that was off for five hours leaves no word of a failed read: the line stops and begins again."""
    hours = [*(at / 10 for at in range(21)), *(7 + at / 10 for at in range(21))]
    record = {
        "figures": {"limit_c": 60.0, "core_peak_c": None, "core_peak_at_h": None},
        "curves": [{"place": "core", "hours": hours, "celsius": [30.0] * len(hours)}],
        "layers": [],
        "prediction": None,
        "forecasts": [],
    }
    whole = record | {"curves": [{"place": "core", "hours": hours[:21], "celsius": [30.0] * 21}]}
    for draw in (course_plot, cure_plot):
        assert any(path.count("M") == 2 for path in paths(draw(record)))
        assert not any(path.count("M") == 2 for path in paths(draw(whole)))


def test_names_from_elsewhere_cannot_break_out_of_the_drawing() -> None:
    """A title with a tag in it stays text."""
    items = [
        Line("<script>x</script>", [0, 1], [1, 2]),
        PlotMark("<i>", level=1.5),
        ShadedRange("&", [0, 1], [0, 0], [1, 1]),
    ]
    drawn = plot(items, title='"><script>', unit="<b>")
    root = ElementTree.fromstring(drawn)
    assert not [element for element in root.iter() if element.tag.endswith(("script", "b", "i"))]


def test_nothing_to_draw_is_said() -> None:
    """An empty plot is no empty box."""
    assert "No readings" in plot([Line("core", [0], [None])], title="t", unit="°C")


def test_every_line_differs_by_dash_or_by_colour_from_every_other() -> None:
    """WCAG 2.2, 1.4.1: not by colour alone for the places; pours on one sheet are all unlike."""
    assert len({dash for _, dash, _ in PLACES.values()}) == len(PLACES)
    assert len(set(MANY)) == len(MANY)


@pytest.mark.parametrize(("low", "high"), [(0, 72), (18.3, 64.9), (-5, 0.2), (20, 20.001), (0, 1e4)])
def test_ticks_are_round_few_and_inside(low: float, high: float) -> None:
    """Steps of 1, 2, 2.5 or 5 times a power of ten."""
    found = ticks(low, high, 7)
    assert 2 <= len(found) <= 15
    assert all(low - 1e-6 <= value <= high + 1e-6 for value in found)
    step = float(np.diff(found).mean())
    mantissa = step / 10 ** np.floor(np.log10(step) + 1e-9)
    assert min(abs(mantissa - good) for good in (1, 2, 2.5, 5, 10)) < 1e-6


def test_a_pour_is_compared_by_its_hottest_core_from_pouring_on() -> None:
    """What was read before pouring counts for nothing; the predicted core, not the hottest point, is the measure."""
    plan = {"title": "t", "resin": {"name": "r"}, "pour": {"depth_mm": 40.0}, "layer": []}
    curves = [
        {"place": "core", "hours": [-1.0, 0.0, 1.0], "celsius": [90.0, 21.0, 30.0]},
        {"place": "core-2", "hours": [0.0, 1.0], "celsius": [None, 35.0]},
        {"place": "room", "hours": [0.0, 1.0], "celsius": [20.0, 22.0]},
    ]
    found = compared(1, plan, {"peak_c": 50.0, "curve": {"hours": [0, 2], "core_c": [21.0, 33.0]}}, curves)
    assert (found.peak_c, found.predicted_c, found.error_k, found.room_c) == (35.0, 33.0, 2.0, 21.0)
    assert compared(1, plan, None, []).error_k is None


def test_a_pour_that_is_still_watched_is_not_compared_by_the_peak_it_has_so_far() -> None:
    """Two hours after pouring it has read 24 °C: the prediction of 33 °C is not nine degrees off."""
    plan = {"title": "t", "resin": {"name": "r"}, "pour": {"depth_mm": 40.0}, "layer": []}
    predicted = {"peak_c": 50.0, "curve": {"hours": [0, 9], "core_c": [21.0, 33.0]}}
    curves = [{"place": "core", "hours": [0.0, 2.0], "celsius": [21.0, 24.0]}]
    assert compared(1, plan, predicted, curves, unfinished=True).error_k is None
    assert compared(1, plan, predicted, curves).error_k == -9.0


def test_a_plot_is_in_the_readers_units_and_numbers() -> None:
    """°F on the axis and at the limit's line (NIST SP 811, 2008, B.8: 60 °C are 140 °F); a decimal comma in German."""
    record = {
        "curves": [{"place": "core-2", "hours": [0.0, 1.0, 2.0], "celsius": [20.0, 30.0, 40.0]}],
        "prediction": None,
        "figures": {"limit_c": 60.0},
        "layers": [],
    }
    american = course_plot(record, units_from("f.in.gal.lb"))
    texts = ElementTree.fromstring(american).itertext()
    words = [text for text in texts if text.strip()]
    assert "limit 140 °F" in words
    assert "°F" in words
    assert "core-2" in words
    assert "°C" not in american
    german = course_plot(record, Reader(language="de"))
    assert "1,5<" in german
    assert "1.5<" not in german
    assert "1.5<" in course_plot(record)


def test_a_long_name_in_a_legend_is_not_cut() -> None:
    """Other languages' names are half as long again: they get wider columns, and a row more."""
    items = [Line("core", [0.0, 1.0], [20.0, 40.0])]
    items += [Line(f"Vorhersage nach {n} Stunden, 90-%-Bereich", [0.0, 1.0], [20.0, 40.0]) for n in range(3)]
    drawn = plot(items, title="t", unit="°C")
    for item in items:
        assert f">{item.name}<" in drawn
    rows = set(re.findall(r'x="[0-9.]+" y="([0-9.]+)" fill="#1b1a16">(?:core|Vorher)', drawn))
    assert len(rows) == 2
