"""The record's page: the answer first, then the curve, then the rest folded; printed, every fold is open."""

from __future__ import annotations

import gzip
import subprocess
from typing import Any

import pytest
from needs import needs_program

from logger.pour import Stage
from logger.record import plots
from web.views.render import STATIC

pytestmark = [pytest.mark.browser]
#: Most that a page weighs beside the chart's script, bytes, compressed.
LIGHT = 60_000


@pytest.fixture
def sealed(shop: Any, plan_toml: str) -> int:
    """A sealed pour with alarms, whose core stayed below its limit."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.humidity_pct = 52.0
    shop.feed(
        6.0, 300, lambda h: {"core": 21 + 3 * h, "surface": 21.0 + h, "underside": 21.0 + 2 * h, "room": 21.0}
    )
    shop.go(pour, Stage.RELEASED, Stage.CLOSED)
    return pour


@pytest.mark.parametrize("size", ["phone", "desktop"])
@pytest.mark.parametrize("dark", [False, True])
def test_the_first_screen_holds_the_answer_and_the_curve_follows(
    browse: Any, sealed: int, size: str, dark: bool
) -> None:
    """The verdict is whole on the first screen and the curve begins on it; nothing scrolls sideways; no letter of the
    curve is smaller than 11 px, of anything else than 12.
    """
    page = browse(size, dark=dark)
    page.goto(f"/pours/{sealed}/record")
    high = page.viewport_size["height"]
    verdict = page.locator("section.verdict")
    assert "The resin stayed within its limit" in verdict.inner_text()
    box = verdict.bounding_box()
    assert box["y"] + box["height"] <= high
    curve = page.locator(".wide-plot svg, .narrow-plot svg").locator("visible=true")
    assert curve.count() == 1
    assert curve.bounding_box()["y"] < high
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate("document.documentElement.scrollHeight") < 4 * high
    smallest = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll('main *')]
            .filter(e => e.checkVisibility() && !e.closest('svg'))
            .filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
            .map(e => parseFloat(getComputedStyle(e).fontSize)))"""
    )
    assert smallest >= 12
    assert (
        curve.evaluate(
            """svg => Math.min(...[...svg.querySelectorAll('text')]
            .map(t => parseFloat(getComputedStyle(t).fontSize)))
            * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width"""
        )
        >= 11
    )


def test_the_rest_is_folded_and_opens_by_keyboard(browse: Any, sealed: int) -> None:
    """Nothing of the record is lost: its folds hold the figures, the alarms, the log."""
    page = browse("phone")
    page.goto(f"/pours/{sealed}/record")
    log = page.locator("#log")
    assert not log.locator("ol").is_visible()
    log.locator("summary").focus()
    page.keyboard.press("Enter")
    assert "Pouring began" in log.locator("ol").inner_text()


@needs_program("pdftotext", "poppler-utils")
def test_printed_every_fold_is_open_and_no_page_but_the_last_has_a_fifth_blank(
    browse: Any, sealed: int, tmp_path: Any
) -> None:
    """Paper cannot be pressed."""
    page = browse("desktop")
    page.goto(f"/pours/{sealed}/record")
    (tmp_path / "it.pdf").write_bytes(page.pdf(format="A4", margin=dict.fromkeys(("top", "bottom"), "13mm")))
    text = subprocess.run(
        ["pdftotext", str(tmp_path / "it.pdf"), "-"], capture_output=True, check=True
    ).stdout.decode()
    for folded in ("Steepest rise", "Signed by", "Pouring began", "Seal: "):
        assert folded in text, folded
    subprocess.run(
        ["pdftoppm", "-r", "50", "-gray", "-png", str(tmp_path / "it.pdf"), str(tmp_path / "it")], check=True
    )
    shares = [_blank_below(path) for path in sorted(tmp_path.glob("it-*.png"))]
    assert max(shares[:-1]) < 0.20, shares


def _blank_below(path: Any) -> float:
    import numpy as np
    from PIL import Image

    rows = np.flatnonzero((np.asarray(Image.open(path)) < 245).any(axis=1))
    with Image.open(path) as picture:
        margin = round(13 / 25.4 * 50)
        return float((picture.height - margin - rows.max()) / picture.height)


def test_the_page_is_light(browse: Any, sealed: int) -> None:
    """With its style sheets and fonts, compressed."""
    page = browse("phone")
    sizes: dict[str, int] = {}

    def note(answer: Any) -> None:
        path = answer.url.partition("?")[0]
        if not path.endswith((".woff2", ".png", ".jpg")):
            sizes[path] = len(gzip.compress(answer.body(), 6))

    page.on("response", note)
    page.goto(f"/pours/{sealed}/record", wait_until="networkidle")
    assert sum(sizes.values()) < LIGHT, sizes


def test_the_pages_colours_stand_for_every_colour_of_a_plot() -> None:
    """A plot's colours are paper's; on a dark screen each is exchanged by its value."""
    css = (STATIC / "paper.css").read_text(encoding="utf-8")
    for colour, _dash, _width in plots.PLACES.values():
        assert f'[stroke="{colour}"]' in css, colour
