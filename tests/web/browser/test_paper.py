"""The record on two sheets, printed by a browser: what a service without the PDF extra offers instead."""

from __future__ import annotations

import subprocess
from typing import Any

import pytest
from needs import needs_program

from logger.pour import Stage

pytestmark = [pytest.mark.browser, needs_program("pdftotext", "poppler-utils")]


def test_a_browser_prints_the_record_on_two_sheets_with_vector_plots(
    browse: Any, shop: Any, plan_toml: str
) -> None:
    """Two pages of A4 (ISO 216); the second ends with the proof; nothing but our own files is asked for."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.humidity_pct = 52.0
    shop.feed(1.0, 300, lambda h: {"core": 21 + 2 * h, "surface": 21.0, "underside": 21.0, "room": 21.0})
    shop.go(pour, Stage.RELEASED, Stage.CLOSED)
    page = browse("desktop")
    page.goto(f"/pours/{pour}/record")
    page.get_by_role("link", name="Two pages, to print").click()
    page.wait_for_url("**/record/paper")
    assert page.locator("svg").count() >= 3, "the course, the room and its humidity"
    printed = page.pdf(prefer_css_page_size=True)
    told = subprocess.run(["pdfinfo", "-"], input=printed, capture_output=True, check=True).stdout.decode()
    assert "Pages:           2\n" in told
    text = subprocess.run(
        ["pdftotext", "-f", "2", "-l", "2", "-", "-"], input=printed, capture_output=True, check=True
    ).stdout.decode()
    assert "Proof" in text
    assert "page 2 of 2" in text
