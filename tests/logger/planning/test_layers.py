"""A layer plan as advice."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.cure.advice.layering import Joint, LayerPlan, equal_layers
from logger.cure.solver.prediction import predict
from logger.errors import OutOfRange
from logger.plan.file import plan_from_text
from logger.planning.assess import assess
from logger.planning.finding import Light
from logger.planning.physics.layers import each_wait_h, layer_advice
from logger.words.render import say


@pytest.mark.parametrize(
    ("total", "deepest", "parts"),
    # ⌈total / deepest⌉ equal layers, by hand; a third of a millimetre is rounded up to a tenth
    [(75, 50, [37.5, 37.5]), (50, 50, [50]), (100, 50, [50, 50]), (101, 50, [33.7] * 3), (12, 50, [12])],
)
def test_a_deep_pour_is_split_into_equal_layers(total: float, deepest: float, parts: list[float]) -> None:
    """None deeper than allowed, and no more layers than needed."""
    assert equal_layers(total, deepest) == pytest.approx(parts)


@pytest.mark.parametrize("deepest", [0.0, -5.0, math.nan])
def test_a_deepest_layer_that_cannot_be_is_refused(deepest: float) -> None:
    """Value, unit and remedy."""
    with pytest.raises(OutOfRange, match="mm") as refusal:
        equal_layers(75, deepest)

    assert "datasheet" in say(refusal.value.remedy)


@given(total=st.floats(1, 1000), deepest=st.floats(1, 200))
def test_layers_fill_the_depth(total: float, deepest: float) -> None:
    """They add up to it or to a tenth of a millimetre each more, and none is too deep."""
    parts = equal_layers(total, deepest)

    assert total - 1e-6 <= sum(parts) <= total + 0.1 * len(parts) + 1e-6
    assert max(parts) <= deepest + 1e-6


def plan(*joints: Joint, depth_mm: float = 37.5, peak_c: float = 52.3) -> LayerPlan:
    """Equal layers with these joints."""
    count = len(joints) + 1
    return LayerPlan((depth_mm,) * count, (None,) * count, joints, peak_c)


def said(layers: LayerPlan) -> str:
    """The advice in words."""
    return say(layer_advice(layers))


def test_two_layers_have_one_window_and_what_to_do_after_it() -> None:
    """The wait counts from the layer below; later it is scuffed, the walls too; the promised peak is rounded up."""
    words = said(plan(Joint(42.0, 53.0)))

    assert words.startswith("Pour 2 layers of 37.5 mm. Layer 2: 42 to 53 h after layer 1.")
    assert "later scuff it" in words
    assert "walls" in words
    assert words.endswith("it stays under 53 °C in 19 of 20 cases.")


def test_one_wait_for_all_layers_where_their_windows_share_one() -> None:
    """The latest opening and the earliest close."""
    layers = plan(Joint(46.0, 63.0), Joint(41.0, 53.0))

    assert each_wait_h(layers) == (46.0, 53.0)
    assert "Wait 46 to 53 h before each next one." in said(layers)


@pytest.mark.parametrize("second", [Joint(20.0, 30.0), Joint(34.0, 46.0)])
def test_windows_that_share_no_time_worth_the_name_are_told_one_by_one(second: Joint) -> None:
    """None at all, or an hour."""
    layers = (
        plan(Joint(25.0, 35.0), Joint(34.0, 46.0))
        if second.from_h == 34.0
        else plan(Joint(40.0, 50.0), second)
    )

    assert each_wait_h(layers) is None
    words = said(layers)
    assert "Layer 2: " in words
    assert f"Layer 3: {second.from_h:g} to {second.until_h:g} h after layer 2." in words


def test_a_layer_that_must_wait_until_the_one_below_is_glass_is_scuffed() -> None:
    """It has a beginning, no end, and the scuff before it."""
    words = said(plan(Joint(120.0, None)))

    assert "Layer 2: not before 120 h after layer 1; scuff it" in words
    assert "bonds by itself" not in words


def test_layers_that_are_not_alike_are_each_named() -> None:
    """From the bottom up."""
    layers = LayerPlan((40.0, 30.0, 20.0), (None,) * 3, (Joint(40.0, 50.0), Joint(40.0, 50.0)), 50.0)

    assert said(layers).startswith("Pour 3 layers: 40 mm, 30 mm and 20 mm.")


def test_a_plan_says_what_its_unstated_glass_transition_leaves_open(plan_toml: str) -> None:
    """Range and remedy; nothing of it once the datasheet's Tg is there."""
    plan = plan_from_text(plan_toml)
    found = [f for f in assess(plan, predict(plan)).findings if f.key == "glass-open"]
    assert len(found) == 1
    text = say(found[0].sentence)
    assert "With a glass transition from 65 °C to 105 °C" in text
    assert "Its datasheet's glass transition (Tg), on the resin's page, narrows this" in text
    stated = plan_from_text(plan_toml + "[resin.glass]\ntg_inf_c = 80\n")
    assert "glass-open" not in {f.key for f in assess(stated, predict(stated)).findings}


def test_a_plan_beyond_the_laws_of_its_air_says_so(plan_toml: str) -> None:
    """A finding of its own, that stops nothing: a small quick pour in a thin ring, its coefficients left out."""
    small = re.sub(r"\w+_w_m2k = \S+\n", "", plan_toml).replace('shape = "river"', 'shape = "round"')
    small = re.sub(r"depth_mm = \d+\nwidth_mm = \d+", "depth_mm = 25\nwidth_mm = 30", small)
    small = re.sub(r"k2_per_s = \S+", "k2_per_s = 3e-4", small)
    ring = "[form.{}]\nthickness_mm = 2\n"
    plan = plan_from_text(
        small + "[form]\nunderside = 'open'\n" + ring.format("side") + ring.format("bottom")
    )
    found = [f for f in assess(plan, predict(plan)).findings if f.key == "law-left"]
    assert [f.light for f in found] == [Light.OK] * len(found)
    assert any("still air over it was never measured" in say(f.sentence) for f in found)
