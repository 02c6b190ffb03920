"""What planning advises with numbers, fed back as a plan: its own prediction agrees. Invented resin throughout."""

from __future__ import annotations

import re
from typing import Any

import pytest

from logger.cure.advice.limits import deepest_safe
from logger.cure.solver.prediction import long_enough, predict
from logger.plan.file import Plan, plan_from_table
from logger.planning.assess import Assessment, assess, assess_fully
from logger.planning.chances import GREEN_BELOW, quick_chances, sure_peak_c
from logger.planning.finding import Finding, Light
from logger.words.render import say

RESIN = {
    "name": "invented slow casting system",
    "heat_of_cure_j_g": 380.0,
    "rate": {"k1_per_s": 4e-7, "k2_per_s": 2.9e-5, "m": 1.0, "n": 2.0},
    "limits": {"max_depth_mm": 50.0},
}


#: As open as two cup tests leave a resin: to a tenth of its rate.
KNOWN = {
    "rate": (0.86, 0.92, 0.97, 1.0, 1.03, 1.09, 1.16),
    "first": (1.0,) * 7,
    "energy": (0.98, 1.01, 0.99, 1.0, 1.01, 0.99, 1.02),
    "heat": (1.02, 0.98, 1.01, 1.0, 0.99, 1.02, 0.98),
}
#: Coefficients of the faces, W/(m²·K), where a plan may give them: what has none to follow is solved in a tenth of the
#: time. The other tests here let them follow the temperatures, as most plans do.
GIVEN = {"top_w_m2k": 7.0, "bottom_w_m2k": 5.0, "side_w_m2k": 5.0}


def plan_of(depth_mm: float, room_c: float, **more: Any) -> Plan:
    """A sheet of that depth with free air below."""
    form = {"underside": "open"} | more.pop("form", {})
    resin = RESIN | more.pop("resin", {})
    pour = {"shape": "sheet", "depth_mm": depth_mm} | more.pop("pour", {})
    return plan_from_table(
        {
            "title": "invented",
            "resin": resin,
            "pour": pour,
            "form": form,
            "air": {"room_c": room_c} | more.pop("air", {}),
            **more,
        }
    )


def finding(found: Assessment, key: str) -> Finding:
    """The one finding of that key."""
    (one,) = [one for one in found.findings if one.key == key]
    return one


def number(pattern: str, text: str) -> float:
    """The number in a sentence."""
    return float(re.search(pattern, text)[1])  # type: ignore[index]


def test_a_room_beyond_the_datasheet_is_answered_for_itself_and_for_the_one_allowed() -> None:
    """At 33 °C: what it reaches there, what it reaches at 29 °C, and a depth that says which room it is for."""
    plan = plan_of(40.0, 33.0, air=GIVEN)
    found = assess_fully(plan)
    assert number(r"reach (?:over )?([\d.]+) °C", say(finding(found, "too-hot").sentence)) > 60.0
    warm = say(finding(found, "room-warm").change)
    cooled = plan_of(40.0, 29.0, air=GIVEN, run={"hours": 150.0})
    assert "Cool the room to 29 °C or below. That alone is not enough" in warm
    assert predict(cooled).peak_c > 60.0
    deep = finding(found, "too-deep")
    assert "in a room of at most 29 °C, as the datasheet asks" in say(deep.sentence)
    depth_mm = number(r"by the model ([\d.]+) mm stays", say(deep.sentence))
    assert predict(plan_of(depth_mm, 29.0, air=GIVEN, run={"hours": 150.0})).peak_c <= 60.0
    assert depth_mm == deepest_safe(plan_of(40.0, 29.0, air=GIVEN), reaches=sure_peak_c).bracket.safe
    assert quick_chances(plan_of(depth_mm, 29.0, air=GIVEN)).over < GREEN_BELOW


def test_cooling_the_room_is_advised_alone_where_it_is_enough() -> None:
    """27 mm at 33 °C get too hot, and not at 29 °C: the figure is that of the prediction there."""
    known = {"resin": {"possible": KNOWN}}
    found = assess_fully(plan_of(27.0, 33.0, **known))
    said = number(r"This pour then reaches ([\d.]+) °C", say(finding(found, "room-warm").change))
    cooled = plan_of(27.0, 29.0, run={"hours": 150.0}, **known)
    assert said == pytest.approx(predict(cooled).peak_c, abs=0.6)
    assert quick_chances(cooled).over < GREEN_BELOW
    assert said <= 60.0
    assert found.layers is None


def test_heating_a_cold_room_says_what_the_warmer_pour_does() -> None:
    """100 mm at 8 °C stay cool on paper; heated to the 17 °C that the datasheet asks for they run away."""
    plan = plan_of(80.0, 8.0, air=GIVEN, resin={"limits": {"max_depth_mm": 90.0}})
    assert predict(long_enough(plan)).peak_c < 60.0
    found = assess_fully(plan)
    assert "That alone is not enough" in say(finding(found, "room-cold").change)
    assert found.layers is not None
    allowed = plan_of(80.0, 17.0, air=GIVEN)
    for part in (0.0, 1.0):
        assert predict(found.layers.followed(allowed, part)).peak_c <= 60.0


