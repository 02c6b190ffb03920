"""What the first screen of a pour and of its alarm holds, measured in Chromium: on a phone and in an office."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from logger.pour import Stage

pytestmark = pytest.mark.browser

#: The answers of a pour's page, in the order in which they are read.
ANSWERS = ("condition", "who", "core", "trend", "limit", "curve", "peak", "action")
#: What an office sees at once, px high.
PANELS, HEIGHTS = ("curve", "section", "temperatures", "timeline", "help", "alarms"), {1440: 900, 1920: 1080}
PHONE_PX = 844
#: Where each element of a page stands: its name → top and bottom, px; and how long and wide the page is.
WHERE = """(by) => ({
  at: Object.fromEntries([...document.querySelectorAll(`[data-${by}]`)].map((one) => {
    const box = one.getBoundingClientRect();
    return [one.dataset[by], [box.top, box.bottom, box.height]];
  })),
  long: document.documentElement.scrollHeight, wide: document.documentElement.scrollWidth,
})"""


@pytest.fixture
def calm(shop: Any, plan_toml: str) -> int:
    """A pour in its second hour, with nothing wrong."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.feed(0.3, 30, lambda h: {"core": 21 + h, "surface": 21.0, "underside": 21.0, "room": 21.0})
    return pour


@pytest.fixture
def hot(shop: Any, plan_toml: str) -> int:
    """A pour whose core is over its limit, and nobody is on it."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.feed(0.3, 30, lambda h: {"core": 30 + 120 * h, "surface": 40.0, "underside": 30.0, "room": 21.0})
    return pour


def test_a_phones_first_screen_answers_in_order_and_the_page_is_short(browse: Any, calm: int) -> None:
    """How it is, who, how hot, the curve, the peak, what to do: without scrolling; then at most two screens more."""
    page = browse("phone")
    page.goto(f"/pours/{calm}")
    expect(page.locator("#curve")).to_have_attribute("data-measured", "4", timeout=20_000)
    seen = page.evaluate(WHERE, "answer")
    assert set(ANSWERS) <= set(seen["at"])
    bottoms = [seen["at"][name][1] for name in ANSWERS]
    assert max(bottoms) <= PHONE_PX, dict(zip(ANSWERS, bottoms, strict=True))
    tops = [seen["at"][name][0] for name in ("condition", "core", "curve", "peak", "action")]
    assert tops == sorted(tops)
    assert seen["long"] <= 3 * PHONE_PX
    assert seen["wide"] == 390
    press = page.locator(".pour-act .press")
    assert press.bounding_box()["height"] >= 64
    assert press.bounding_box()["width"] >= 340
    folds = page.locator(".pour details.fold > summary").all_inner_texts()
    assert folds[0] == "What comes next"
    assert folds[-1] == "Log"


def test_a_hot_core_keeps_the_answer_on_the_first_screen_and_one_press_takes_it(
    browse: Any, hot: int
) -> None:
    """The alarm's text is short: curve, peak and button stay where they are; the button posts."""
    page = browse("phone")
    page.goto(f"/pours/{hot}")
    seen = page.evaluate(WHERE, "answer")
    bottoms = {name: seen["at"][name][1] for name in ANSWERS}
    assert max(bottoms.values()) <= PHONE_PX, bottoms
    assert seen["at"]["curve"][2] >= 190
    page.get_by_role("button", name="I’m on it").click()
    page.wait_for_url("**/alarms/*")
    expect(page.locator("#taken")).to_contain_text("Ada is on it")
    assert page.evaluate(WHERE, "answer")["at"]["who"][1] <= PHONE_PX
    page.goto(f"/pours/{hot}")
    expect(page.locator(".pour-act .press")).to_have_text("What to do now")


def test_an_alarms_first_screen_says_what_how_hot_who_and_offers_one_press(browse: Any, hot: int) -> None:
    """In that order, and the first of the steps is seen."""
    page = browse("phone")
    page.goto(f"/pours/{hot}")
    page.locator(".condition .alarmlink").first.click()
    page.wait_for_url("**/alarms/*")
    at = page.evaluate(WHERE, "answer")["at"]
    tops = [at[name][0] for name in ("condition", "core", "who", "action")]
    assert tops == sorted(tops)
    assert max(at[name][1] for name in ("condition", "core", "who", "action")) <= PHONE_PX
    assert page.locator(".do li").count() == 3
    assert page.locator(".do li").first.bounding_box()["y"] < PHONE_PX


@pytest.mark.parametrize("width", HEIGHTS)
def test_an_office_sees_all_of_a_calm_pour_at_once(browse: Any, calm: int, width: int) -> None:
    """Curve, section, temperatures, time line, what would help, alarms: nothing of them needs scrolling."""
    page = browse("desktop", width=width)
    page.set_viewport_size({"width": width, "height": HEIGHTS[width]})
    page.goto(f"/pours/{calm}")
    expect(page.locator("#curve")).to_have_attribute("data-measured", "4", timeout=20_000)
    expect(page.locator("#cut")).to_have_attribute("data-drawn", "1", timeout=20_000)
    at = page.evaluate(WHERE, "panel")["at"]
    bottoms = {name: at[name][1] for name in PANELS}
    assert max(bottoms.values()) <= HEIGHTS[width], bottoms
    assert min(at[name][2] for name in PANELS) > 100, "each stands open"
    assert at["curve"][2] >= 0.42 * HEIGHTS[width], "the curve is large"


def test_without_script_the_folds_open_and_an_office_sees_its_panels(
    chromium: Any, address: str, owner: str, calm: int
) -> None:
    """Everything is read, and everything can be pressed."""
    from web.security.access import COOKIE

    context = chromium.new_context(
        java_script_enabled=False, base_url=address, viewport={"width": 1440, "height": 900}
    )
    context.add_cookies([{"name": COOKIE, "value": owner, "url": address}])
    page = context.new_page()
    page.goto(f"/pours/{calm}")
    expect(page.locator("[data-panel=timeline] .timeline")).to_be_visible()
    expect(page.locator("[data-panel=temperatures] .places li").first).to_be_visible()
    expect(page.locator(".pour-act .press")).to_be_visible()
    page.get_by_text("Notes and photos").click()
    page.get_by_label("Note").fill("two bubbles at the left end")
    page.get_by_role("button", name="Save note").click()
    page.wait_for_url("**#events")
    expect(page.locator("#events")).to_contain_text("two bubbles at the left end")
    context.close()
