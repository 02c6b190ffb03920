"""The mixing bench as hands with gloves use it: on a phone, gone back to, in two tabs, and without its script."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from logger.planning import examples

RUNNING = r"#clocks .huge:text-matches('^5:[0-5][0-9]$')"


@pytest.fixture
def bench(shop: Any) -> str:
    """The mixing page of a pour of the invented workshop: 9861 g A and 4412 g B to weigh."""
    plan = (Path(next(iter(examples.__path__))) / "wharf-lane-ready.toml").read_text(encoding="utf-8")
    return f"/pours/{shop.plan(plan)}/mix"


def weigh(page: Any, part_a: str, part_b: str) -> None:
    """Type both weights in and have them checked."""
    page.fill("[name=part_a]", part_a)
    page.fill("[name=part_b]", part_b)
    page.click("text=Check it")
    page.wait_for_selector("#verdict")


def test_going_back_brings_no_old_verdict_to_other_numbers(browse: Callable[..., Any], bench: str) -> None:
    """Back from a verdict is a form without one; back to a verdict is its own numbers, or that they hold no more."""
    page = browse("phone")
    page.goto(bench)
    weigh(page, "9861", "4060")
    assert "Add 352" in page.inner_text("#verdict")
    page.go_back()
    page.wait_for_selector("[name=part_a]")
    assert page.locator("#verdict").count() == 0
    page.fill("[name=part_b]", "4412")
    assert page.locator("#verdict").count() == 0
    weigh(page, "9861", "4412")
    assert "Right." in page.inner_text("#verdict")
    page.go_back()
    page.go_back()
    page.wait_for_timeout(300)
    for _ in range(3):
        page.go_forward()
        page.wait_for_load_state()
        if page.locator("#verdict").count():
            assert "Right." in page.inner_text("#verdict")
            assert "4,412" in page.inner_text("#check")


def test_another_tab_loses_its_verdict_when_the_batch_is_weighed_again(
    browse: Callable[..., Any], bench: str
) -> None:
    """Nobody presses anything in it."""
    page = browse("phone")
    page.goto(bench)
    weigh(page, "4412", "9861")
    assert "parts swapped" in page.inner_text("#verdict")
    other = page.context.new_page()
    other.goto(bench)
    weigh(other, "9861", "4412")
    page.wait_for_selector("#verdict", state="detached")
    assert "weighed again since" in page.inner_text("#check")


def test_the_clock_runs_on_the_first_screen_and_outlives_a_reload_and_the_phone(
    browse: Callable[..., Any], bench: str
) -> None:
    """Minutes and seconds, large, and the same on another phone."""
    page = browse("phone")
    page.goto(bench)
    weigh(page, "9861", "4412")
    page.click("text=Mixing starts")
    page.wait_for_selector("text=Batch 1: stir")
    digits = page.locator("#clocks .huge")
    assert digits.bounding_box()["y"] + digits.bounding_box()["height"] < 844
    page.wait_for_selector(RUNNING)
    page.reload()
    page.wait_for_selector(RUNNING)
    other = browse("phone")
    other.goto(bench)
    other.wait_for_selector(RUNNING)


def test_without_its_script_the_clock_says_until_when(
    browse: Callable[..., Any], bench: str, chromium: Any, address: str
) -> None:
    """A number that stands still would be wrong a minute later; a time of day stays true."""
    page = browse("phone")
    page.goto(bench)
    weigh(page, "9861", "4412")
    page.click("text=Mixing starts")
    page.wait_for_selector("text=Batch 1: stir")
    plain = chromium.new_context(base_url=address, java_script_enabled=False)
    plain.add_cookies(page.context.cookies())
    still = plain.new_page()
    still.goto(bench)
    assert "until 08:06" in still.inner_text("#clocks .huge")
    plain.close()