def test_plan_and_advise_have_one_answer() -> None:
    """A quick coating, where the plan once said 4.9 mm and advise 6."""
    resin = {
        "rate": {"k1_per_s": 6e-6, "k2_per_s": 2.2e-4, "m": 1.0, "n": 2.0},
        "heat_of_cure_j_g": 450.0,
        "limits": {"max_core_c": 45.0},
    }
    plan = plan_of(20.0, 25.0, air=GIVEN, resin=resin)
    found, asked = assess_fully(plan), deepest_safe(plan, reaches=sure_peak_c, chance=GREEN_BELOW)
    said = number(r"by the model ([\d.]+) mm stays", say(finding(found, "too-deep").sentence))
    assert said == asked.bracket.safe
    assert f"layer: {said:g} mm" in say(asked.message())


def test_a_runaway_is_told_as_one_and_not_with_its_figure() -> None:
    """In the finding that stops it, with the usual cautions; no remedy of a fan is offered for it."""
    found = assess_fully(plan_of(60.0, 27.0))
    hot = finding(found, "too-hot")
    assert "differ by more than 40 " in say(finding(found, "spread").sentence)
    assert "reach over 150 °C" in say(hot.sentence)
    assert "outside what the model knows" in say(hot.change)
    assert "smoke" in say(hot.change)
    assert "safety data sheet" in say(hot.change)
    assert "fan" not in say(hot.change)


def test_what_is_under_the_form_is_asked_where_it_is_not_said() -> None:
    """The hotter is assumed until then; said either way, nothing is asked, and a given coefficient needs no answer."""
    silent = plan_of(20.0, 20.0)
    silent = silent.model_copy(update={"form": silent.form.model_copy(update={"underside": None})})
    asked = finding(assess(silent, predict(silent)), "underside-unsaid")
    assert asked.light is Light.WATCH
    assert "stand on a bench" in say(asked.sentence)
    for plan in (plan_of(20.0, 20.0), plan_of(20.0, 20.0, form={"underside": "closed"})):
        assert "underside-unsaid" not in {one.key for one in assess(plan, predict(plan)).findings}


def test_the_section_that_decides_is_named() -> None:
    """A river of 60 mm that widens to 200 mm."""
    outline = {"stations_mm": [(0.0, 60.0), (800.0, 200.0), (1500.0, 70.0)]}
    plan = plan_of(
        30.0, 20.0, pour={"shape": "river", "width_mm": 60.0, "length_mm": 1500.0}, outline=outline
    )
    widest = finding(assess(plan, predict(plan)), "widest")
    assert "200 mm at 800 mm along" in say(widest.sentence)


def test_a_second_layer_after_the_run_is_judged_all_the_same() -> None:
    """Planned for 72 h with a layer at 80 h: its heat on the warm first layer belongs to the answer."""
    plan = plan_of(30.0, 24.0, air=GIVEN, layer=[{"at_h": 73.0, "depth_mm": 45.0}])
    peak_c = finding(assess_fully(plan), "too-hot").figures[0].value
    assert peak_c > predict(plan).peak_c + 2.0
    assert peak_c == pytest.approx(predict(long_enough(plan)).peak_c, abs=0.1)


def test_a_thicker_bottom_is_no_advice_where_it_would_keep_too_much_heat_in() -> None:
    """6 mm sag; the panel that bears it insulates so well that the pour passes its limit: supports alone then."""
    support = {"span_mm": 900.0, "supports": 2, "panel": "MDF"}
    known = {"resin": {"possible": KNOWN}}
    plan = plan_of(41.0, 23.0, form={"bottom": {"thickness_mm": 6.0}, "support": support}, **known)
    assert quick_chances(plan).over < GREEN_BELOW
    change = say(finding(assess_fully(plan), "sag-wide").change)
    thick = number(r"A panel of ([\d.]+) mm would bear it", change)
    thicker = plan_of(41.0, 23.0, form={"bottom": {"thickness_mm": thick}, "support": support}, **known)
    assert quick_chances(thicker).over > GREEN_BELOW
    assert "Put supports every" in change


def test_a_void_deeper_than_its_layer_is_judged_by_its_own_depth() -> None:
    """Two layers of 35 mm hold; a hollow of 90 mm that the first of them fills is 90 mm of resin in one pour."""
    void = {
        "name": "burl hollow",
        "length_mm": 260.0,
        "width_mm": 220.0,
        "depth_mm": 90.0,
        "through": True,
        "backed": True,
    }
    layers = [{"at_h": 70.0, "depth_mm": 35.0}]
    found = assess_fully(plan_of(35.0, 21.0, layer=layers, void=[void]))
    assert "too-hot" not in {one.key for one in found.findings}
    hot = finding(found, "void-hot")
    assert hot.light is Light.STOP
    assert "burl hollow" in say(hot.sentence)
    small = void | {"length_mm": 40.0, "width_mm": 30.0}
    again = assess_fully(plan_of(35.0, 21.0, layer=layers, void=[small]))
    assert "void-hot" not in {one.key for one in again.findings}
