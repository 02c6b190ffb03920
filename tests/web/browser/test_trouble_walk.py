"""The scene in which screens once contradicted each other, walked in Chromium in several orders: red throughout.

Hot (63.6 °C, limit 60, rising), acknowledged by a message's link, a look due, the clock not set, a probe lost.
"""

from __future__ import annotations

from typing import Any

import pytest

from logger.pour import Stage
from logger.settings import Messages
from logger.store import alarms, outbox
from tests.messages_as_sent import as_sent

pytestmark = pytest.mark.browser

#: A phone's screen, px: what must be seen without scrolling ends above it.
FOLD_PX = 844
ORDERS = (
    ("heat", "tap", "look", "clock", "lose core"),
    ("clock", "lose surface", "heat", "look", "tap"),
    ("look", "heat", "tap", "lose core", "clock"),
)


@pytest.fixture
def messages() -> Messages:
    """One phone."""
    return Messages(urls=["json://first.test"], who="Tom")


class Scene:
    """A pour to which things happen, one after another."""

    def __init__(self, shop: Any, clock: Any, plan_toml: str) -> None:
        self.shop, self.clock = shop, clock
        self.pour = int(shop.plan(plan_toml))
        self.lost: set[str] = set()
        self.core_c, self.done = 24.0, set[str]()
        shop.go(self.pour, Stage.READY, Stage.POURING, Stage.WATCHED)
        self.pass_time(2)

    def pass_time(self, minutes: float, core_c_per_h: float = 0.0) -> None:
        """Readings every half minute."""
        start_c = self.core_c

        def at(hour: float) -> dict[str, float | str | None]:
            self.core_c = start_c + core_c_per_h * hour
            read: dict[str, float | str | None] = {"core": self.core_c, "surface": 24.0, "room": 21.0}
            return {place: "missing" if place in self.lost else value for place, value in read.items()}

        self.shop.feed(minutes / 60, 30, at)

    def happen(self, what: str, page: Any) -> None:
        """The next thing happens."""
        if what == "heat":
            self.core_c = 42.0
            self.pass_time(12, core_c_per_h=108.0)
        elif what == "tap":
            page.goto(f"/a/{self.token('core-hot')}")
            assert above_the_fold(page, "h1", ".now .say", "form button")
            page.locator("form button").click()
            page.wait_for_selector("[role=status]")
            assert page.locator("body.high").count() == 1, "somebody is on it: it is as hot as before"
            assert (
                "63.6 °C" in page.locator("main").inner_text().replace("\u00a0", " ") or "clock" in self.done
            )
        elif what == "look":
            self.pass_time(8)
        elif what == "clock":
            self.clock.clock_set = False
            self.pass_time(12)
        else:
            self.lost.add(what.split()[1])
            self.pass_time(3)
        self.done.add(what)

    def alarm(self, kind: str) -> Any:
        """The open alarm of a kind."""
        with self.shop.service.store.read() as connection:
            return next(row for row in alarms.open_alarms(connection) if row.kind == kind)

    def token(self, kind: str) -> str:
        """What the newest message about that alarm has in its link."""
        number = self.alarm(kind).id
        with self.shop.service.store.read() as connection:
            body = next(as_sent(m).body for m in outbox.newest_messages(connection) if m.alarm_id == number)
        return str(body.rpartition("/look/" if kind == "look-due" else "/a/")[2].split()[0])


def above_the_fold(page: Any, *selectors: str) -> bool:
    """Whether the first element of each selector ends above the fold, with the page as it opens."""
    # Measured in one go: a page renews itself, and an element may go between two questions.
    bottoms = page.evaluate(
        "(all) => all.map((one) => document.querySelector(one)?.getBoundingClientRect().bottom ?? null)",
        list(selectors),
    )
    for selector, bottom in zip(selectors, bottoms, strict=True):
        assert bottom is not None, f"{selector} is not on {page.url}"
        assert bottom <= FOLD_PX, f"{selector} of {page.url} ends at {bottom:.0f}"
    return True


@pytest.mark.parametrize("order", ORDERS, ids=" > ".join)
def test_the_board_stays_red_through_the_scene_and_says_who_is_on_it(
    browse: Any, shop: Any, clock: Any, plan_toml: str, order: tuple[str, ...]
) -> None:
    """In each order, from the heat on: red on board and pour, and Tom is on it once he has tapped."""
    page = browse("phone")
    page.add_init_script("localStorage.setItem('pourlog-open', 'off')")  # the walk goes where it goes
    scene = Scene(shop, clock, plan_toml)
    for what in order:
        scene.happen(what, page)
        if "heat" not in scene.done:
            continue
        for path, block in (("/", ".tile"), (f"/pours/{scene.pour}", ".condition")):
            page.goto(path)
            assert page.locator(f"{block}.stop").count() == 1, (what, path)
            assert above_the_fold(page, f"{block} .state", ".headline", ".who", ".action")
            who = page.locator(".who").first.inner_text()
            assert ("Tom (by link) is on it since" in who) == ("tap" in scene.done), (what, path, who)
            bar = page.locator("#trouble li:visible").count()
            assert bar == 0, "the bar does not repeat what the page itself says and links to"
            assert page.locator(f'.headline a[href="/alarms/{scene.alarm("core-hot").id}"]').count() == 1
    page.goto(f"/alarms/{scene.alarm('core-hot').id}")
    assert page.locator("body.alert.high").count() == 1
    assert above_the_fold(page, "h1", ".lead", "#taken")
    page.goto(f"/alarms/{scene.alarm('clock-unset').id}")
    assert page.locator(".condition.stop").count() == 1, "what is graver leads on the page of what is less"
    assert above_the_fold(page, ".condition .headline", ".condition .who", ".condition .action")
    page.goto(f"/a/{scene.token('clock-unset')}")
    assert page.locator("body.high .now.stop").count() == 1
    assert above_the_fold(page, ".now h1", ".now .say", "form button")
    page.goto(f"/look/{scene.token('look-due')}")
    assert page.locator("body.high .now.stop").count() == 1, "a look is no reason to walk up to a hot core"
    assert above_the_fold(page, ".now h1", ".now .say", "form button")
