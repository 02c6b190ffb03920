"""Advice: brackets from runs of the solver, never between them."""

from __future__ import annotations

import math
import re

import pytest

from logger.cure.advice import limits
from logger.cure.advice.limits import Depths, _bracket, deepest_safe, gains, in_allowed_room, remedy, rooms
from logger.cure.solver.prediction import long_enough, predict
from logger.errors import OutOfRange
from logger.words.reader import METRIC
from logger.words.render import say

#: Coefficients of the faces, W/(m²·K), where a plan may give them: a search is ten times quicker then than where they
#: follow the temperatures, as they do in the plans of the other tests.
GIVEN = {"top_w_m2k": 7.0, "bottom_w_m2k": 5.0, "side_w_m2k": 5.0}


def test_the_bracket_holds_on_the_solver_itself(plan_of, slow_casting):
    """The safe end stays under the limit and the other end, at most a millimetre deeper, does not: both are run
    again here, to the end of their cure."""
    plan = plan_of(slow_casting, "sheet", 30.0, 24.0, air=GIVEN)
    found = deepest_safe(plan, depths=Depths(from_mm=20.0))
    assert found.bracket.not_safe - found.bracket.safe <= 1.0
    for depth_mm, peak_c in (
        (found.bracket.safe, found.bracket.at_safe),
        (found.bracket.not_safe, found.bracket.at_not_safe),
    ):
        again = predict(plan_of(slow_casting, "sheet", depth_mm, 24.0, air=GIVEN, run={"hours": 120.0}))
        assert again.peak_c == pytest.approx(peak_c, abs=0.2)
    assert found.bracket.at_safe <= 60.0 < found.bracket.at_not_safe


def test_a_cliff_is_never_crossed_by_interpolation():
    """On an invented cliff (30 mm: 57 °C, 31 mm: 185 °C) only depths that were run are given, and the safe one is
    on the safe side."""
    asked = []

    def peak(depth, _full):
        asked.append(depth)
        return 57.0 if depth < 30.4 else 185.0

    found = _bracket(peak, [5.0, 10.0, 20.0, 40.0, 80.0], lambda p: p <= 60.0, 1.0)
    assert (found.at_safe, found.at_not_safe) == (57.0, 185.0)
    assert found.safe < 30.4 <= found.not_safe
    assert {found.safe, found.not_safe} <= set(asked)
    assert max(asked) == 40.0


def test_an_island_of_safety_beyond_a_danger_is_not_taken():
    """Where a deeper setting would be safe again, the first danger from the safe end still bounds the answer."""
    found = _bracket(
        lambda d, _full: 90.0 if 20 <= d < 50 else 40.0, [5.0, 10.0, 20.0, 60.0], lambda p: p <= 60.0, 1.0
    )
    assert found.safe < 20.0 <= found.not_safe <= 21.0


@pytest.mark.parametrize("edge", [20.3, 23.2, 24.9, 27.6])
def test_full_accuracy_has_the_last_word(edge):
    """Where the long steps and the full accuracy disagree on the edge by some millimetres, the bracket moves to the
    full one's edge and is still no wider than asked."""
    found = _bracket(
        lambda d, full: 90.0 if d >= (edge if full else 24.0) else 40.0, [5.0, 10.0, 20.0, 60.0],
        lambda p: p <= 60.0, 1.0,
    )  # fmt: skip
    assert found.safe < edge <= found.not_safe
    assert found.not_safe - found.safe <= 1.0
    assert (found.at_safe, found.at_not_safe) == (40.0, 90.0)


def test_a_resin_that_is_nowhere_safe_is_told(plan_of, quick_coating):
    """A quick system far too hot already at the first depth tried gives no depth, and says so."""
    found = deepest_safe(
        plan_of(quick_coating, "sheet", 38.0, 28.0, air=GIVEN), depths=Depths(from_mm=15.0, most_mm=40.0)
    )
    assert found.bracket.safe is None
    assert found.depth_mm is None
    assert "not for casting" in say(found.message(), METRIC)


def test_where_everything_is_safe_the_deepest_tried_is_told(plan_of, slow_casting):
    """Within a range that is safe throughout there is no upper end of the bracket."""
    found = deepest_safe(plan_of(slow_casting, "sheet", 10.0, 18.0), depths=Depths(from_mm=5.0, most_mm=14.0))
    assert found.bracket == limits.Bracket(14.0, None, found.bracket.at_safe, None)
    assert "the deepest tried" in say(found.message(), METRIC)


