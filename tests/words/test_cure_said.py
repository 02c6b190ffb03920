"""Predictions, causes, advice, fits, readiness and verdicts, said to a reader in °F, inches, gallons and pounds.

Conversions themselves are checked against NIST SP 811 in test_units_of_a_reader.py; here the words are. Resins and
plans are invented.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any, get_args

import numpy as np
import pytest

from logger import extremes, quantities
from logger.cure.advice.bond import BondWindow
from logger.cure.advice.limits import Bracket, DeepestLayer, Rooms, in_allowed_room
from logger.cure.fit.datasheet import System, datasheet_from_text
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.cure.fit.refit import LeftOut, Refit
from logger.cure.forecast import what_if
from logger.cure.forecast.causes import causes_of
from logger.cure.forecast.heating import HEATING
from logger.cure.forecast.observation_model import FAN_PART
from logger.cure.forecast.parameters import parameters_of
from logger.cure.solver.assumptions import assumptions
from logger.cure.solver.prediction import warnings_of
from logger.errors import BadInput
from logger.facts import Fact, Quantity
from logger.plan.file import Plan, plan_from_table
from logger.planning.readiness import Override, SigningPoint, obstacles, points
from logger.planning.verdict import PlanVerdict
from logger.words.english import ENGLISH, ROOMS
from logger.words.reader import units_from
from logger.words.render import say
from tests.said_codes import wordings

MINE = ("cure", "fit", "readiness", "verdict")
AMERICAN = units_from("f.in.gal.lb")
#: A metric unit behind a number, but for science's units (J/g, kg/m³, W/(m²·K)).
METRIC_UNIT = re.compile(r"\d[\s\u00a0]?(°C|K|mm|mL|L|kg|g)(?![\w/·²³°(])")
#: Far beyond any pour, either way, and nothing.
EXTREMES: list[Quantity | Fact] = [
    quantities.temperature(-273.15, None),
    quantities.temperature(1_400.0, 0),
    quantities.peak(900.0, 1),
    quantities.difference(-999.94, 2, signed=True),
    quantities.length(0.04),
    quantities.length(100_000.0, None),
    quantities.volume(10_000.0),
    quantities.mass(0.0001, None),
    quantities.grams(1e6, None),
    quantities.whole_hours(0.0),
    quantities.hours_alone(99_999.0),
    quantities.hours(0.001),
    quantities.minutes(1e6),
    quantities.percent(-1_000.0, 0, signed=True),
    quantities.quantity(58.0, "kJ/mol", 0),
    quantities.quantity(math.inf, "W/(m²·K)", 0),
    quantities.quantity(math.nan, "", None),
]
RESIN = {
    "name": "Invented",
    "heat_of_cure_j_g": 350.0,
    "rate": {"k1_per_s": 1e-6, "k2_per_s": 2e-5, "e1_j_mol": 95e3},
    "limits": {"max_depth_mm": 30.0, "min_room_c": 18.0, "max_room_c": 26.0, "max_core_c": 60.0},
}


def plan_of(**tables: Any) -> Plan:
    """An invented river that is too deep, in a room that is too cold by night and too warm by day."""
    return plan_from_table(
        {
            "title": "Invented",
            "resin": RESIN,
            "pour": {"shape": "river", "depth_mm": 60.0, "width_mm": 250.0},
            "outline": {"stations_mm": [[0, 200], [1000, 240]], "edge_slope_deg": 30.0},
            "layer": [{"at_h": 90.0, "depth_mm": 20.0}],
            "air": {"room_c": [[0.0, 12.0], [9.0, 31.0]]},
            "run": {"hours": 72.0},
        }
        | tables
    )


def judge(text: str) -> None:
    """Said whole, in the reader's units."""
    assert text.strip()
    assert '"say"' not in text
    assert not re.search(r"[{}]", text), f"{text!r} has an empty place"
    assert not METRIC_UNIT.search(text), text


@pytest.mark.parametrize("code", [code for room in MINE for code in ROOMS[room]])
def test_every_code_is_said_whole_and_in_the_readers_units(code: str) -> None:
    """With any quantity in any place, one, none or many of them, and in each language."""
    for text in wordings(code, EXTREMES):
        judge(text)


def test_a_code_has_its_words_once() -> None:
    """Two rooms with the same code would say one another's words."""
    found = Counter(code for table in ROOMS.values() for code in table)
    assert [code for room in MINE for code in ROOMS[room] if found[code] > 1] == []


