"""Layers and their times: what is advised is followed, and holds."""

from __future__ import annotations

import importlib.util
import math
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from logger.cure.advice.bond import bond_window
from logger.cure.advice.layering import Joint, advise_layers, layer_verdicts
from logger.cure.solver.prediction import predict
from logger.planning.cure_answers import ask_cure
from logger.words.reader import METRIC
from logger.words.render import say


def bench():
    """The bench of advice. Loaded by its path: some packages install a `tests` of their own, which hides ours."""
    place = Path(__file__).parents[2] / "bench" / "advice.py"
    spec = importlib.util.spec_from_file_location("bench_advice", place)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # its dataclass looks itself up there
    spec.loader.exec_module(module)
    return module


BENCH = bench()


@pytest.fixture(scope="module")
def deep(plan_of, slow_casting):
    """Sheets of the slow casting system, too deep for one pour: the hottest shape, and the quickest to solve."""
    return lambda depth_mm, room_c, underside="closed": plan_of(
        slow_casting, "sheet", depth_mm, room_c, form={"underside": underside}
    )


@pytest.fixture(scope="module")
def two(deep):
    """75 mm at 24 °C on a bench and its advice: two layers."""
    plan = deep(75.0, 24.0)
    return plan, advise_layers(plan, 40.0)


@pytest.fixture(scope="module")
def three(deep):
    """100 mm at 24 °C on a bench and its advice: three layers."""
    plan = deep(100.0, 24.0)
    return plan, advise_layers(plan, 40.0)


@pytest.mark.parametrize(("advised", "parts"), [("two", (0.0, 1.0)), ("three", (0.3,))])
def test_layers_followed_to_the_hour_keep_the_limit(advised, parts, request):
    """At the opening, between and at the close of every window, by the full prediction, to the end of their heat: the
    second layer lies on warm resin that still reacts."""
    plan, found = request.getfixturevalue(advised)
    assert sum(found.depths_mm) >= plan.pour.depth_mm
    assert max(found.depths_mm) <= 40.0
    for part in parts:
        assert predict(found.followed(plan, part)).peak_c <= 60.0
    assert found.bonds


def test_two_layers_that_each_hold_alone_are_not_advised_where_they_run_away_together(deep):
    """2 × 50 mm at 22 °C were advised, and reached 89 °C: 50 mm alone stay under the limit."""
    found = advise_layers(deep(100.0, 22.0, "open"), 50.0)
    assert len(found.depths_mm) == 3
    assert predict(found.followed(deep(100.0, 22.0, "open"))).peak_c <= 60.0


def test_followed_layers_bond_at_both_ends_of_their_windows(three):
    """Each joint has its own window, counted from the layer below it: that of the third layer is shorter than that of
    the second, since it lies on warmer resin; the window of the first joint alone would have been too late for it."""
    plan, found = three
    second, third = found.joints
    assert third.until_h < second.until_h - 5.0
    for part in (0.0, 0.5, 1.0):
        assert [one.verdict for one in layer_verdicts(found.followed(plan, part))] == ["bonds", "bonds"]
    # What was advised before: every joint the window of the first.
    alike = found.followed(plan, 1.0)
    late = [
        layer.model_copy(update={"at_h": second.until_h * number})
        for number, layer in enumerate(alike.layer, 1)
    ]
    assert [one.verdict for one in layer_verdicts(alike.model_copy(update={"layer": late}))][1] == "scuff"


def test_layers_poured_early_and_late_by_turns_hold_and_bond(three):
    """The worst of the ways to follow it: a layer that came late still has its heat when the next comes early on it.
    All early and all late were solved alone; the layer on top then reached 5 K more than either."""
    plan, found = three
    second, third = found.joints
    for waits in ((second.until_h, third.from_h), (second.from_h, third.until_h)):
        turns = replace(found, joints=tuple(Joint(wait, None) for wait in waits)).followed(plan)
        assert [one.verdict for one in layer_verdicts(turns)] == ["bonds", "bonds"]
        assert predict(turns).peak_c <= found.peak_c + 0.01 <= 60.01
    assert predict(found.followed(plan)).peak_c < found.peak_c - 3.0


def test_a_window_opens_later_where_its_opening_is_too_hot(two, deep):
    """37.5 mm on 37.5 mm in a room of 24 °C on a bench gels after 38 h and would reach 62 °C then: the advice begins
    later."""
    plan, found = two
    alone = deep(found.depths_mm[0], 24.0)
    gels_h = bond_window(alone, predict(alone)).opens_h
    assert found.joints[0].from_h > gels_h + 1.5
    assert len(found.depths_mm) == 2
    early = replace(found, joints=(Joint(math.ceil(gels_h), None),)).followed(plan)
    assert predict(early).peak_c > 60.0


def test_layers_that_were_planned_keep_their_depths_where_other_times_are_enough(plan_of, slow_casting):
    """Ten hours after the first is too early; the same layers at the advised times hold."""
    plan = plan_of(
        slow_casting,
        "sheet",
        30.0,
        22.0,
        layer=[{"at_h": 10.0, "depth_mm": 25.0}],
        form={"underside": "open"},
    )
    found = advise_layers(plan, 40.0)
    assert found.depths_mm == (30.0, 25.0)
    assert predict(found.followed(plan)).peak_c <= 60.0


def test_where_no_layers_hold_there_is_no_advice(plan_of, quick_coating):
    """60 mm of a coating in a room of 28 °C."""
    assert advise_layers(plan_of(quick_coating, "sheet", 60.0, 28.0), 20.0) is None


def test_a_planned_layer_meets_the_window_of_its_own_joint_in_words(plan_of, slow_casting):
    """Too early says when it gels and gives no other hour as advice; in time says until when."""
    plan = plan_of(slow_casting, "sheet", 25.0, 22.0, layer=[{"at_h": 6.0, "depth_mm": 20.0}])
    (early,) = layer_verdicts(plan)
    assert early.verdict == "too early"
    assert f"has not gelled (about {early.window.opens_h:.0f} h)" in say(early.message, METRIC)
    assert "From about" not in say(early.message, METRIC)
    at_h = math.ceil(early.window.opens_h) + 2.0
    (good,) = layer_verdicts(
        plan_of(slow_casting, "sheet", 25.0, 22.0, layer=[{"at_h": at_h, "depth_mm": 20.0}])
    )
    assert f"until about {good.window.closes_h:.0f} h" in say(good.message, METRIC)


@pytest.mark.parametrize("seed", [9, 12])
def test_no_advice_on_a_random_plan_is_refuted_by_its_own_prediction(seed):
    """Two of the five hundred that tests/bench/advice.py judges: layers at both ends, in the middle and at drawn
    times, the deepest layer, remedies, the room."""
    plan = BENCH.draw_plan(seed)
    followed = BENCH.follow(plan, ask_cure(plan), seed)
    assert followed
    assert [one for one in followed if one.refuted] == []
