"""The plan by pages alone: every key has a field, each section saves itself, and what was not touched stays."""

from __future__ import annotations

import ast
import inspect
import pkgutil
import re
from dataclasses import replace
from importlib import import_module
from types import ModuleType
from typing import Any

import pytest
from starlette.testclient import TestClient

from logger.errors import BadPlan
from logger.plan.file import Plan, plan_from_text, plan_to_table, read_plan
from logger.planning import findings
from logger.planning.examples import EXAMPLES
from logger.store import resins, shop_events
from logger.words.reader import Reader
from logger.words.render import say
from tests.web.page_text import words
from web.views.plan_fields import SECTIONS, every_key, keys_of
from web.views.plan_links import FIELD_OF, section_of
from web.views.plan_questions import questions_of
from web.views.plan_sections import _points, anchor_of, shown_section, with_section
from web.views.refused_fields import RefusedFields

METRIC, AMERICAN = Reader(), Reader("f", "in", "gal", "lb")
#: Keys without a field on the plan's page, and why.
ELSEWHERE = {
    "resin": "belongs to the resin: its page",
    "pour.depth_mm": "among the quick numbers of the page",
    "pour.width_mm": "among the quick numbers of the page",
}


def as_shown(plan: Plan, name: str, u: Reader) -> dict[str, str]:
    """A section's fields as the page shows them, untouched."""
    parts = shown_section(SECTIONS[name], plan_to_table(plan), u)
    rows = [row.fields for part in parts for row in part.rows]
    fields = [one for part in parts for one in part.fields] + [one for row in rows for one in row]
    return {one.name: one.value for one in fields}


def test_every_key_of_the_plan_file_has_a_field_or_a_reason() -> None:
    """A planner who has never seen the file can say all that it can."""
    there = {key for section in SECTIONS.values() for part in section.parts for key in keys_of(part)}
    elsewhere = {key for key in every_key() if key in ELSEWHERE or key.split(".")[0] in ELSEWHERE}
    assert every_key() - there - elsewhere == set()
    assert there - every_key() == set(), "a field for a key that is none"


@pytest.mark.parametrize("u", [METRIC, AMERICAN])
@pytest.mark.parametrize("file", ["ready", "not-ready"])
@pytest.mark.parametrize("name", sorted(SECTIONS))
def test_a_section_that_nobody_touched_changes_nothing(name: str, file: str, u: Reader) -> None:
    """Shown in inches a number has lost digits; saved again it has not."""
    plan = read_plan(EXAMPLES / f"wharf-lane-{file}.toml")
    assert with_section(plan, SECTIONS[name], as_shown(plan, name, u), u) == plan


def test_one_field_alone_changes_that_alone(plan_toml: str) -> None:
    """A question sends its own field; the rest of its section stays."""
    plan = read_plan(EXAMPLES / "wharf-lane-ready.toml")
    changed = with_section(plan, SECTIONS["form"], {"form.bottom.thickness_mm": "25"}, METRIC)
    assert changed.form.bottom.thickness_mm == 25.0
    assert changed.form.support == plan.form.support
    assert changed.slab == plan.slab


def test_two_slabs_need_only_their_wood_and_their_moisture(plan_toml: str) -> None:
    """Names and sizes are taken from the pour, and shown as such."""
    plan = plan_from_text(plan_toml)
    typed = {"slab.0.species": "oak", "slab.0.meter.readings_pct": "7,9 8,2"}
    typed |= {"slab.1.species": "oak", "slab.1.meter.readings_pct": "8; 8.4", "slab.2.name": ""}
    left, right = with_section(plan, SECTIONS["slabs"], typed, METRIC).slab
    assert (left.name, right.name) == ("left slab", "right slab")
    assert (left.thickness_mm, left.width_mm, left.length_mm) == (40.0, 200.0, 1800.0)
    assert right.meter is not None
    assert right.meter.readings_pct == [8.0, 8.4]
    assert left.meter is not None
    assert left.meter.readings_pct == [7.9, 8.2]


def test_a_row_is_taken_out_and_layers_stand_in_their_order(plan_toml: str) -> None:
    """Whoever adds an earlier layer below need not sort."""
    plan = plan_from_text(plan_toml)
    typed = {"layer.0.at_h": "60", "layer.0.depth_mm": "20", "layer.1.at_h": "30", "layer.1.depth_mm": "25"}
    two = with_section(plan, SECTIONS["layers"], typed, METRIC)
    assert [(layer.at_h, layer.depth_mm) for layer in two.layer] == [(30.0, 25.0), (60.0, 20.0)]
    one = with_section(
        two, SECTIONS["layers"], as_shown(two, "layers", METRIC) | {"layer.0.remove": "yes"}, METRIC
    )
    assert [layer.at_h for layer in one.layer] == [60.0]
    none = with_section(one, SECTIONS["layers"], {"layer.0.remove": "yes"}, METRIC)
    assert none.layer == []


