"""One look gives the answer: what stands on the first screen of a phone and of an office's, before any scrolling.

Templates mark what answers: data-answer on the parts of an answer, data-panel on the panels of the office.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from web.security.access import COOKIE

pytestmark = pytest.mark.browser
PHONE = {"width": 390, "height": 844}
OFFICES = ({"width": 1440, "height": 900}, {"width": 1920, "height": 1080})
#: Pixels that a layout may be off by rounding.
ROUNDING = 1
#: The first of each mark that is shown: where it is on the first screen, and what it says.
SHOWN = """([marks, inside]) => {
  const root = inside ? document.querySelector(inside) : document;
  if (!root) return {};
  return Object.fromEntries(marks.map((mark) => {
    const there = [...root.querySelectorAll(mark)].find((one) => one.checkVisibility());
    if (!there) return [mark, null];
    const { left, right, top, bottom } = there.getBoundingClientRect();
    return [mark, { left, right, top, bottom, text: there.innerText.trim(), drawn: !!there.querySelector("svg") }];
  }));
}"""
#: State → what the pour's first screen answers on a phone. A dead core has no number, and its forecast is old.
POUR = {
    "calm": ("condition", "who", "core", "limit", "trend", "curve", "peak", "action"),
    "hot": ("condition", "who", "core", "limit", "trend", "curve", "peak", "action"),
    "lost": ("condition", "who", "core", "action"),
}
ALERT = ("condition", "who", "core", "action")
TILE = {
    "calm": ("condition", "who", "core", "limit", "trend", "curve", "peak", "next"),
    "hot": ("condition", "who", "core", "limit", "trend", "curve", "peak", "next"),
    "lost": ("condition", "who", "core"),
}
PANELS = ("curve", "section", "temperatures", "timeline", "help", "alarms")


@pytest.fixture
def look(chromium: Any, filled: Callable[[str], Any]) -> Iterator[Callable[..., Any]]:
    """Opens a page of the workshop of a state on a screen: look("calm", "/pours/{live}", PHONE)."""
    made = []

    def opened(state: str, address: str, screen: dict[str, int]) -> Any:
        shop, base = filled(state)
        phone = screen == PHONE
        context = chromium.new_context(
            viewport=screen, base_url=base, has_touch=phone, is_mobile=phone, service_workers="block"
        )
        made.append(context)
        context.add_init_script("localStorage.setItem('pourlog-open', 'off')")
        context.add_cookies([{"name": COOKIE, "value": shop.token, "url": base}])
        page = context.new_page()
        page.goto(address.format(**shop.ids))
        page.evaluate("document.fonts.ready")
        return page

    yield opened
    for context in made:
        context.close()


def missed(page: Any, marks: list[str], screen: dict[str, int], inside: str = "") -> list[str]:
    """Return which marks are not shown whole on the first screen, or say nothing."""
    assert page.evaluate("scrollY") == 0
    found = page.evaluate(SHOWN, [marks, inside])
    faults = []
    for mark in marks:
        spot = found.get(mark)
        if spot is None:
            faults.append(f"{mark} is not there")
        elif spot["bottom"] > screen["height"] + ROUNDING or spot["right"] > screen["width"] + ROUNDING:
            faults.append(f"{mark} ends at {spot['right']:.0f}, {spot['bottom']:.0f}")
        elif spot["top"] < 0 or spot["bottom"] - spot["top"] < 1:
            faults.append(f"{mark} has no place on the screen")
        elif not spot["text"] and not spot["drawn"]:
            faults.append(f"{mark} says nothing")
    return faults


def answers(names: tuple[str, ...]) -> list[str]:
    """Return the marks of answers."""
    return [f"[data-answer={name}]" for name in names]


@pytest.mark.parametrize("state", POUR)
def test_the_first_screen_of_a_pour_on_a_phone_is_the_answer(look: Callable[..., Any], state: str) -> None:
    """Condition and who is on it, core with trend and limit, the curve, the peak to come, the one thing to do."""
    page = look(state, "/pours/{live}", PHONE)
    assert missed(page, answers(POUR[state]), PHONE) == []
    action = page.locator("[data-answer=action]").locator("button, .button").first.bounding_box()
    assert action["width"] >= 0.8 * PHONE["width"], "as wide as the thumb reaches"
    assert action["height"] >= 48
    assert action["y"] + action["height"] <= PHONE["height"]


def test_a_calm_pour_is_three_screens_long_on_a_phone(look: Callable[..., Any]) -> None:
    page = look("calm", "/pours/{live}", PHONE)
    assert page.evaluate("document.documentElement.scrollHeight") <= 3 * PHONE["height"]


@pytest.mark.parametrize("state", ["hot", "lost"])
def test_the_first_screen_of_an_alert_says_what_how_hot_who_and_what_to_do(
    look: Callable[..., Any], state: str
) -> None:
    page = look(state, "/alarms/{alarm_id}", PHONE)
    assert missed(page, answers(ALERT), PHONE) == []
    press = page.locator("#press").bounding_box()
    assert press["width"] >= 0.8 * PHONE["width"]
    assert press["y"] + press["height"] <= PHONE["height"]


@pytest.mark.parametrize("state", TILE)
def test_the_board_opens_with_the_worst_pour_and_all_that_one_asks_of_it(
    look: Callable[..., Any], state: str
) -> None:
    page = look(state, "/", PHONE)
    assert missed(page, answers(TILE[state]), PHONE, ".tile") == []
    worst = page.locator(".tile").first
    tone = {"calm": "calm", "hot": "stop", "lost": "stop"}[state]
    assert tone in worst.get_attribute("class").split()


@pytest.mark.parametrize("screen", OFFICES, ids=lambda screen: str(screen["width"]))
def test_a_calm_pour_is_seen_whole_in_the_office(look: Callable[..., Any], screen: dict[str, int]) -> None:
    """Curve, cross-section, temperatures, time line, what would help, alarms: nothing needs scrolling."""
    page = look("calm", "/pours/{live}", screen)
    assert missed(page, [f"[data-panel={name}]" for name in PANELS], screen) == []
    curve = page.locator("[data-panel=curve]").bounding_box()
    assert curve["width"] >= 0.4 * screen["width"], "the curve is large"
    assert curve["height"] >= 0.4 * screen["height"]
