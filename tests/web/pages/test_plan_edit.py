"""Other numbers typed on the plan's page: what is changed is changed, and nothing else."""

from __future__ import annotations

import pytest

from logger.errors import BadInput
from logger.plan.file import Plan, plan_from_text, plan_to_table, read_plan
from logger.planning.examples import EXAMPLES
from logger.words.reader import Reader
from web.views.plan_edit import (
    bare_degrees,
    parts_of,
    readings_from,
    waits_shown,
    with_numbers,
    without_empty_lists,
)

METRIC, AMERICAN = Reader(), Reader("f", "in", "gal", "lb")


@pytest.fixture
def bad() -> Plan:
    """The shipped plan with five mistakes."""
    return read_plan(EXAMPLES / "wharf-lane-not-ready.toml")


def as_shown(plan: Plan, u: Reader) -> dict[str, str]:
    """The fields as the page shows them, untouched."""
    support = plan.form.support
    return {
        "depth": u.bare_span(plan.pour.depth_mm),
        "width": u.bare_span(plan.pour.width_mm or 0),
        "room": bare_degrees(plan.room_schedule()[0][1], u),
        "start": "",
        "layers": str(1 + len(plan.layer)),
        "wait": waits_shown(plan, u) if plan.layer else "",
        "bottom": u.bare_span(plan.form.bottom.thickness_mm),
        "span": "" if support is None else u.bare_span(support.span_mm),
        "supports": "" if support is None else str(support.supports),
        "measure": "",
    }


@pytest.mark.parametrize("u", [METRIC, AMERICAN])
@pytest.mark.parametrize("name", ["ready", "not-ready"])
def test_fields_that_nobody_touched_change_nothing(name: str, u: Reader) -> None:
    """0.354 in is not 9 mm: a number that was only shown in inches stays the number of the plan."""
    plan = read_plan(EXAMPLES / f"wharf-lane-{name}.toml")
    assert with_numbers(plan, as_shown(plan, u), [], u) == plan


def test_layers_that_are_not_alike_stay_so_when_the_room_is_tried() -> None:
    """Only another depth, number or wait makes equal layers."""
    text = (EXAMPLES / "wharf-lane-ready.toml").read_text(encoding="utf-8")
    plan = plan_from_text(text.replace("at_h = 45.0\ndepth_mm = 37.5", "at_h = 45.0\ndepth_mm = 30.0"))
    assert plan.layer[0].depth_mm == 30.0
    warmer = with_numbers(plan, as_shown(plan, METRIC) | {"room": "23"}, [], METRIC)
    assert warmer.layer == plan.layer
    later = with_numbers(plan, as_shown(plan, METRIC) | {"wait": "50"}, [], METRIC)
    assert [(layer.at_h, layer.depth_mm) for layer in later.layer] == [(50.0, 37.5)]


def test_a_room_that_changes_with_the_hours_stays_until_another_is_typed(plan_toml: str) -> None:
    """The schedule is kept when only the depth is tried."""
    plan = plan_from_text(plan_toml.replace("room_c = 21", "room_c = [[0, 21], [12, 18]]"))
    deeper = with_numbers(plan, as_shown(plan, METRIC) | {"depth": "45"}, [], METRIC)
    assert deeper.pour.depth_mm == 45
    assert deeper.room_schedule() == plan.room_schedule()
    warmer = with_numbers(plan, as_shown(plan, METRIC) | {"room": "23"}, [], METRIC)
    assert warmer.room_schedule() == [(0.0, 23.0)]


def test_each_number_lands_where_it_belongs(bad: Plan) -> None:
    """Inches and °F by their definitions: 1 in is 25.4 mm, 68 °F is 20 °C (NIST SP 811, B.8)."""
    typed = {
        "depth": "1.5",
        "width": "7",
        "room": "68",
        "start": "70.7",
        "layers": "2",
        "wait": "45",
        "bottom": "0.75",
        "span": "12",
        "supports": "6",
        "measure": "weight",
    }
    plan = with_numbers(bad, as_shown(bad, AMERICAN) | typed, ["", "7.9, 8.2 8,0; 8.4"], AMERICAN)
    assert (plan.pour.depth_mm, plan.pour.width_mm, plan.pour.start_c) == (38.1, 177.8, 21.5)
    assert plan.room_schedule() == [(0.0, 20.0)]
    assert [(layer.at_h, layer.depth_mm) for layer in plan.layer] == [(45.0, 38.1)]
    assert plan.form.support is not None
    assert (plan.form.bottom.thickness_mm, plan.form.support.span_mm, plan.form.support.supports) == (
        19.05,
        304.8,
        6,
    )
    assert plan.mix is not None
    assert (plan.mix.measure_parts, plan.mix.measure_by) == (None, "weight")
    left, right = plan.slab
    assert left == bad.slab[0]
    assert right.meter is not None
    assert right.meter.readings_pct == [7.9, 8.2, 8.0, 8.4]


