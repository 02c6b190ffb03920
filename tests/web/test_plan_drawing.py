"""A plan's drawing: true to scale, whatever its proportions, in the reader's units; and its layers over the hours."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest

from logger.plan.file import plan_from_table, plan_from_text
from logger.words.reader import units_from
from logger.words.render import say
from web.views.plan_drawing import cut_of, section_drawing
from web.views.plan_times import LayerTimes, Times, rows_of, times_drawing, times_of
from web.views.predicted import foretold, foretold_of, frozen, predicted_of

METRIC, AMERICAN = units_from(None), units_from("f.in.gal.lb")
WIDTHS = (324, 720)


def drawn(plan_toml: str, reader: Any = METRIC, across: int = 720, **pour: Any) -> ET.Element:
    """The section of the plan with another pour, layers and slabs."""
    table = plan_from_text(plan_toml).model_dump(exclude_none=True, mode="json")
    table |= {key: pour.pop(key) for key in ("layer", "slab", "outline") if key in pour}
    table["pour"] = pour
    return ET.fromstring(str(section_drawing(cut_of(plan_from_table(table)), reader, across)))


def layers(drawing: ET.Element, times: str | None = None) -> list[list[tuple[float, float]]]:
    """The corners of each layer: of the whole section, or of what is drawn so many times larger."""
    shapes = [
        one for one in drawing.iter("polygon") if one.get("data-layer") and one.get("data-times") == times
    ]
    return [[tuple(map(float, pair.split(","))) for pair in one.get("points", "").split()] for one in shapes]  # type: ignore[misc]


def size(corners: list[tuple[float, float]]) -> tuple[float, float]:
    """How wide and how high, px."""
    across, down = zip(*corners, strict=True)
    return max(across) - min(across), max(down) - min(down)


def px_per_mm(drawing: ET.Element) -> float:
    """What the scale bar says."""
    (bar,) = [one for one in drawing.iter("path") if one.get("class") == "bar"]
    left, right = re.findall(r"[MH]([\d.]+)", bar.get("d", ""))
    return (float(right) - float(left)) / float(bar.get("data-mm", ""))


def words(drawing: ET.Element) -> str:
    """All that is written in it, with plain spaces."""
    return " | ".join(text.text or "" for text in drawing.iter("text")).replace("\u00a0", " ")


@pytest.mark.parametrize("across", WIDTHS)
@pytest.mark.parametrize(
    ("width", "depth"), [(250.0, 40.0), (1200.0, 40.0), (60.0, 300.0), (185.0, 75.0), (4000.0, 6.0)]
)
def test_width_and_depth_are_drawn_by_the_scale_that_the_bar_shows(
    plan_toml: str, across: int, width: float, depth: float
) -> None:
    """An extreme pour is never stretched: both directions have one scale, and the bar tells it."""
    drawing = drawn(plan_toml, across=across, shape="river", depth_mm=depth, width_mm=width)
    (layer,) = layers(drawing)
    scale = px_per_mm(drawing)
    assert size(layer) == pytest.approx((width * scale, depth * scale), abs=0.1)


@pytest.mark.parametrize("across", WIDTHS)
def test_what_would_be_a_thread_is_drawn_again_larger_and_says_how_much(plan_toml: str, across: int) -> None:
    """1200 x 40 mm: its middle, true to its own scale, as many times larger as it says."""
    drawing = drawn(plan_toml, across=across, shape="river", depth_mm=40.0, width_mm=1200.0)
    times = int(re.search(r"drawn (\d+) times larger", words(drawing))[1])  # type: ignore[index]
    (large,) = layers(drawing, str(times))
    assert size(large)[1] == pytest.approx(40.0 * times * px_per_mm(drawing), rel=0.002)
    assert size(large)[1] > 100


def test_each_layer_has_its_own_depth_and_its_number_from_the_bottom_up(plan_toml: str) -> None:
    """20, 30 and 25 mm, as they are poured."""
    more = [{"at_h": 40.0, "depth_mm": 30.0}, {"at_h": 80.0, "depth_mm": 25.0}]
    drawing = drawn(plan_toml, shape="river", depth_mm=20.0, width_mm=180.0, layer=more)
    made, scale = layers(drawing), px_per_mm(drawing)
    assert [size(one)[1] / scale for one in made] == pytest.approx([20.0, 30.0, 25.0], abs=0.1)
    bottoms = [max(y for _, y in one) for one in made]
    assert bottoms == sorted(bottoms, reverse=True)
    assert {"1", "2", "3"} <= set(words(drawing).split(" | "))


def test_an_edge_that_leans_is_drawn_leaning(plan_toml: str) -> None:
    """8 degrees over 75 mm: 10.5 mm at each side (trigonometry)."""
    drawing = drawn(plan_toml, shape="river", depth_mm=75.0, width_mm=185.0, outline={"edge_slope_deg": 8.0})
    (layer,) = layers(drawing)
    widths = sorted({round(x, 1) for x, _ in layer})
    assert (widths[1] - widths[0]) / px_per_mm(drawing) == pytest.approx(10.54, abs=0.2)


def test_lengths_are_said_in_the_readers_unit(plan_toml: str) -> None:
    """Millimetres, or inches and fractions; the bar too."""
    metric, american = (
        words(drawn(plan_toml, reader, shape="river", depth_mm=38.1, width_mm=254.0))
        for reader in (METRIC, AMERICAN)
    )
    assert "254 mm" in metric
    assert "38.1 mm" in metric
    assert "10 in" in american
    assert "1 1/2 in" in american
    assert "mm" not in american


def test_slabs_panel_and_probes_stand_where_they_belong(plan_toml: str) -> None:
    """A slab beside each bank; surface above core above underside; a sheet has no bank."""
    slab = {"species": "oak", "thickness_mm": 50.0, "width_mm": 300.0, "length_mm": 1500.0}
    both = [slab | {"name": "left slab"}, slab | {"name": "right slab"}]
    drawing = drawn(plan_toml, shape="river", depth_mm=40.0, width_mm=250.0, slab=both)
    beside = [one for one in drawing.iter("polygon") if one.get("data-part") == "beside"]
    assert [one.get("class") for one in beside] == ["wood", "wood"]
    at = {
        kind: float(one.get("cy", "nan"))
        for one in drawing.iter("circle")
        for kind in ("surface", "core", "underside")
        if kind in (one.get("class") or "")
    }
    assert at["surface"] < at["core"] < at["underside"]
    sheet = drawn(plan_toml, shape="sheet", depth_mm=6.0)
    assert not [one for one in sheet.iter("polygon") if one.get("data-part") == "beside"]
    assert "mm" in words(sheet)


def test_a_layers_span_stands_at_its_hours_on_the_axis() -> None:
    """Poured at 45 h, set at 74 h, open to the next until 91 h: by one scale from the first hour on."""
    first, second = LayerTimes(0.0, 37.5, 36.0, 54.0), LayerTimes(45.0, 37.5, 74.0, 91.0)
    drawing = ET.fromstring(str(times_drawing(Times((first, second), 63.0, 40.0, 120.0, 473.0), METRIC, 720)))
    spans = [
        (
            float(one.get("x", "")),
            float(one.get("width", "")),
            float(one.get("data-from", "")),
            one.get("class"),
        )
        for one in drawing.iter("rect")
    ]
    scale = next(wide / (54.0 - 36.0) for _, wide, at, kind in spans if kind == "span open" and at == 36.0)
    left = spans[0][0]
    for x, _wide, hour, _kind in spans:
        assert x == pytest.approx(left + hour * scale, abs=0.2)
    assert "473" not in words(drawing)


def test_nothing_written_in_a_drawing_is_smaller_than_twelve_pixels() -> None:
    """At the width that it is drawn for: the sizes stand in plan.css."""
    from web.views.render import STATIC

    sizes = re.findall(r"\.drawn [^{]*\{[^}]*font-size: ([\d.]+)px", (STATIC / "plan.css").read_text("utf-8"))
    assert sizes
    assert min(map(float, sizes)) >= 12


def test_an_unstated_glass_transition_is_a_range_in_the_list_of_times() -> None:
    """Hard between two hours, and why; a stated one leaves one hour."""
    layer = LayerTimes(0.0, 30.0, 36.0, 54.0)
    open_times = Times(
        (layer,), 30.0, 40.0, 120.0, 473.0, release_range=(59.0, 182.0), bonds_range=(47.0, 103.0)
    )
    notes = {say(row["text"], METRIC): say(row["note"], METRIC) for row in rows_of(open_times, 0, 0, METRIC)}
    assert "59 h to 182 h, as its glass transition is not stated" in notes["Hard: out of the form"]
    assert "47 h to 103 h" in next(
        note for text, note in notes.items() if text.startswith("A next layer bonds")
    )
    stated = rows_of(Times((layer,), 30.0, 40.0, 120.0, 473.0), 0, 0, METRIC)
    assert not [row for row in stated if "not stated" in say(row["note"], METRIC)]


def test_a_plans_range_of_hard_times_is_frozen_with_it(plan_toml: str) -> None:
    """Kept as JSON and read again; its ends lie around the hour that is foretold."""
    course = predicted_of(plan_toml)
    kept = json.loads(json.dumps(frozen(course)))
    read = foretold_of(plan_toml, kept)
    assert read == foretold(course)
    assert read.release_range_h is not None
    assert read.release_at_h is not None
    assert read.release_range_h[0] <= read.release_at_h <= read.release_range_h[1]
    stated = plan_toml + "[resin.glass]\ntg_inf_c = 85\n"
    assert foretold(predicted_of(stated)).release_range_h is None


def test_what_is_foretold_reaches_the_list_of_times(plan_toml: str) -> None:
    """The hour of release, with its range and why, and the peak's own beside it: neither in the other's place."""
    course = predicted_of(plan_toml)
    times = times_of(course.plan, [], foretold(course), (30.0, 40.0), (35.0, 50.0))
    notes = {say(row["text"], METRIC): say(row["note"], METRIC) for row in rows_of(times, 0, 0, METRIC)}
    assert "not stated" in notes["Hard: out of the form"]
    hottest = next(text for text in notes if text.startswith("At its hottest"))
    assert "35 °C to 50 °C" in hottest
