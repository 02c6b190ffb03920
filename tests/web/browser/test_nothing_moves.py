"""Nothing moves under the finger while a page comes: font, chart and its data are held back until it is painted."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from web.security.access import COOKIE

pytestmark = pytest.mark.browser
#: Largest sum of layout shifts (Layout Instability, WICG; 0.1 is called good there).
MOST = 0.02
#: What comes late: the fonts, the chart library, what it draws, and the pictures.
LATE = (
    "**/static/font-*",
    "**/static/vendor/*",
    "**/api/pours/*/curve*",
    "**/pours/*/section",
    "**/photos/*",
)
COUNT = """() => {
  window.shifts = [];
  new PerformanceObserver((list) => {
    for (const one of list.getEntries()) if (!one.hadRecentInput)
      window.shifts.push([one.value, one.sources.map(({ node }) => node?.id || node?.className || node?.nodeName)]);
  }).observe({ type: "layout-shift", buffered: true });
}"""
PAINTED = "() => performance.getEntriesByName('first-contentful-paint').length > 0"
DRAWN = """() => document.fonts.status === "loaded" && [...document.querySelectorAll("#curve, #cut")]
  .every((box) => box.dataset.drawn !== undefined)"""
TWO_FRAMES = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"


def shifts_of(page: Any, path: str) -> list[tuple[float, list[str]]]:
    """Open a page and let what comes late come after it is painted; return what moved, and how far."""
    held: list[Any] = []
    painted = False

    def late(route: Any) -> None:
        if painted:
            route.continue_()
        else:
            held.append(route)

    for what in LATE:
        page.route(what, late)
    page.goto(path, wait_until="commit")
    page.wait_for_function(PAINTED)
    painted = True
    for route in held:
        route.continue_()
    page.wait_for_load_state("load")
    page.wait_for_function(DRAWN)
    page.evaluate(TWO_FRAMES)
    return [(round(value, 3), what) for value, what in page.evaluate("shifts")]


@pytest.mark.parametrize("width", [390, 1440])
def test_what_comes_late_moves_nothing(chromium: Any, filled: Callable[[str], Any], width: int) -> None:
    """On board, pour, plan and alert."""
    shop, address = filled("hot")
    context = chromium.new_context(
        viewport={"width": width, "height": 844}, base_url=address, service_workers="block"
    )
    context.add_init_script(f"({COUNT})(); localStorage.setItem('pourlog-open', 'off')")
    context.add_cookies([{"name": COOKIE, "value": shop.token, "url": address}])
    moved = []
    for path in ("/", "/pours/{live}", "/pours/{planned}/plan", "/alarms/{alarm_id}"):
        page = context.new_page()
        shifts = shifts_of(page, path.format(**shop.ids))
        if sum(value for value, _what in shifts) > MOST:
            moved.append(f"{path}: {shifts}")
        page.close()
    context.close()
    assert not moved, "\n".join(moved)
