"""A look made where there is no connection: kept on the phone, said so, sent once when there is contact again."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from logger.delivery.signed_links import new_token
from logger.pour import Stage
from logger.store import events
from logger.store.message_links import Purpose

#: Where pictures of this walk go, if anywhere.
FOLDER = os.environ.get("POURLOG_PICTURES")


@pytest.fixture
def pour(shop: Any, plan_toml: str) -> int:
    """A pour in its first hour."""
    made = int(shop.plan(plan_toml))
    shop.go(made, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(0.05, 30, lambda _h: {"core": 22.0, "room": 21.0})
    return made


def looks(shop: Any, pour: int) -> list[Any]:
    """The looks that the service has."""
    with shop.service.store.read() as connection:
        return events.of_kind(connection, pour, "look")


def test_a_look_without_a_connection_is_kept_on_the_phone_and_sent_once(
    browse: Any, shop: Any, pour: int
) -> None:
    """It is there after the page was closed, and taken with the time at which it was made."""
    page = browse("phone")
    page.goto(f"/pours/{pour}/first-hour")
    made_ms = shop.service.timeline.true_ms()
    page.context.set_offline(True)
    page.get_by_role("button", name="Dry, level, no smell of heat").click()
    expect(page.locator("#kept-looks")).to_contain_text("saved on this phone, will be sent")
    if FOLDER is not None:
        page.screenshot(path=Path(FOLDER) / "offline-look.png")
    assert looks(shop, pour) == []
    page.close()
    shop.feed(0.08, 30, lambda _h: {"core": 22.0, "room": 21.0})
    page = page.context.new_page()
    page.context.set_offline(False)
    page.goto("/")
    page.wait_for_function("() => localStorage.getItem('pourlog-looks') === '[]'")
    (look,) = looks(shop, pour)
    assert abs(look.at_ms - made_ms) < 20_000
    assert look.data["finding"] == "dry"
    assert look.data["sent_ms"] > look.at_ms
    page.goto(f"/pours/{pour}/first-hour")
    expect(page.locator("#looks")).to_contain_text("saved on a phone")
    page.get_by_text("Something else wrong?").click()
    page.get_by_label("What you saw").fill("left corner")
    page.get_by_role("button", name="It is leaking").click()
    expect(page.locator("#looks")).to_contain_text("left corner")
    assert [row.data["finding"] for row in looks(shop, pour)] == ["dry", "leaking"]


def test_the_link_of_a_reminder_shows_three_big_answers_above_the_fold(
    browse: Any, shop: Any, pour: int
) -> None:
    """For a glove, on a phone that is not signed in."""
    with shop.service.store.write() as tx:
        due_ms = shop.service.timeline.true_ms() + 120_000
        token = new_token(tx, Purpose.LOOK, "first", None, shop.service.timeline.now_ms(), (pour, due_ms))
    page = browse("phone", signed_in=False)
    page.goto(f"/look/{token}")
    for name in ("Dry", "Wet", "Later"):
        button = page.get_by_role("button", name=name).bounding_box()
        assert button["height"] >= 100
        assert button["y"] + button["height"] <= 844
    if FOLDER is not None:
        page.screenshot(path=Path(FOLDER) / "link.png")
    page.get_by_role("button", name="Wet").click()
    expect(page.locator("h1")).to_contain_text("the alarm is raised")
    if FOLDER is not None:
        page.screenshot(path=Path(FOLDER) / "wet.png")
    assert [row.data["finding"] for row in looks(shop, pour)] == ["leaking"]
