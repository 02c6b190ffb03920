"""From an empty database to a sealed record in Chromium: plan, ready, mix, pour, first hour, release, seal."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from logger.planning import examples
from logger.pour import Stage

pytestmark = pytest.mark.browser
_DRAWN = io.BytesIO()
Image.new("RGB", (40, 30), "peru").save(_DRAWN, "JPEG")
PHOTO = {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": _DRAWN.getvalue()}
ROOM = 21.0


def hand_in(page: Page) -> None:
    """Plans the invented workshop's table from its plan file."""
    text = (Path(next(iter(examples.__path__))) / "wharf-lane-ready.toml").read_text(encoding="utf-8")
    page.goto("/pours/new")
    page.get_by_text("I have a plan file").click()
    form = page.locator("#by-file form")
    form.locator("textarea").fill(text)
    form.locator("select[name=station]").select_option("bench-1")
    form.get_by_role("button", name="Plan it and predict").click()
    page.wait_for_url("**/plan")


def sign_everything(page: Page, pour: int) -> None:
    """Two persons sign at the desk, at the bench and at the form, with a photo where one is asked."""
    for person in ("Ben", "Ada"):
        page.goto(f"/pours/{pour}/ready?signer={person}")
        for place in ("desk", "bench", "form"):
            form = page.locator(f"#{place} > form")
            yes = form.get_by_role("button", name=f"{person} signs")
            if yes.count():
                if form.locator("input[name=photo]").count():
                    form.locator("input[name=photo]").set_input_files(PHOTO)
                yes.click()
                expect(yes).to_have_count(0)
    expect(page.locator("#ratio")).to_contain_text("✓ Ada")
    watch = page.locator("#watch")
    watch.locator("summary", has_text="Sign it as open").click()
    watch.locator("textarea").fill("nobody can be called: Ben sits beside it")
    watch.get_by_role("button", name="Sign it as open").click()


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_a_pour_from_plan_to_sealed_record(browse: Any, shop: Any, size: str) -> None:
    """Every page of the way is reached by pressing what the page before offers."""
    page = browse(size)
    page.goto("/")
    expect(page.get_by_text("This is the way to the first one")).to_be_visible()
    hand_in(page)
    pour = int(page.url.split("/")[-2])
    expect(page.locator(".verdict")).to_contain_text("this pour should work")
    page.get_by_text("Cross-section, as predicted").click()
    expect(page.locator("#cut")).to_have_attribute("data-drawn", "1")
    page.get_by_role("button", name="I have read this plan: Ada signs").click()
    assert page.get_by_role("button", name="We are ready").is_disabled()
    sign_everything(page, pour)
    page.get_by_role("button", name="We are ready").click()
    page.get_by_role("link", name="Weigh and mix").click()
    page.locator("input[name=part_a]").fill("1000")
    page.locator("input[name=part_b]").fill("447")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#verdict")).to_contain_text("Right.")
    page.goto(f"/pours/{pour}")
    page.get_by_role("button", name="Start pouring").click()
    page.get_by_role("button", name="The form is full and level").click()
    page.wait_for_url("**/first-hour")
    shop.feed(0.11, 5, lambda _h: {"core": ROOM, "surface": ROOM, "underside": ROOM, "room": ROOM})
    page.reload()
    expect(page.locator("#due")).to_contain_text("Check now")
    page.get_by_role("button", name="Dry, level, no smell of heat").click()
    expect(page.locator("#looks")).to_contain_text("Ada")
    page.goto(f"/pours/{pour}")
    expect(page.locator("#next")).to_contain_text("Hard and cool enough to open the form")
    page.get_by_text("Notes and photos").click()
    page.get_by_label("Note").fill("two bubbles at the left end, popped")
    page.get_by_role("button", name="Save note").click()
    for to, press in (
        (Stage.CURING, "The first hour is over"),
        (Stage.RELEASED, "Demoulded: stop watching"),
        (Stage.CLOSED, "Seal the record"),
    ):
        shop.sign_cool(pour, to)
        page.goto(f"/pours/{pour}")
        page.get_by_role("button", name=press).click()
        page.wait_for_url("**/step?to=*")
        page.get_by_role("button", name=press).click()
    page.wait_for_url("**/record")
    expect(page.locator("main")).to_contain_text("Sealed")
    expect(page.locator("main")).to_contain_text("two bubbles at the left end, popped")
    expect(page.locator("main")).to_contain_text("Batch weighed")


def test_an_alarm_is_taken_with_the_keyboard_alone(browse: Any, shop: Any, plan_toml: str) -> None:
    """Tab to the alarm that leads the page, Enter, Tab to the press, Enter."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.03, 5, lambda _h: {"core": 66.5, "room": ROOM})
    page = browse("desktop")
    page.goto(f"/pours/{pour}")

    def tab_to(selector: str) -> None:
        for _ in range(40):
            page.keyboard.press("Tab")
            if page.evaluate("(s) => document.activeElement.matches(s)", selector):
                return
        raise AssertionError(f"{selector} is not reached by Tab")

    tab_to(".condition .alarmlink")
    page.keyboard.press("Enter")
    page.wait_for_url("**/alarms/*")
    tab_to("#press")
    page.keyboard.press("Enter")
    expect(page.locator("#taken")).to_contain_text("Ada is on it")


def test_somebody_signs_in_and_out(browse: Any) -> None:
    """The browser sends our own forms with their origin, and the service takes them."""
    page = browse("phone", signed_in=False)
    page.goto("/")
    page.wait_for_url("**/sign-in**")
    page.get_by_label("Name").fill("Ada")
    page.get_by_label("Password").fill("three plain words")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_text("No pour yet")).to_be_visible()
    page.goto("/settings")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in")
