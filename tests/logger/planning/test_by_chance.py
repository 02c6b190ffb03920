"""A plan whose datasheet leaves the resin open is judged by chance, not by one resin of many (all data invented)."""

from __future__ import annotations

from typing import Any

import pytest

from logger.cure.fit.datasheet import datasheet_from_text
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.cure.solver.prediction import long_enough, predict
from logger.plan.file import Plan, plan_from_table
from logger.planning.assess import assess
from logger.planning.chances import RESIN, ROOM, Chances, quick_chances
from logger.planning.cure_answers import CureAnswers, answers_of, in_its_datasheet, too_hot
from logger.planning.finding import Finding, Light
from logger.words.render import say

SHEET = """
name = "Slow system (invented)"
[limits]
max_depth_mm = 50
min_room_c = 18
max_room_c = 28
[[working_time]]
mass_kg = 0.1
at_c = 25
time_min = 600
[[deepest_pour]]
depth_mm = 50
at_c = 23
at_plus_minus_k = 5
[[deepest_pour]]
depth_mm = 50
at_c = 28
chosen = false
"""


@pytest.fixture(scope="module")
def resin() -> dict[str, Any]:
    """The table that the fit gives a plan: seconds of solving."""
    return fit_datasheet(datasheet_from_text(SHEET)).resin_table()


def planned(resin: dict[str, Any], depth_mm: float, room_c: float, **more: Any) -> Plan:
    """A river of that resin."""
    table = {
        "title": "x",
        "resin": resin,
        "pour": {"shape": "river", "depth_mm": depth_mm, "width_mm": 250.0},
        "air": {"room_c": room_c},
    }
    return plan_from_table(table | more)


def heat_of(plan: Plan) -> Finding:
    """What planning says of the peak."""
    assessment = assess(plan, answers=answers_of(plan, predict(long_enough(plan)), quick_chances(plan)))
    keys = {"too-hot", "peak", "peak-open", "peak-close"}
    return next(finding for finding in assessment.findings if finding.key in keys)


@pytest.mark.parametrize("underside", ["open", "closed"])
@pytest.mark.parametrize("room_c", [18.0, 23.0, 28.0])
def test_a_pour_that_its_datasheet_allows_is_not_stopped_for_its_heat(
    resin: dict[str, Any], room_c: float, underside: str
) -> None:
    """Its depth, in any of its rooms, on a bench or on trestles: watched at most, with the chance and the range."""
    finding = heat_of(planned(resin, 50.0, room_c, form={"underside": underside}))
    assert finding.light is not Light.STOP
    assert "90 % range" in say(finding.sentence).replace("\u00a0", " ")
    assert any(say(figure.name) == "chance to pass the limit" for figure in finding.figures)


def test_twice_as_deep_in_a_warm_room_is_stopped_for_its_heat(resin: dict[str, Any]) -> None:
    """Nearly every resin of that datasheet runs away; it is stopped for its depth besides."""
    plan = planned(resin, 100.0, 27.0)
    assert heat_of(plan).light is Light.STOP
    assert any(f.key == "too-deep" and f.light is Light.STOP for f in assess(plan).findings)


def test_without_a_datasheet_s_spread_the_resin_is_as_open_as_any(resin: dict[str, Any]) -> None:
    """A plan of an older program, or with rate constants typed in: as wide as the forecast takes a resin to be."""
    plain = {name: value for name, value in resin.items() if name != "possible"}
    plan = planned(plain, 50.0, 23.0)
    assert 0.02 < quick_chances(plan).over < 0.98
    assert too_hot(plan, 60.1, None)
    assert not too_hot(plan, 59.9, None)


def test_what_the_datasheet_does_not_speak_of_is_stopped_at_even_chances(resin: dict[str, Any]) -> None:
    """A second layer, a deeper one, a room outside: there the datasheet vouches for nothing."""
    mostly = Chances(60.0, (50.0,) * 4 + (70.0,) * 6, (9.0,) * 10, (), {RESIN: 1.0})
    away = Chances(60.0, (50.0,) * 4 + (130.0,) * 6, (9.0,) * 10, (), {RESIN: 1.0})
    inside = planned(resin, 50.0, 23.0)
    assert in_its_datasheet(inside)
    assert not too_hot(inside, 70.0, mostly)
    assert too_hot(inside, 70.0, away), "what most resins of that datasheet would run away in is no pour"
    layered = planned(resin, 50.0, 23.0, layer=[{"at_h": 40.0, "depth_mm": 20.0}])
    for outside in (planned(resin, 51.0, 23.0), planned(resin, 50.0, 28.5), layered):
        assert not in_its_datasheet(outside)
        assert too_hot(outside, 70.0, mostly)


def judged(resin: dict[str, Any], over: int, widest: str = RESIN, **more: Any) -> Finding:
    """What planning says of a peak of 45 °C that passes 60 °C in so many of 20 cases; solved by nobody."""
    peaks = (45.0,) * (20 - over) + (90.0,) * over
    chances = Chances(60.0, peaks, (9.0,) * 20, (), {widest: 0.8, "none": 0.2})
    plan = planned({name: value for name, value in resin.items() if name != "possible"}, 40.0, 23.0)
    found = assess(plan, answers=CureAnswers(peak_c=45.0, chances=chances, **more)).findings
    keys = {"too-hot", "peak", "peak-open"}
    return next(finding for finding in found if finding.key in keys)


def test_the_light_goes_by_the_chance(resin: dict[str, Any]) -> None:
    """One peak, 15 K under its limit, whatever it is: green below 5 %, watched to 25 %, refused above."""
    lights = {over: judged(resin, over).light for over in (0, 3, 8)}
    assert lights == {0: Light.OK, 3: Light.WATCH, 8: Light.STOP}


def test_what_is_too_uncertain_says_what_to_do_to_know(resin: dict[str, Any]) -> None:
    """What leaves it open most is named, with what tells more of that, and the depth that is sure."""
    finding = judged(resin, 3, sure_mm=28.0)
    assert "too uncertain" in say(finding.sentence)
    assert "how fast the resin cures" in say(finding.sentence)
    assert "test a cup" in say(finding.change)
    assert "28 mm passes the limit in less than 1 of 20 cases" in say(finding.change).replace("\u00a0", " ")
    assert "thermometer stand in the room" in say(judged(resin, 3, ROOM).change)
