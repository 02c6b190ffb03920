"""Every page of the routes table in every state, in Chromium: rules, sizes, room about what is urgent, weight."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.every_page import NOT_FOUND, Page, pages_of
from web.security.access import COOKIE

pytestmark = pytest.mark.browser
#: Tags of axe-core's rules that stand for WCAG 2.2 at levels A and AA.
AA = {
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    }
}
#: The rule of level AAA, 1.4.6, that pages with an alarm keep.
SEVEN = {"runOnly": {"type": "rule", "values": ["color-contrast-enhanced"]}}
ALARM_ROUTES = ("/alarms/{alarm_id}", "/a/{token}")
#: State → width, dark: narrow ones are touched. Between them every page is seen narrow and wide, light and dark.
SEEN_AT = {
    "calm": (390, True),
    "hot": (1440, False),
    "lost": (390, False),
    "empty": (1440, False),
    "unowned": (390, True),
}
#: A sheet of paper on the screen, in its own measures: its words are 8 points high.
PAPER = ("/pours/{pour_id}/record/paper",)
#: State → in how many tests its pages are looked at: none takes long on a slow machine.
PARTS = {"calm": 5, "hot": 2, "lost": 2, "empty": 2, "unowned": 1}
#: Largest page beside the chart's scripts, its data and photos, as sent, bytes.
LARGEST = 60_000
#: Still larger: the plan with one of its parts opened by its address.
LARGER = {"/pours/{pour_id}/plan": 63_000}
MEASURES = (Path(__file__).parent / "measures.js").read_text(encoding="utf-8")


def open_tab(chromium: Any, address: str, token: str, width: int, dark: bool) -> Any:
    """Return a tab of a browser of its own: a narrow one is a phone. Nothing in it moves; no alarm opens by itself."""
    phone = width < 1000
    context = chromium.new_context(
        viewport={"width": width, "height": 844 if phone else 900},
        color_scheme="dark" if dark else "light",
        base_url=address,
        has_touch=phone,
        is_mobile=phone,
        reduced_motion="reduce",
        service_workers="block",
    )
    context.add_init_script("localStorage.setItem('pourlog-open', 'off')")
    if token:
        context.add_cookies([{"name": COOKIE, "value": token, "url": address}])
    context.set_default_timeout(60_000)
    return context.new_page()


@pytest.fixture
def tabs(chromium: Any) -> Iterator[Callable[..., Any]]:
    """Opens tabs, and closes them."""
    made = []

    def opened(*given: Any) -> Any:
        made.append(open_tab(chromium, *given))
        return made[-1]

    yield opened
    for tab in made:
        tab.context.close()


@pytest.mark.parametrize(
    ("state", "part"), [(state, part) for state in SEEN_AT for part in range(PARTS[state])]
)
def test_every_page_keeps_the_rules_in_every_state(
    state: str, part: int, tabs: Callable[..., Any], filled: Callable[[str], Any], axe: str
) -> None:
    """WCAG 2.2 AA and 7:1 under alarm; no text below 12 px, numbers at 7:1; no sideways scroll; targets for gloves.

    What is urgent or irreversible is 60 px high with nothing else within 16 px; 60 kB are enough for a page.
    """
    shop, address = filled(state)
    width, dark = SEEN_AT[state]
    known = tabs(address, shop.token, width, dark)
    wrong = []
    for page in pages_of(shop)[part :: PARTS[state]]:
        tab = tabs(address, "", width, dark) if page.stranger else known
        wrong += [f"{state} {page.address}: {what}" for what in faults(tab, page, axe, width)]
    assert not wrong, "\n".join(wrong)


def faults(tab: Any, page: Page, axe: str, width: int) -> list[str]:
    """Return what is wrong with a page, folds opened, in words."""
    answer = tab.goto(page.address)
    found = [] if answer.status < 400 or page.route == NOT_FOUND else [f"answers {answer.status}"]
    measured = tab.evaluate(MEASURES)
    paper = page.route in PAPER
    found += [] if paper else measured["faults"]
    if measured["width"] > width and not paper:
        found.append(f"{measured['width']} px wide")
    if measured["bytes"] > LARGER.get(page.route, LARGEST):
        found.append(f"{measured['bytes'] / 1000:.1f} kB: {measured['largest']}")
    tab.evaluate(axe)
    rules = [AA, SEVEN] if page.route in ALARM_ROUTES else [AA]
    for rule in rules:
        broken = tab.evaluate("(rules) => axe.run(rules)", rule)["violations"]
        found += [f"{one['id']} {[node['target'] for node in one['nodes']]}" for one in broken]
    return found