def every_cause() -> Iterator[Fact]:
    """The cause of every unknown, far above and far below its plan."""
    plan = plan_of(air={"room_c": 21.0, "top_w_m2k": 20.0})
    unknowns = (*parameters_of(plan), HEATING, FAN_PART)
    for sign in (-3.0, 3.0):
        for cause in causes_of(unknowns, np.full((20, len(unknowns)), sign), plan):
            yield cause.words
    calm = np.zeros((20, len(unknowns)))
    calm[:, [unknown.name for unknown in unknowns].index("top_factor")] = -2.0
    for cause in causes_of(unknowns, calm, plan):
        yield cause.words


def test_every_cause_of_a_forecast_is_said() -> None:
    """A mix that is 9 °F warmer is not 41 °F warmer: a difference is converted as one."""
    causes = list(every_cause())
    assert len({cause.code for cause in causes}) >= 20
    assert "surface-like-still-air" in {cause.code for cause in causes}
    for cause in causes:
        assert cause.code in ENGLISH, cause.code
        judge(say(cause, AMERICAN))
    warmer = next(cause for cause in causes if cause.code == "poured-warmer")
    # θ = 3 spreads of 0.8 K: 2.4 K are 4.3 °F (1.8 °F a kelvin, NIST SP 811, 2008, B.8).
    assert say(warmer, AMERICAN) == "the mix was poured warmer than planned (+4.3 °F)"


@pytest.mark.parametrize("name", [what_if.NOW, what_if.FANS, what_if.UNDERSIDE, what_if.ROOM, what_if.SHADE])
@pytest.mark.parametrize("now_c", [-40.0, 60.0, 345.0])
def test_every_remedy_is_said_with_its_gain(name: str, now_c: float) -> None:
    """What the model does not know is given as over its end."""
    values = {"now": quantities.peak(now_c), "then": quantities.peak(now_c - 5.0)}
    code = {
        what_if.NOW: "what-if-nothing",
        what_if.FANS: "what-if-fans",
        what_if.UNDERSIDE: "what-if-underside",
        what_if.ROOM: "what-if-room",
        what_if.SHADE: "what-if-shade",
    }[name]
    text = say(Fact(code, values | {"cooler": quantities.difference(what_if.COOLER_K, 0)}), AMERICAN)
    judge(text)
    # 150 °C are 302 °F, -40 °C are -40 °F, 60 °C are 140 °F (NIST SP 811, B.8).
    assert {-40.0: "-40 °F", 60.0: "140 °F", 345.0: "over 302 °F"}[now_c] in text


@pytest.mark.parametrize("peak_c", [20.0, 120.0, 400.0])
def test_everything_that_a_prediction_warns_of_is_said(peak_c: float) -> None:
    """A plan with everything wrong: depth, room, energy, a layer after the run, what is not said of the form."""
    told = [say(warning, AMERICAN) for warning in warnings_of(plan_of(), peak_c)]
    for text in told:
        judge(text)
    whole = " ".join(told)
    assert ("smoke" in whole) is extremes.is_runaway(peak_c)
    # 31 °C are 87.8 °F, 26 °C are 78.8 °F (NIST SP 811, B.8).
    assert "The room reaches 87.8 °F; the datasheet allows 78.8 °F." in whole


@pytest.mark.parametrize(
    "outline",
    [
        {"bottom_diameter_mm": 420.0},
        {"points_mm": [[0, 0], [400, 0], [400, 400], [0, 400]]},
    ],
)
def test_every_widest_section_is_said(outline: dict[str, Any]) -> None:
    """A mould that is wider below, a traced outline."""
    pour = {"shape": "round", "depth_mm": 30.0, "width_mm": 300.0}
    told = assumptions(plan_of(pour=pour, outline=outline, layer=[]))
    assert len(told) == 2
    for sentence in told:
        judge(say(sentence, AMERICAN))


def every_advice() -> Iterator[str]:
    """Each form that each piece of advice takes."""
    for opens, closes in ((None, None), (None, 48.4), (82.0, 82.0), (20.0, None), (20.0, 30.6)):
        yield BondWindow(opens, closes, None).message()
    for safe, not_safe, at_not_safe in ((None, 5.0, 70.0), (300.0, None, None), (44.0, 45.0, 345.0)):
        for datasheet_mm in (None, 20.0):
            bracket = Bracket(safe, not_safe, None if safe is None else 59.9, at_not_safe)
            yield DeepestLayer(bracket, 60.0, datasheet_mm).message()
    nowhere, cool, warm = (
        Bracket(None, 5.0, None, 70.0),
        Bracket(5.0, None, 100.0, None),
        Bracket(40.0, 40.5, 59.0, 61.0),
    )
    yield Rooms(cool, warm, 60.0, 120.0).message()
    yield Rooms(cool, nowhere, 60.0, 120.0).message()
    for room_c in (31.0, 12.0, [[0.0, 12.0], [9.0, 31.0]]):
        yield in_allowed_room(plan_of(air={"room_c": room_c}))[1]