def test_the_datasheet_keeps_the_last_word(plan_of, slow_casting):
    """In a cool room the model allows more than the 50 mm of the datasheet: 50 mm is what is advised."""
    found = deepest_safe(
        plan_of(slow_casting, "river", 30.0, 18.0, air=GIVEN), depths=Depths(from_mm=40.0, most_mm=56.0)
    )
    assert found.bracket.safe > 50.0
    assert found.depth_mm == 50.0
    assert "keep to that" in say(found.message(), METRIC)


def test_the_depth_that_is_printed_is_the_depth_that_was_solved(plan_of, slow_casting):
    """Read off the sentence: the safe one keeps 60 °C, the other, a millimetre deeper and printed apart, does not."""
    said = say(deepest_safe(plan_of(slow_casting, "sheet", 80.0, 23.0)).message(), METRIC)
    one, other = said.split(". ", 1)
    safe, peak = re.search(r"layer: ([\d.]+) mm \(peak ([\d.]+) °C", one).groups()
    not_safe, over = re.search(r"([\d.]+) mm already reaches ([\d.]+) °C", other).groups()
    assert float(not_safe) == float(safe) + 1.0
    assert float(peak) <= 60.0 < float(over)
    for depth_mm, holds in ((safe, True), (not_safe, False)):
        asked = plan_of(slow_casting, "sheet", float(depth_mm), 23.0, run={"hours": 120.0})
        assert (predict(asked).peak_c <= 60.0) is holds


def test_a_peak_just_over_the_limit_is_not_printed_as_the_limit():
    """60.02 °C is 60.1 °C, and what the model does not know has no figure."""
    close = limits.Bracket(44.0, 45.0, 59.96, 60.02)
    said = say(limits.DeepestLayer(close, 60.0, None).message(), METRIC)
    assert "peak 60.0 °C" in said
    assert "45 mm already reaches 60.1 °C; limit 60 °C" in said
    deep = limits.DeepestLayer(limits.Bracket(44.0, 45.0, 59.0, 345.0), 60.0, None)
    beyond = say(deep.message(), METRIC)
    assert "45 mm already reaches over 150.0 °C" in beyond


def test_a_room_range_says_where_its_ends_are_only_what_was_tried():
    """An end that no setting tried passed is no limit."""
    cool, warm = limits.Bracket(5.0, None, 100.0, None), limits.Bracket(40.0, None, 50.0, None)
    said = say(limits.Rooms(cool, warm, 60.0, 120.0).message(), METRIC)
    assert "5.0 °C (the coolest tried;" in said
    assert "40.0 °C (the warmest tried;" in said


def test_a_room_that_the_datasheet_refuses_is_never_changed_in_silence(plan_of, slow_casting):
    """33 °C is taken to 29 °C, and said; a room within the limits stays the plan's own and nothing is said."""
    allowed, words = in_allowed_room(plan_of(slow_casting, "sheet", 30.0, 33.0))
    assert allowed.room_schedule() == [(0.0, 29.0)]
    assert say(words, METRIC) == "in a room of at most 29 °C, as the datasheet asks"
    allowed, words = in_allowed_room(plan_of(slow_casting, "sheet", 30.0, [[0.0, 12.0], [9.0, 31.0]]))
    assert allowed.room_schedule() == [(0.0, 17.0), (9.0, 29.0)]
    assert say(words, METRIC) == "in a room of at most 29 °C and at least 17 °C, as the datasheet asks"
    plan = plan_of(slow_casting, "sheet", 30.0, 22.0)
    assert in_allowed_room(plan) == (plan, "")


def test_a_remedy_is_one_that_its_own_prediction_confirms(plan_of, slow_casting):
    """42 mm on a bench get a little too hot: free air below is enough; where it is open already, something else is."""
    closed = plan_of(slow_casting, "sheet", 42.0, 23.0, form={"underside": "closed"})
    hot_c = predict(closed).peak_c
    assert 60.0 < hot_c < 100.0
    found = remedy(closed, hot_c)
    assert "free air under the form" in say(found.words, METRIC)
    opened = plan_of(slow_casting, "sheet", 42.0, 23.0, form={"underside": "open"}, run={"hours": 150.0})
    assert predict(opened).peak_c == pytest.approx(found.peak_c, abs=0.2)
    assert found.peak_c <= 60.0
    warm = plan_of(slow_casting, "sheet", 50.0, 24.0, form={"underside": "open"}, air={"top_air_m_s": 3.0})
    other = remedy(warm, predict(warm).peak_c)
    room_c = float(re.search(r"a room of ([\d.]+) °C", say(other.words, METRIC))[1])
    cooler = plan_of(
        slow_casting,
        "sheet",
        50.0,
        room_c,
        form={"underside": "open"},
        air={"top_air_m_s": 3.0},
        run={"hours": 150.0},
    )
    assert predict(cooler).peak_c <= 60.0
    assert remedy(closed, 170.0) is None  # a runaway is not talked down with a fan