def test_a_night_is_a_line_more_and_back_to_one_number(plan_toml: str) -> None:
    """68 °F is 20 °C and 59 °F is 15 °C (NIST SP 811, B.8)."""
    plan = plan_from_text(plan_toml)
    typed = {"air.room_c.0.0": "0", "air.room_c.0.1": "68", "air.room_c.1.0": "8", "air.room_c.1.1": "59"}
    night = with_section(plan, SECTIONS["room"], typed, AMERICAN)
    assert night.room_schedule() == [(0.0, 20.0), (8.0, 15.0)]
    typed = as_shown(night, "room", METRIC) | {"air.room_c.1.0": "", "air.room_c.1.1": ""}
    assert with_section(night, SECTIONS["room"], typed, METRIC).air.room_c == 20.0


def test_an_outline_is_entered_as_widths_or_as_points(plan_toml: str) -> None:
    """Without a script both are plain fields."""
    plan = plan_from_text(plan_toml)
    widths = {
        f"outline.stations_mm.{n}.{c}": text
        for n, pair in enumerate((("0", "120"), ("900", "180")))
        for c, text in enumerate(pair)
    }
    wide = with_section(plan, SECTIONS["outline"], widths, METRIC)
    assert wide.outline is not None
    assert wide.outline.stations_mm == [(0.0, 120.0), (900.0, 180.0)]
    points = {"outline.points_mm": "0 0\n200  0\n 200 900\n"}
    traced = with_section(plan, SECTIONS["outline"], points, METRIC)
    assert traced.outline is not None
    assert traced.outline.points_mm == [(0.0, 0.0), (200.0, 0.0), (200.0, 900.0)]
    with pytest.raises(RefusedFields, match="keep one of them"):
        with_section(wide, SECTIONS["outline"], points, METRIC)


@pytest.mark.parametrize(
    ("section", "typed", "field", "said"),
    [
        ("form", {"form.support.span_mm": "wide"}, "form.support.span_mm", "not a number"),
        (
            "form",
            {"form.support.panel": "MDF"},
            "form.support.span_mm",
            "Free span between two supports is missing",
        ),
        (
            "form",
            {"form.clamp.count": "2.5", "form.clamp.force_n": "500"},
            "form.clamp.count",
            "whole number",
        ),
        ("room", {"air.relative_humidity_pct": "140"}, "air.relative_humidity_pct", "at most 100"),
        ("room", {"air.room_c.0.0": "0", "air.room_c.0.1": ""}, "air.room_c.0.1", "missing on this line"),
        ("slabs", {"slab.0.meter.readings_pct": "8"}, "slab.0.species", "Wood is missing"),
        ("mix", {"mix.ratio_parts": "much"}, "mix.ratio_parts", "not a ratio"),
        ("outline", {"outline.points_mm": "1 2 3"}, "outline.points_mm", "two numbers"),
    ],
)
def test_a_refused_field_is_named_in_plain_words(
    plan_toml: str, section: str, typed: dict[str, str], field: str, said: str
) -> None:
    """Beside the field, with its label, and without the file's names of things."""
    with pytest.raises(RefusedFields) as refusal:
        with_section(plan_from_text(plan_toml), SECTIONS[section], typed, METRIC)
    assert list(refusal.value.fields) == [field]
    words = say(refusal.value.fields[field], METRIC)
    assert said in words
    assert not re.search(r"[a-z]_(mm|pct|c|n)\b|\[", words)


def test_a_sections_page_keeps_what_was_typed_and_marks_what_was_refused(
    maker: TestClient, shop: Any, plan_toml: str
) -> None:
    """The section is open, the field says why, the plan stays as it was."""
    pour = shop.plan(plan_toml)
    before = maker.get(f"/api/pours/{pour}").json()["plan_toml"]
    typed = {"form.support.span_mm": "wide", "form.support.supports": "5"}
    answer = maker.post(f"/pours/{pour}/plan/sections/form", data=typed)
    assert answer.status_code == 422
    page = words(answer)
    assert '<details class="section" id="sec-form" open>' in page
    assert 'name="form.support.span_mm" aria-invalid="true"' in page
    assert 'value="wide"' in page
    assert 'name="form.support.supports" value="5"' in page
    assert maker.get(f"/api/pours/{pour}").json()["plan_toml"] == before