def test_every_advice_is_said() -> None:
    """How deep, in which rooms, when the next layer: each sentence in inches and °F."""
    told = [say(advice, AMERICAN) for advice in every_advice()]
    for text in told:
        judge(text)
    assert any("over 302.0 °F" in text for text in told)
    assert "in a room of at most 78.8 °F and at least 64.4 °F, as the datasheet asks" in told


def test_a_fit_says_what_it_rests_on_and_what_disagrees() -> None:
    """Ten minutes for a cup and two inches in one pour (invented): both cannot be."""
    sheet = datasheet_from_text(
        'name = "x"\n[[working_time]]\nmass_kg = 0.1\nat_c = 25\ntime_min = [10, 12]\n'
        "[[deepest_pour]]\ndepth_mm = 50.8\nat_c = 22\n"
    )
    fitted = fit_datasheet(sheet)
    said = [*fitted.assumptions, *fitted.warnings, *(point.statement for point in fitted.points)]
    for one in said:
        judge(say(one, AMERICAN))
    told = say(fitted.disagreement, AMERICAN)
    # 0.1 kg are 0.220 lb, 50.8 mm are 2 in, 25 °C are 77 °F (NIST SP 811, B.8).
    assert "a working time of 10 min to 12 min for" in told
    assert "a 2 in pour at 71.6 °F that stays under 140 °F" in told
    assert {f"system-{system}" for system in get_args(System)} <= set(ENGLISH)


@pytest.mark.parametrize(
    "left_out", [(), (LeftOut("a", 3.0, 1.0, 2.0, 1.0),), (LeftOut("a", 1.0, 3.0, 2.0, 1.0),)]
)
def test_a_refit_says_whether_it_got_better(left_out: tuple[LeftOut, ...]) -> None:
    """An error of 3 K is one of 5.4 °F (1.8 °F a kelvin, NIST SP 811, B.8)."""
    resin = plan_of().resin
    text = say(Refit(1.1, 0.9, (1.0, 1.2), (0.8, 1.0), resin, left_out, 3).message(), AMERICAN)
    judge(text)
    assert ("5.4 °F" in text) is bool(left_out)


def every_point() -> list[SigningPoint]:
    """The points of a plan that has everything that asks for one."""
    plan = plan_of(
        slab=[
            {
                "name": "left slab",
                "species": "black walnut",
                "thickness_mm": 50,
                "width_mm": 300,
                "length_mm": 1000,
            }
        ],
        void=[
            {"name": "knot", "shape": "box", "length_mm": 40, "width_mm": 20, "depth_mm": 30, "through": True}
        ],
    )
    return points(plan, [])


def test_every_point_and_what_is_left_at_it_is_said() -> None:
    """Names stay as they were given."""
    asked = every_point()
    assert 'Is "left slab" dry all through?' in {say(point.question, AMERICAN) for point in asked}
    for point in asked:
        for said in (point.question, point.evidence):
            judge(say(said, AMERICAN))
    left = obstacles(asked, [])
    assert len(left) > len(asked)
    for obstacle in left:
        judge(say(obstacle, AMERICAN))


@pytest.mark.parametrize(("person", "reason", "missing"), [("", "why", "person"), ("Ada", " ", "reason")])
def test_an_exception_without_a_name_or_a_reason_says_which(person: str, reason: str, missing: str) -> None:
    """And what to give."""
    with pytest.raises(BadInput) as refusal:
        Override("air", person, reason)
    text = say(refusal.value.fact, AMERICAN)
    judge(text)
    assert f"give the {missing}" in text


@pytest.mark.parametrize("stops", [0, 1, 12])
@pytest.mark.parametrize("passed", [0, 1, 2])
@pytest.mark.parametrize("watches", [0, 1, 2])
def test_every_headline_is_said(stops: int, passed: int, watches: int) -> None:
    """One thing, several things, none; excepted and to look at in one headline."""
    one: Any = object()
    text = say(PlanVerdict((one,) * stops, (one,) * passed, (one,) * watches).headline, AMERICAN)
    judge(text)
    if not stops:
        assert ("signed for" in text) is (passed > 0)
        assert ("should work" in text) is (passed == watches == 0)