def test_a_long_run_is_not_cut_to_see_a_peak(plan_of, slow_casting):
    """The plan's own 700 h stay 700 h, and a layer at 500 h is seen to its peak."""
    layers = [{"at_h": 500.0, "depth_mm": 20.0}]
    plan = plan_of(slow_casting, "sheet", 20.0, 22.0, layer=layers, run={"hours": 510.0})
    assert long_enough(plan).run.hours > 550.0
    assert long_enough(plan_of(slow_casting, "sheet", 20.0, 22.0, run={"hours": 700.0})).run.hours == 700.0


def test_a_resin_that_may_be_faster_is_poured_shallower(plan_of, slow_casting):
    """The fit's uncertainty costs depth, never gives it."""
    plan = plan_of(slow_casting, "sheet", 30.0, 24.0, air=GIVEN)
    sure = deepest_safe(plan, depths=Depths(from_mm=30.0, step_mm=2.0))
    unsure = deepest_safe(plan, depths=Depths(from_mm=30.0, step_mm=2.0), faster=1.3)
    assert unsure.depth_mm < sure.depth_mm - 1.0


def test_the_rooms_that_work_lie_between_two_brackets(plan_of, slow_casting):
    """A 40 mm sheet: hard in five days from the coolest room on, under 60 °C up to the warmest; each end is a bracket
    half a degree wide on the right side, and a warmer limit allows a warmer room."""
    plan = plan_of(slow_casting, "sheet", 40.0, 22.0, air=GIVEN)
    found = rooms(plan)
    assert found.works
    assert 15.0 < found.coolest.safe < found.warmest.safe < 30.0
    assert 0 < found.warmest.not_safe - found.warmest.safe <= 0.5
    assert 0 < found.coolest.safe - found.coolest.not_safe <= 0.5
    assert found.coolest.at_safe <= 120.0 < found.coolest.at_not_safe
    assert found.warmest.at_safe <= 60.0 < found.warmest.at_not_safe
    assert "Works in a constant room from" in say(found.message(), METRIC)


def test_where_no_room_suits_it_is_said():
    """When the coolest room that cures is warmer than the warmest that stays cool, no room works."""
    cool = limits.Bracket(24.0, 23.5, 100.0, math.inf)
    warm = limits.Bracket(20.0, 20.5, 59.0, 61.0)
    found = limits.Rooms(cool, warm, 60.0, 120.0)
    assert not found.works
    assert "No room suits" in say(found.message(), METRIC)


def test_a_fan_and_free_air_below_each_buy_something(plan_of, slow_casting):
    """Cooling by a fan, by free air below and by both lowers the peak, in that the two together are the coolest."""
    found = {g.way: g.peak_c for g in gains(plan_of(slow_casting, "sheet", 40.0, 23.0), depths=False)}
    still = found["still air, closed below"]
    assert found["fan"] < still - 1.0
    assert found["free air below"] < still - 1.0
    assert found["fan and free air below"] < min(found["fan"], found["free air below"])


def test_a_given_coefficient_does_not_hide_the_fan(plan_of, slow_casting):
    """A plan that states the top's coefficient still learns what a fan would do."""
    plan = plan_of(slow_casting, "sheet", 40.0, 24.0, air={"top_w_m2k": 8.0})
    found = {g.way: g.peak_c for g in gains(plan, depths=False)}
    assert found["fan"] < found["still air, closed below"] - 0.5


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"limit_c": 20.0}, "above the room"),
        ({"limit_c": 300.0}, "at most 200"),
        ({"faster": 0.0}, "0.1 to 10"),
        ({"depths": Depths(from_mm=0.0)}, "nothing to search"),
        ({"depths": Depths(from_mm=50.0, most_mm=40.0)}, "nothing to search"),
    ],
)
def test_questions_without_an_answer_are_refused(plan_of, slow_casting, options, told):
    """A limit under the room, a depth of nothing, a factor of nothing: refused with the range."""
    with pytest.raises(OutOfRange, match=told):
        deepest_safe(plan_of(slow_casting, "sheet", 30.0, 22.0), **options)