def test_a_section_is_saved_and_kept_as_the_shops_usual(
    maker: TestClient, shop: Any, service: Any, plan_toml: str
) -> None:
    """The next plan has it without being asked."""
    pour = shop.plan(plan_toml)
    typed = {
        "scale.resolution_g": "0.5",
        "pails.sizes_l": "5; 10",
        "person.0.name": "Ada",
        "mix.mix_min": "7",
    }
    assert (
        maker.post(
            f"/pours/{pour}/plan/sections/mix", data=typed | {"mix.mix_min": "", "keep": "usual"}
        ).status_code
        == 200
    )
    with service.store.read() as connection:
        usual = shop_events.usual_of(connection)
    assert usual == {
        "scale": {"resolution_g": 0.5},
        "pails": {"sizes_l": [5.0, 10.0]},
        "person": [{"name": "Ada"}],
    }
    assert "A scale that shows 0.5 g" in words(maker.get("/shop"))


def test_the_shops_page_keeps_what_is_usual_and_refuses_nonsense(maker: TestClient, service: Any) -> None:
    """Entered once, and checked as a plan is."""
    assert maker.post("/shop/usual", data={"air.room_c": "21", "form.underside": "open"}).status_code == 200
    refused = maker.post("/shop/usual", data={"scale.resolution_g": "-1", "air.room_c": "20"})
    assert refused.status_code == 422
    assert 'name="scale.resolution_g" aria-invalid="true"' in words(refused)
    with service.store.read() as connection:
        assert shop_events.usual_of(connection) == {"air": {"room_c": 21.0}, "form": {"underside": "open"}}


def test_each_advice_leads_to_its_open_field(maker: TestClient, shop: Any) -> None:
    """Followed as a person would: the link's section is open, and its field is there."""
    pour = shop.plan((EXAMPLES / "wharf-lane-not-ready.toml").read_text(encoding="utf-8"))
    for page in (f"/pours/{pour}/plan", f"/pours/{pour}/ready"):
        links = set(re.findall(rf'href="(/pours/{pour}/plan\?open=[^"]+)"', maker.get(page).text))
        assert len(links) >= 4
        for link in links:
            address, anchor = link.split("#")
            there = words(maker.get(address))
            section = address.split("open=")[1]
            assert f'id="{anchor}"' in there, link
            assert section == "numbers" or f'id="sec-{section}" open' in there, link


def test_every_finding_has_its_field() -> None:
    """Whatever planning may say has a place to answer it; read from its own source."""
    keys = {key for module in _modules(findings) for key in _keys_in(inspect.getsource(module))}
    assert len(keys) > 50
    assert keys - set(FIELD_OF) == set()
    for key, name in FIELD_OF.items():
        assert name.startswith("/") or section_of(name), key


def _modules(package: ModuleType) -> list[ModuleType]:
    return [import_module(f"{package.__name__}.{one.name}") for one in pkgutil.iter_modules(package.__path__)]


def _keys_in(source: str) -> set[str]:
    """The keys of the findings that a module makes: second argument of Finding, where it is written out."""
    keys = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding" and len(node.args) > 1:
            keys |= {
                one.value
                for one in ast.walk(node.args[1])
                if isinstance(one, ast.Constant) and isinstance(one.value, str)
            }
    return keys


@pytest.mark.parametrize("file", ["ready", "not-ready"])
def test_no_page_sends_anybody_to_the_file(maker: TestClient, shop: Any, plan_toml: str, file: str) -> None:
    """No key and no table of the plan file stands in what a page says of a plan."""
    for text in ((EXAMPLES / f"wharf-lane-{file}.toml").read_text(encoding="utf-8"), plan_toml):
        pour = shop.plan(text)
        for page in ("plan", "ready"):
            shown = words(maker.get(f"/pours/{pour}/{page}")).split('id="plan-file"')[0]
            spoken = re.sub(r"<script.*?</script>|<[^>]+>", " ", shown)
            assert not re.findall(r"\[\[?[a-z_.]+\]|\b[a-z]+_(?:mm|pct|c|kg_m3|g)\b|plan file", spoken)


def test_the_question_that_moves_the_peak_most_comes_first(plan_toml: str) -> None:
    """What stands at stop for want of data is asked before; what moves nothing is not asked."""
    plan = plan_from_text(plan_toml)
    asked = questions_of(plan, {}, {"underside": 2.0, "night": 7.5, "panel": 0.2}, 55.0)
    assert [one.name for one in asked] == ["night", "underside", "people"]
    assert say(asked[0].why, METRIC).endswith("over the limit.")
    assert "limit" not in say(asked[1].why, METRIC)