@pytest.mark.parametrize(
    ("field", "value", "word"),
    [
        ("depth", "", "Depth of each layer"),
        ("room", " ", "Room"),
        ("supports", "2.5", "Supports"),
        ("layers", "0", "Layers"),
        ("measure", "spoon", "Measured by"),
        ("span", "wide", "Between supports"),
    ],
)
def test_a_field_that_cannot_be_used_is_named(bad: Plan, field: str, value: str, word: str) -> None:
    """With what is allowed or what to do."""
    with pytest.raises(BadInput, match=word) as refusal:
        with_numbers(bad, as_shown(bad, METRIC) | {field: value}, [], METRIC)
    assert refusal.value.remedy


def test_readings_are_read_as_people_type_them() -> None:
    """A comma parts two readings when a blank follows it, and is a decimal comma when none does."""
    assert readings_from("7.9, 8.2, 8", "Moisture of left", METRIC) == [7.9, 8.2, 8.0]
    assert readings_from("7,9; 8,2 8", "Moisture of left", METRIC) == [7.9, 8.2, 8.0]
    with pytest.raises(BadInput, match="Moisture of left"):
        readings_from("dry", "Moisture of left", METRIC)


def test_several_quantities_may_have_their_units() -> None:
    """A blank parts bare numbers, and nothing where units stand behind them."""
    assert parts_of("5 L; 10 L, 3 gal", "Pails") == ["5 L", "10 L", "3 gal"]
    assert parts_of("5 10; 2,5", "Pails") == ["5", "10", "2,5"]


def test_each_layer_may_have_its_own_wait(bad: Plan) -> None:
    """One number for all, or one for each; they are poured as warm as the first, and predicted past the last."""
    typed = {"depth": "25", "layers": "3", "wait": "31; 28", "start": "23"}
    plan = with_numbers(bad, as_shown(bad, METRIC) | typed, [], METRIC)
    assert [(layer.at_h, layer.depth_mm, layer.start_c) for layer in plan.layer] == [
        (31, 25, 23),
        (59, 25, 23),
    ]
    assert plan.run.hours == 59 + 72
    assert waits_shown(plan, METRIC) == "31; 28"
    assert with_numbers(plan, as_shown(plan, METRIC) | {"start": "23.0"}, [], METRIC) == plan
    alike = with_numbers(bad, as_shown(bad, METRIC) | typed | {"wait": "30"}, [], METRIC)
    assert [layer.at_h for layer in alike.layer] == [30, 60]
    assert waits_shown(alike, METRIC) == "30"


@pytest.mark.parametrize("wait", ["31; 28; 26", "", "soon"])
def test_waits_that_do_not_fit_the_layers_are_refused(bad: Plan, wait: str) -> None:
    """In words, with what fits."""
    with pytest.raises(BadInput, match="Hours between layers"):
        with_numbers(bad, as_shown(bad, METRIC) | {"layers": "3", "wait": wait}, [], METRIC)


def test_what_is_under_the_form_is_said_below_the_plan(plan_toml: str) -> None:
    """Left as it is where nobody chose; anything but the two words is refused."""
    plan = plan_from_text(plan_toml)
    assert plan.form.underside is None
    assert with_numbers(plan, as_shown(plan, METRIC), [], METRIC).form.underside is None
    said = with_numbers(plan, as_shown(plan, METRIC) | {"underside": "open"}, [], METRIC)
    assert said.form.underside == "open"
    with pytest.raises(BadInput, match="Under the form"):
        with_numbers(plan, as_shown(plan, METRIC) | {"underside": "sideways"}, [], METRIC)


def test_what_nobody_said_stays_unsaid_when_another_depth_is_tried(plan_toml: str) -> None:
    """Else a default would look like an answer: it would not be asked any more, and be kept as the shop's usual."""
    plan = plan_from_text(plan_toml)
    deeper = with_numbers(plan, as_shown(plan, METRIC) | {"depth": "45"}, [], METRIC)
    assert plan_to_table(deeper).keys() == plan_to_table(plan).keys()


def test_an_older_plans_empty_lists_are_not_shown(plan_toml: str) -> None:
    """What the page shows takes a table below it; a list in a table of the plan stays."""
    head, rest = plan_toml.split("[resin]", 1)
    old = f"{head}layer = []\nslab = []\n[resin]{rest}"
    slab = '[[slab]]\nname = "left"\nspecies = "oak"\nthickness_mm = 40\nwidth_mm = 200\nlength_mm = 900\n'
    assert plan_from_text(f"{without_empty_lists(old)}\n{slab}").slab[0].name == "left"
    with pytest.raises(BadInput):
        plan_from_text(f"{old}\n{slab}")
