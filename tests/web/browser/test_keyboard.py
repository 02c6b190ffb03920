"""Somebody without a mouse does the whole journey, and sees at every stop where they are."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from logger.pour import Stage

pytestmark = pytest.mark.browser
#: Most stops on the way to a control; the longest page has fewer.
MOST = 120
#: Where the keyboard is: whether that is what is looked for, on the screen, and marked by an outline or a shadow.
STOP = """(wanted) => {
  const at = document.activeElement, style = getComputedStyle(at), box = at.getBoundingClientRect();
  return {
    there: at.matches(wanted), name: `${at.localName} ${at.id} ${at.textContent.trim().slice(0, 40)}`,
    marked: (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2) || style.boxShadow !== "none",
    shown: box.width > 0 && box.bottom > 0 && box.top < innerHeight,
  };
}"""


class Keys:
    """A page that is worked by its keyboard alone."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def tab_to(self, wanted: str) -> None:
        """Press Tab until a control is reached; each stop on the way is seen."""
        stops = []
        for _ in range(MOST):
            self.page.keyboard.press("Tab")
            stop = self.page.evaluate(STOP, wanted)
            assert stop["marked"], f"nothing shows where the keyboard is: {stop['name']}"
            assert stop["shown"], f"the keyboard is off the screen: {stop['name']}"
            stops.append(stop["name"])
            if stop["there"]:
                return
        raise AssertionError(f"{wanted} is not reached on {self.page.url}: {stops}")

    def press(self, wanted: str, key: str = "Enter") -> None:
        """Reach a control and press it."""
        self.tab_to(wanted)
        self.page.keyboard.press(key)

    def write(self, wanted: str, text: str) -> None:
        """Reach a field and type into it."""
        self.tab_to(wanted)
        self.page.keyboard.type(text)

    def follow(self, wanted: str, leads_to: str) -> None:
        """Reach a link or a button and press it; it leads to a page."""
        self.press(wanted)
        self.page.wait_for_url(leads_to)


def test_the_keyboard_alone_does_the_whole_journey(
    browse: Callable[..., Any], shop: Any, plan_toml: str
) -> None:
    """Sign in, board, pour, an alarm taken, a look, a note, a plan read, a point signed, a pour ended in two steps."""
    pour, read, signed = (shop.plan(plan_toml) for _ in range(3))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(0.11, 5, lambda _h: {"core": 66.5, "surface": 50.0, "underside": 30.0, "room": 21.0})
    page = browse("desktop", signed_in=False)
    page.add_init_script("localStorage.setItem('pourlog-open', 'off')")
    keys = Keys(page)
    page.goto("/sign-in")
    keys.write("[name=name]", "Ada")
    keys.write("[name=password]", "three plain words")
    page.keyboard.press("Enter")
    page.wait_for_url("**/")
    keys.follow(f'.tile a[href="/pours/{pour}"]', f"**/pours/{pour}")
    keys.follow(".condition .alarmlink", "**/alarms/*")
    keys.press("#press")
    expect(page.locator("#taken")).to_contain_text("Ada is on it")
    page.goto(f"/pours/{pour}/first-hour")
    keys.press("form:has([value=dry]) .press")
    expect(page.locator("#looks")).to_contain_text("Ada")
    page.goto(f"/pours/{pour}")
    keys.press("summary:has(+ .inside #note)")
    keys.write("[name=text]", "two bubbles, popped")
    keys.press("form[action$='/notes'] button")
    expect(page.locator("#eventlist")).to_contain_text("two bubbles, popped")
    page.goto(f"/pours/{read}/plan")
    keys.press("#read button")
    expect(page.locator("#read")).to_have_count(0)
    page.goto(f"/pours/{signed}/ready")
    keys.press("#desk form button")
    expect(page.locator("#desk")).to_contain_text("✓ Ada")
    # What is too hot is not left: it has to be cool first.
    shop.feed(0.5, 60, lambda h: {"core": 40.0 - 20 * h, "surface": 28.0, "underside": 27.0, "room": 21.0})
    shop.sign_cool(pour, Stage.SPOILED)
    page.goto(f"/pours/{pour}")
    keys.press("summary:has(+ .inside [href$='to=spoiled'])")
    keys.follow("a[href$='to=spoiled']", "**/step?to=spoiled")
    keys.write("[name=text]", "it ran out of the form")
    keys.press("button[data-hold]")
    page.wait_for_url(f"**/pours/{pour}*")
    expect(page.locator("#stage, #head").first).to_be_visible()
    with shop.service.store.read() as connection:
        stage = connection.exec_driver_sql(f"SELECT stage FROM pour WHERE id = {pour}").scalar()
    assert stage == Stage.SPOILED
