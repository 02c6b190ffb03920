"""A pour is watched in Chromium: the alarm comes by itself, is said once, is answered; lost contact is unmistakable."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from logger.pour import Stage

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_a_hot_core_opens_its_alert_and_one_press_answers_it(
    browse: Any, shop: Any, plan_toml: str, size: str
) -> None:
    """From a calm board to an answered alarm, without a reload by hand."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 23.0, "surface": 22.5, "room": 21.0})
    page = browse(size)
    page.goto("/")
    expect(page.locator(".tile .state")).to_contain_text("Nothing wrong")
    expect(page.locator(".tile .huge")).to_contain_text("23.0")
    shop.feed(0.03, 5, lambda _h: {"core": 66.5, "surface": 50.0, "room": 21.0})
    page.wait_for_url("**/alarms/*")
    expect(page.locator("h1")).to_contain_text("The core is too hot")
    expect(page.locator(".do")).to_contain_text("Keep clear and look from a distance first.")
    press = page.locator("#press")
    assert press.bounding_box()["height"] >= 64
    press.click()
    expect(page.locator("#taken")).to_contain_text("Ada is on it")
    expect(page.locator("#press")).to_have_count(0)
    page.goto(f"/pours/{pour}/record")
    expect(page.locator("main")).to_contain_text("66.5")
    expect(page.locator("main")).to_contain_text("The core is too hot")


def test_an_alarm_is_announced_once(browse: Any, shop: Any, plan_toml: str) -> None:
    """A screen reader hears it when it comes, and not again at every refresh."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 23.0, "room": 21.0})
    page = browse("desktop")
    page.goto(f"/pours/{pour}")
    page.evaluate(
        "window.said = []; new MutationObserver(() => said.push(document.getElementById('announce').textContent))"
        ".observe(document.getElementById('announce'), {childList: true, characterData: true, subtree: true})"
    )
    shop.feed(0.03, 5, lambda _h: {"core": 66.5, "room": 21.0})
    expect(page.locator("#announce")).to_contain_text("The core is too hot")
    with page.expect_response(lambda answer: answer.url.endswith(f"/pours/{pour}")):
        shop.feed(0.01, 5, lambda _h: {"core": 67.0, "room": 21.0})
    expect(page.locator(".core-now .huge")).to_contain_text("67.0")
    said = page.evaluate("said")
    assert len(said) == 1
    assert "The core is too hot" in said[0]


def test_the_chart_draws_gaps_as_gaps_and_keeps_the_hottest_sample(
    browse: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """A straight line over an hour without readings would be a lie."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.5, 30, lambda h: {"core": 21.0 + h, "room": 21.0})
    clock.move(3600)
    shop.feed(0.5, 30, lambda h: {"core": 59.0 if abs(h - 0.25) < 0.004 else 23.0 + h, "room": 21.0})
    page = browse("phone")
    page.goto(f"/pours/{pour}")
    expect(page.locator("#curve")).to_have_attribute("data-measured", "2")
    core = page.evaluate("document.getElementById('curve').data.find((t) => t.name === 'core').y.map(Number)")
    drawn = page.evaluate("document.getElementById('curve').data.find((t) => t.name === 'core').y")
    assert max(core) == 59.0
    assert None in drawn
    box = page.locator("#curve").bounding_box()
    layers = [layer.bounding_box() for layer in page.locator("#curve svg.main-svg").all()]
    assert len(layers) >= 2
    assert all(layer["y"] + layer["height"] <= box["y"] + box["height"] + 1 for layer in layers), (
        "chart spills over"
    )
    dashes = page.evaluate(
        "document.getElementById('curve').data.filter((t) => t.line && t.line.width).map((t) => t.line.dash)"
    )
    assert len(dashes) >= 3
    assert len(set(dashes)) == len(dashes), "lines differ by dash, not by colour alone"


def test_lost_contact_is_said_and_ends_by_itself(browse: Any, shop: Any, plan_toml: str) -> None:
    """The wifi drops: the page says that it is old. It comes back: the page is true again."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 23.0, "room": 21.0})
    page = browse("phone")
    page.clock.install()
    page.goto("/")
    page.clock.run_for(1000)
    page.context.set_offline(True)
    page.clock.run_for(40_000)
    expect(page.locator("#contact")).to_contain_text("No contact with the service")
    page.context.set_offline(False)
    page.clock.run_for(20_000)
    expect(page.locator("#contact")).to_be_hidden()


def test_old_readings_look_old(browse: Any, shop: Any, clock: Any, plan_toml: str) -> None:
    """The station is silent for four minutes: no number stands there as if it were now."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 23.4, "room": 21.0})
    clock.move(4 * 60)
    page = browse("desktop")
    page.goto("/")
    expect(page.locator(".tile .stale")).to_contain_text("last reading 4 min ago")
    expect(page.locator(".tile .huge")).not_to_contain_text("23.4")


def test_before_its_second_layer_the_cut_tells_the_surface_of_the_first(
    browse: Any, shop: Any, plan_toml: str
) -> None:
    """Where nothing is poured yet there is no temperature, least of all 0 °C."""
    pour = shop.plan(plan_toml + "[[layer]]\nat_h = 20\ndepth_mm = 25\n[run]\nhours = 48\n")
    shop.go(pour, Stage.READY, Stage.POURING)
    page = browse("desktop")
    page.goto(f"/pours/{pour}")
    page.locator("#cut-hour").fill("0")
    words = page.locator("#cut-words")
    expect(words).to_contain_text("0 h 00 min after pouring")
    expect(words).to_contain_text("core 21 °C, surface 21 °C, underside 21 °C")