def test_a_plan_without_slabs_asks_for_them_and_takes_the_answer(
    maker: TestClient, shop: Any, plan_toml: str
) -> None:
    """One question stands at the top, with its own fields, and is gone once it is answered."""
    pour = shop.plan(plan_toml)
    page = words(maker.get(f"/pours/{pour}/plan")).split('id="question"')[1].split("</section>")[0]
    (name,) = set(re.findall(r'action="/pours/\d+/plan/sections/(\w+)"', page))
    assert name in SECTIONS
    assert re.findall(r'name="([a-z][\w.]+)"', page)
    assert anchor_of("form.underside") == "f-form-underside"


def test_a_question_about_a_slab_asks_only_of_those_that_there_are(
    maker: TestClient, shop: Any, plan_toml: str
) -> None:
    """Else an answer in the empty row beside it would begin a third slab."""
    slab = '[[slab]]\nname = "{}"\nspecies = "oak"\nthickness_mm = 40\nwidth_mm = 200\nlength_mm = 900\n'
    pour = shop.plan(plan_toml + slab.format("left") + slab.format("right"))
    card = words(maker.get(f"/pours/{pour}/plan")).split('id="question"')[1].split("</section>")[0]
    assert "left: Moisture readings, %" in card
    assert set(re.findall(r'name="(slab[\w.]+)"', card)) == {
        "slab.0.meter.readings_pct",
        "slab.1.meter.readings_pct",
    }


def test_another_resin_of_the_list_takes_the_plans_place(
    maker: TestClient, shop: Any, service: Any, plan_toml: str
) -> None:
    """With its ratio; how long the shop stirs stays."""
    plan = plan_from_text(plan_toml)
    pour = shop.plan(f'{plan_toml}[mix]\nratio_parts = [2, 1]\nratio_by = "weight"\nmix_min = 8\n')
    table = plan.resin.model_dump(exclude_none=True, mode="json") | {"name": "Quicker (invented)"}
    mix = {"ratio_parts": [100.0, 45.0], "ratio_by": "weight"}
    facts = {"name": table["name"], "note": "", "sheet_toml": None, "fit": None, "table": table, "mix": mix}
    with service.store.write() as tx:
        key = resins.put(tx, service.timeline.true_ms(), "Ada", facts | {"source": {"kind": "datasheet"}})
    assert "Quicker (invented)</option>" in words(maker.get(f"/pours/{pour}/plan?open=resin"))
    assert maker.post(f"/pours/{pour}/plan/sections/resin", data={"earlier": key}).status_code == 200
    changed = plan_from_text(maker.get(f"/api/pours/{pour}").json()["plan_toml"])
    assert changed.resin.name == "Quicker (invented)"
    assert changed.mix is not None
    assert (changed.mix.ratio_parts, changed.mix.mix_min) == ((100.0, 45.0), 8.0)
    assert maker.post(f"/pours/{pour}/plan/sections/resin", data={"earlier": ""}).status_code == 422


def test_a_refused_plan_says_where(plan_toml: str) -> None:
    """The place is kept with the error, for whoever draws it beside its field."""
    with pytest.raises(BadPlan) as refusal:
        plan_from_text(plan_toml + "[form.clamp]\ncount = 4\nforce_n = -5\n")
    assert refusal.value.path == ("form", "clamp", "force_n")


def test_an_outline_is_read_as_the_drawing_writes_it_in_every_language() -> None:
    """A tap writes points with a decimal point: 47.125 in is 1196.975 mm (NIST SP 811, 2008, B.8), also in German."""
    german = replace(AMERICAN, language="de")
    assert _points("47.125  2.5", "Outline", german) == [[1196.975, 63.5]]


def test_a_viscosity_that_is_typed_sets_the_liquid_moving_and_an_emptied_one_rests_it(plan_toml: str) -> None:
    """The only key of [resin.flow] that a datasheet states; the rest has defaults."""
    plan = plan_from_text(plan_toml)
    assert plan.resin.flow is None
    moving = with_section(plan, SECTIONS["mix"], {"resin.flow.viscosity_pa_s": "0.45"}, METRIC)
    assert moving.resin.flow is not None
    assert moving.resin.flow.viscosity_pa_s == 0.45
    assert moving.resin.rate == plan.resin.rate
    rested = with_section(moving, SECTIONS["mix"], {"resin.flow.viscosity_pa_s": ""}, METRIC)
    assert rested.resin.flow is None
    with pytest.raises((RefusedFields, BadPlan)):
        with_section(plan, SECTIONS["mix"], {"resin.flow.viscosity_pa_s": "-1"}, METRIC)
