"""Steps that nothing takes by accident, with a finger, a mouse and a key, in a real browser at a phone's width."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from logger.pour import Stage
from logger.store import pours
from web.security.access import COOKIE

#: Where pictures of these walks go, if anywhere.
FOLDER = os.environ.get("POURLOG_PICTURES")


@pytest.fixture
def curing(shop: Any, plan_toml: str) -> int:
    """A pour that cures, and Ada has signed that it may come out of the form."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.feed(0.1, 30, lambda _h: {"core": 24.0, "room": 21.0})
    shop.sign_cool(pour)
    return pour


def stage_of(shop: Any, pour: int) -> str:
    """Where a pour is in its life."""
    with shop.service.store.read() as connection:
        return str(pours.get_pour(connection, pour).stage)


class Finger:
    """A finger on a touch screen, through the browser's own input."""

    def __init__(self, page: Any) -> None:
        self._page, self._input = page, page.context.new_cdp_session(page)

    def down(self, button: Any) -> None:
        """Put it down in the middle of a button."""
        # In one go: the page may be refreshed between two questions about it.
        point = button.evaluate("""button => {
            button.scrollIntoView({ block: "center", behavior: "instant" });
            const box = button.getBoundingClientRect();
            return { x: box.x + box.width / 2, y: box.y + box.height / 2 };
        }""")
        self._input.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [point]})

    def up(self) -> None:
        """Lift it."""
        self._input.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def _picture(page: Any, name: str, wait_ms: int = 0) -> None:
    """A picture of the page, where somebody wants to look at it."""
    if FOLDER is not None:
        page.wait_for_timeout(wait_ms)
        page.screenshot(path=Path(FOLDER) / f"{name}.png")


@pytest.fixture
def phone(chromium: Any, address: str, owner: str) -> Any:
    """A page on a phone that knows fingers."""
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, base_url=address
    )
    context.add_cookies([{"name": COOKIE, "value": owner, "url": address}])
    context.set_default_timeout(20_000)
    yield context.new_page()
    context.close()


def test_a_finger_has_to_hold_a_tap_does_nothing_and_it_can_be_taken_back(
    phone: Any, shop: Any, curing: int
) -> None:
    """Three taps, one let go early, one held; then back."""
    phone.goto(f"/pours/{curing}")
    button, finger = phone.get_by_role("button", name="Demoulded: stop watching"), Finger(phone)
    for _ in range(3):
        button.tap()
    assert re.search(r"/pours/\d+$", phone.url), "a tap leads nowhere"
    finger.down(button)
    expect(button).to_have_class(re.compile("holding"))
    _picture(phone, "holding", 700)
    finger.up()
    expect(phone.locator(".hint")).to_contain_text("Let go too early: nothing was done.")
    _picture(phone, "early")
    phone.clock.install()
    finger.down(button)
    phone.clock.run_for(1400)
    assert stage_of(shop, curing) == "curing"
    phone.clock.run_for(200)
    expect(phone.locator("#undo")).to_contain_text("Out of the form, by Ada")
    assert stage_of(shop, curing) == "released"
    finger.up()
    _picture(phone, "undo")
    phone.get_by_role("button", name="Take it back").tap()
    expect(phone.locator("#undo")).not_to_contain_text("Out of the form")
    assert stage_of(shop, curing) == "curing"


def test_a_key_goes_to_a_page_that_asks_once_more(browse: Any, shop: Any, curing: int) -> None:
    """Enter, look, Enter. The last button is an outline, the one that changes nothing is filled."""
    page = browse("phone")
    page.goto(f"/pours/{curing}")
    page.get_by_role("button", name="Demoulded: stop watching").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/step?to=released")
    expect(page.locator("main")).to_contain_text("River table")
    expect(page.locator("main")).to_contain_text("24.0")
    _picture(page, "asked")
    assert stage_of(shop, curing) == "curing"
    button = page.get_by_role("button", name="Demoulded: stop watching")
    filled = "(b) => getComputedStyle(b).backgroundColor"
    assert button.evaluate(filled) == "rgba(0, 0, 0, 0)"
    assert page.get_by_role("link", name="Back, without changes").evaluate(filled) != "rgba(0, 0, 0, 0)"
    button.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#undo")).to_contain_text("Out of the form, by Ada")
    assert stage_of(shop, curing) == "released"
