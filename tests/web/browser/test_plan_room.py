"""Plan, readiness and new pour in Chromium: the answer on the first screen, drawings to read, nothing for axe."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from needs import missing
from playwright.sync_api import expect

from tests.web.browser.test_plan_by_pages import PIECE, one_resin

pytestmark = pytest.mark.browser
__all__ = ["one_resin"]
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}}
#: px of the smallest letter in the drawings that are shown.
SMALLEST = """() => Math.min(...[...document.querySelectorAll("svg.drawn text")]
  .filter((text) => text.getClientRects().length)
  .map((text) => parseFloat(getComputedStyle(text).fontSize) * text.getScreenCTM().a))"""
#: Top and height of a part, px.
PLACE = """(part) => {
  const box = document.querySelector(part).getBoundingClientRect();
  return [box.top, box.height];
}"""


@pytest.fixture
def axe() -> str:
    """The script of axe-core, from the package that carries it."""
    spec = find_spec("axe_playwright_python")
    if spec is None or spec.origin is None:
        missing("axe-playwright-python is not installed; pip install 'pourlog[test]'")
    return (Path(spec.origin).parent / "axe.min.js").read_text(encoding="utf-8")


@pytest.mark.parametrize(("width", "dark"), [(390, False), (1440, True)])
@pytest.mark.parametrize("deep", [False, True], ids=["may work", "stop"])
def test_the_answer_stands_on_the_first_screen_and_the_drawings_can_be_read(
    browse: Any, shop: Any, axe: str, plan_toml: str, width: int, dark: bool, deep: bool
) -> None:
    """Verdict and peak above the fold; nothing scrolls sideways; no letter under 12 px; every fold opened, axe is
    content.
    """
    pour = shop.plan(plan_toml.replace("depth_mm = 40", "depth_mm = 60") if deep else plan_toml)
    page = browse("phone" if width == 390 else "desktop", dark=dark, width=width)
    page.set_default_timeout(120_000)
    page.goto(f"/pours/{pour}/plan", wait_until="domcontentloaded")
    for part in (".verdict", ".plan-peak .stat"):
        top, height = page.evaluate(PLACE, part)
        assert top + min(height, 300) <= page.viewport_size["height"], part
    assert page.evaluate(SMALLEST) >= 12
    page.evaluate("document.querySelectorAll('main details').forEach((one) => { one.open = true; })")
    page.evaluate(axe)
    for path in ("plan", "ready"):
        if path == "ready":
            page.goto(f"/pours/{pour}/ready", wait_until="domcontentloaded")
            page.evaluate(axe)
        found = page.evaluate("(rules) => axe.run(rules)", RULES)["violations"]
        assert [(rule["id"], [node["target"] for node in rule["nodes"]]) for rule in found] == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_new_pour_answers_as_it_is_typed(browse: Any, one_resin: None) -> None:
    """The peak stands beside the lengths before anything is sent, and follows them; the chosen shape shows."""
    page = browse("phone")
    page.set_default_timeout(120_000)
    page.goto("/pours/new")
    expect(page.locator(".shape:visible")).to_have_attribute("data-shape", "river")
    for name, value in PIECE.items():
        page.locator(f"#describe [name={name}]").fill(value)
    answer = page.locator("#first-answer")
    expect(answer).to_contain_text("Expected peak", timeout=120_000)
    expect(answer.locator("svg.drawn text:visible").filter(has_text="30 mm")).to_have_count(1)
    page.locator("#describe [name=depth]").fill("35")
    expect(answer.locator("svg.drawn text:visible").filter(has_text="35 mm")).to_have_count(
        1, timeout=120_000
    )
    page.locator("#describe [name=shape]").select_option("round")
    expect(page.locator(".shape:visible")).to_have_attribute("data-shape", "round")
