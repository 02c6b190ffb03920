"""A new pour asks what is needed now: what, shape, lengths, resin, room; the shop knows the rest."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

import pytest
from starlette.testclient import TestClient

from logger.plan.file import plan_from_text, plan_to_text
from logger.store import events, resins, shop_events
from tests.web.page_text import words
from web.views import assessed

PIECE = {
    "title": "Oak side table",
    "shape": "river",
    "depth": "30",
    "width": "120",
    "length": "900",
    "room": "20",
}


def keep_usual(service: Any, table: Mapping[str, Any]) -> None:
    """The shop says what is usual."""
    with service.store.write() as tx:
        events.add_event(tx, None, service.timeline.true_ms(), shop_events.USUAL, "Ada", "", dict(table))


@pytest.fixture
def stocked(maker: TestClient, service: Any, plan_toml: str) -> TestClient:
    """A browser of a shop that has one resin."""
    table = tomllib.loads(plan_toml)["resin"]
    facts = {"name": table["name"], "note": "", "sheet_toml": None, "fit": None, "table": table, "mix": {}}
    with service.store.write() as tx:
        resins.put(tx, service.timeline.true_ms(), "Ada", facts | {"source": {"kind": "datasheet"}})
    return maker


def chosen(browser: TestClient) -> str:
    """The resin that the form has chosen by itself."""
    page = browser.get("/pours/new").text.split('name="earlier"')[1].split("</select>")[0]
    return page.split('" selected')[0].rsplit('value="', 1)[1]


def marked(page: str) -> set[str]:
    """The names of the fields that a page marks as refused."""
    inputs = [part.split(">")[0] for part in page.replace("<select", "<input").split("<input")[1:]]
    return {part.split('name="')[1].split('"')[0] for part in inputs if 'aria-invalid="true"' in part}


def test_seven_answers_make_a_plan_and_the_only_resin_and_station_are_chosen(
    stocked: TestClient, station_token: str
) -> None:
    """Nobody chooses from a list of one."""
    page = stocked.get("/pours/new").text
    (key,) = [
        part.split('"')[0] for part in page.split('<option value="')[1:] if part[12:].startswith('" selected')
    ]
    assert stocked.post("/pours/new", data=PIECE | {"earlier": key}).status_code == 200
    (pour,) = stocked.get("/api/pours").json()
    assert pour["station"] == "bench-1"
    assert tomllib.loads(pour["plan_toml"])["resin"]["name"].startswith("Slow casting system")


def test_every_refused_field_is_marked_and_none_loses_what_was_typed(stocked: TestClient) -> None:
    """All at once: nobody is sent back four times."""
    answer = stocked.post(
        "/pours/new", data=PIECE | {"title": "", "depth": "thick", "width": "", "room": "warm"}
    )
    assert answer.status_code == 422
    assert marked(answer.text) == {"title", "depth", "width", "room"}
    assert 'value="thick"' in answer.text
    assert 'value="900"' in answer.text
    assert stocked.get("/api/pours").json() == []


def test_a_sheet_needs_no_width(stocked: TestClient) -> None:
    """It is wide in both directions."""
    answer = stocked.post(
        "/pours/new", data=PIECE | {"shape": "sheet", "width": "", "earlier": chosen(stocked)}
    )
    assert answer.status_code == 200


def test_the_room_is_the_shops_usual_one_and_says_so(stocked: TestClient, service: Any) -> None:
    """A field that was filled by the program says by what."""
    keep_usual(service, {"air": {"room_c": 21.5}})
    page = words(stocked.get("/pours/new"))
    assert 'name="room" value="21.5"' in page
    assert "usual room. Change it where tonight differs." in page


def test_the_room_is_what_a_room_probe_has_just_read(stocked: TestClient, shop: Any, clock: Any) -> None:
    """A reading of this morning says nothing of tonight."""
    shop.sweep(room=19.25, core=23.0)
    clock.move(120)
    assert 'name="room" value="19.2"' in words(stocked.get("/pours/new"))
    assert "As the room probe read 2 min ago." in words(stocked.get("/pours/new"))
    clock.move(2 * 3600)
    assert 'name="room" value=""' in words(stocked.get("/pours/new"))


def test_what_is_usual_fills_the_plan_and_what_is_typed_counts(stocked: TestClient, service: Any) -> None:
    """Scale, pails, people and form are entered once."""
    usual = {
        "air": {"room_c": 17.0, "relative_humidity_pct": 50.0},
        "scale": {"resolution_g": 1.0},
        "person": [{"name": "Ada"}, {"name": "Ben"}],
        "form": {"underside": "open", "bottom": {"thickness_mm": 25.0}},
    }
    keep_usual(service, usual)
    assert stocked.post("/pours/new", data=PIECE | {"earlier": chosen(stocked)}).status_code == 200
    (pour,) = stocked.get("/api/pours").json()
    plan = plan_from_text(pour["plan_toml"])
    assert plan.air.room_c == 20.0
    assert plan.air.relative_humidity_pct == 50.0
    assert plan.scale is not None
    assert [person.name for person in plan.person] == ["Ada", "Ben"]
    assert (plan.form.underside, plan.form.bottom.thickness_mm) == ("open", 25.0)


def test_a_table_can_be_added_below_a_plans_text(plan_toml: str) -> None:
    """A [[slab]] under `slab = []` would be no TOML: what there is none of is left out."""
    slab = '[[slab]]\nname = "left"\nspecies = "oak"\nthickness_mm = 40\nwidth_mm = 200\nlength_mm = 900\n'
    text = plan_to_text(plan_from_text(plan_toml))
    assert plan_from_text(f"{text}\n{slab}").slab[0].name == "left"


def test_the_first_answer_stands_in_the_form_and_nothing_is_planned_by_it(stocked: TestClient) -> None:
    """Typed so far, answered so far: the peak against its limit, what to mix, the section; half typed: a hint."""
    lengths = {name: PIECE[name] for name in ("shape", "depth", "width", "length", "room")}
    lengths["earlier"] = chosen(stocked)
    answer = words(stocked.get("/pours/new/answer", params=lengths))
    assert "Expected peak" in answer
    assert "To mix" in answer
    assert "30 mm" in answer
    assert "<svg" in answer
    hint = words(stocked.get("/pours/new/answer", params=lengths | {"depth": ""}))
    assert "the first answer stands here" in hint
    assert "<svg" not in hint
    deep = words(stocked.get("/pours/new/answer", params=lengths | {"depth": "120"}))
    assert "Do not pour it like this" in deep
    assert stocked.get("/api/pours").json() == []


def test_what_was_answered_while_it_was_typed_is_not_solved_again(
    stocked: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The press that plans it takes the answer that stands there."""
    said = PIECE | {"title": "Oak side table, answered first", "earlier": chosen(stocked)}
    solved: list[str] = []
    quickly = assessed._solved_quickly
    monkeypatch.setattr(assessed, "_solved_quickly", lambda text: solved.append(text) or quickly(text))
    assert "Expected peak" in words(stocked.get("/pours/new/answer", params=said))
    assert len(solved) == 1
    stocked.post("/pours/new", data=said)
    (pour,) = stocked.get("/api/pours").json()
    assessed.first_answer(pour["plan_toml"])
    assert len(solved) == 1
