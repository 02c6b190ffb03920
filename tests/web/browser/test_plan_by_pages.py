"""The plan by pages alone in a real Chromium, on a phone: asked, answered, tapped, and nothing typed is lost."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from playwright.sync_api import expect

from logger.plan.file import plan_from_text
from logger.store import pours, resins

pytestmark = pytest.mark.browser
PIECE = {"title": "Oak side table", "depth": "30", "width": "200", "length": "1500", "room": "20"}


@pytest.fixture
def one_resin(service: Any, plan_toml: str) -> None:
    """A shop that has one resin."""
    table = tomllib.loads(plan_toml)["resin"]
    facts = {"name": table["name"], "note": "", "sheet_toml": None, "fit": None, "table": table, "mix": {}}
    with service.store.write() as tx:
        resins.put(tx, service.timeline.true_ms(), "Ada", facts | {"source": {"kind": "datasheet"}})


def plan_of(service: Any, page: Any) -> Any:
    """The plan of the pour whose page is open."""
    number = int(page.url.split("/pours/")[1].split("/")[0])
    with service.store.read() as connection:
        return plan_from_text(pours.get_pour(connection, number).plan_toml)


def test_five_answers_and_one_press_give_the_answer_and_a_question(
    browse: Any, one_resin: None, service: Any
) -> None:
    """What is asked at the top is answered there; an advice leads to its field."""
    page = browse("phone")
    page.goto("/pours/new")
    for name, value in PIECE.items():
        page.locator(f"#describe [name={name}]").fill(value)
    page.locator("#describe").get_by_role("button", name="Plan it and predict").click()
    expect(page.locator("#answer")).to_contain_text("Expected peak")
    page.locator("#question select").select_option("open")
    page.get_by_role("button", name="Answer").click()
    page.wait_for_url("**saved=form*")
    assert plan_of(service, page).form.underside == "open"
    page.get_by_role("link", name="Give the free span").click()
    expect(page.locator("[name='form.support.span_mm']").first).to_be_in_viewport()
    assert page.evaluate("document.documentElement.scrollWidth") == 390


def test_an_answer_being_chosen_outlives_the_page_bringing_itself_up_to_date(
    browse: Any, shop: Any, plan_toml: str
) -> None:
    """The page swaps what has changed; a choice that is not sent yet stays chosen, under the question it answers."""
    page = browse("phone")
    page.goto(f"/pours/{shop.plan(plan_toml)}/plan")
    expect(page.locator("#answer progress")).to_have_count(0, timeout=60_000)
    chosen = page.locator("#question select, #question input:not([type=hidden])").first
    typed = chosen.evaluate(
        "(field) => { if (field.options) field.selectedIndex = field.options.length - 1; else field.value = '7';"
        " return field.value; }"
    )
    # As if what the page shows were no longer what the service says: the next refresh swaps it.
    page.evaluate("document.getElementById('question').dataset.was = 'old'")
    page.evaluate("document.dispatchEvent(new Event('due'))")
    expect(page.locator("#question")).not_to_have_attribute("data-was", "old")
    assert chosen.input_value() == typed


def test_an_outline_is_tapped_and_the_last_point_taken_back(
    browse: Any, shop: Any, service: Any, plan_toml: str
) -> None:
    """Corners of the drawing are corners of the pour."""
    page = browse("phone")
    page.goto(f"/pours/{shop.plan(plan_toml)}/plan?open=outline")
    drawing = page.locator(".draw svg")
    expect(page.locator("#answer progress")).to_have_count(
        0, timeout=60_000
    )  # nothing moves under the finger
    box = drawing.bounding_box()
    frame = page.locator(".draw .frame").bounding_box()
    for across, along in ((0, 0), (1, 0), (1, 1), (0.3, 0.5), (0.4, 0.9)):
        x = frame["x"] - box["x"] + along * frame["width"]
        y = frame["y"] - box["y"] + across * frame["height"]
        drawing.click(position={"x": x, "y": y})
    page.get_by_role("button", name="Take the last point back").click()
    page.get_by_role("button", name="Save the outline").click()
    page.wait_for_url("**saved=outline*")
    points = plan_of(service, page).outline.points_mm
    assert len(points) == 4
    for (x, y), (at_x, at_y) in zip(points, ((0, 0), (250, 0), (250, 1800), (75, 900)), strict=True):
        assert abs(x - at_x) < 8
        assert abs(y - at_y) < 20


def test_what_was_typed_waits_while_another_resin_is_added(browse: Any, one_resin: None) -> None:
    """The way round by another page loses nothing."""
    page = browse("phone")
    page.goto("/pours/new")
    page.locator("#describe [name=title]").fill("Oak side table")
    page.locator("#describe [name=depth]").fill("30")
    page.get_by_role("link", name="Add another resin").click()
    page.goto("/pours/new")
    expect(page.locator("#describe [name=title]")).to_have_value("Oak side table")
    expect(page.locator("#describe [name=depth]")).to_have_value("30")


def test_a_part_of_the_plan_comes_when_it_is_opened_and_is_saved(
    browse: Any, shop: Any, service: Any, plan_toml: str
) -> None:
    """The page is light, and the fold keeps its place; without a script its link leads to the same fields."""
    page = browse("phone")
    page.goto(f"/pours/{shop.plan(plan_toml)}/plan")
    field = page.locator("#sec-room [name='air.relative_humidity_pct']")
    assert field.count() == 0
    page.locator("#sec-room > summary").focus()
    page.keyboard.press("Enter")
    expect(field).to_be_visible()
    assert page.evaluate("document.activeElement.parentElement.id") == "sec-room"
    field.fill("61")
    page.locator("#sec-room button").first.click()
    page.wait_for_url("**saved=room*")
    assert plan_of(service, page).air.relative_humidity_pct == 61.0
    page.goto(page.locator("#sec-form .fields a").get_attribute("href") or "")
    expect(page.locator("#sec-form [name='form.support.span_mm']")).to_have_count(1)
