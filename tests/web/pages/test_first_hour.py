"""The first hour: looks due, looks made, what to do when it is not dry."""

from __future__ import annotations

from typing import Any

from logger.pour import Stage
from logger.store import events


def test_a_look_is_asked_for_made_and_asked_for_again(
    maker: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """One press when all is well."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    clock.move(6 * 60)
    assert "Check now" in maker.get(f"/pours/{pour}/first-hour").text
    maker.post(f"/pours/{pour}/looks", data={"finding": "dry"})
    page = maker.get(f"/pours/{pour}/first-hour").text
    assert "Check now" not in page
    assert "Next check" in page
    assert "Ada" in page


def test_a_leak_shows_what_to_do_and_raises_its_alarm(
    maker: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """The steps come first, then the alarm for everybody else."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    clock.move(4 * 60)
    page = maker.post(f"/pours/{pour}/looks", data={"finding": "leaking", "text": "left front corner"}).text
    assert "Stop pouring. Gloves on." in page
    assert "left front corner" in page
    shop.feed(0.02, 5, lambda _h: {"core": 22.0, "room": 21.0})
    assert "wet-under-form" in {alarm["kind"] for alarm in maker.get("/api/alarms").json()}


def test_an_unknown_finding_is_refused(maker: Any, shop: Any, plan_toml: str) -> None:
    """Only answers that the alarms understand are kept."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    assert maker.post(f"/pours/{pour}/looks", data={"finding": "fine"}).status_code == 422


def test_a_look_that_must_wait_is_put_off_and_asked_for_again(
    maker: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """Only once it is near; who puts it off is told when it comes back, and it still counts as not made."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    address = f"/pours/{pour}/first-hour"
    assert 'value="later"' not in maker.get(address).text
    clock.move(3.5 * 60)
    assert 'value="later"' in maker.get(address).text
    page = maker.post(f"/pours/{pour}/looks", data={"finding": "later"}).text
    assert "You are asked again at" in page
    assert "Next check" in page
    clock.move(2 * 60)
    assert "Check now" in maker.get(address).text
    with shop.service.store.read() as connection:
        (event,) = events.of_kind(connection, pour, "look-later")
        assert events.of_kind(connection, pour, "look") == []
    assert event.by == "Ada"


def test_later_acknowledges_the_alarm_that_the_look_is_late(
    maker: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """It stays on screen until somebody has looked."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.13, 15, lambda _h: {"core": 22.0, "room": 21.0})
    assert phase_of_late_look(maker) == "raised"
    maker.post(f"/pours/{pour}/looks", data={"finding": "later"})
    assert phase_of_late_look(maker) == "acknowledged"
    assert "Check now" in maker.get(f"/pours/{pour}/first-hour").text


def phase_of_late_look(maker: Any) -> str:
    """Where the alarm of the look that is due is in its life."""
    (alarm,) = [alarm for alarm in maker.get("/api/alarms").json() if alarm["kind"] == "look-due"]
    return str(alarm["phase"])


def test_a_leak_opens_what_to_fetch_and_heads_the_page(maker: Any, shop: Any, plan_toml: str) -> None:
    """What was found, what to do, what to fetch; then the rest. While it is dry what to fetch is folded."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    calm = maker.get(f"/pours/{pour}/first-hour").text
    assert '<details class="fold" id="kit">' in calm
    wet = maker.post(f"/pours/{pour}/looks", data={"finding": "leaking"}).text
    assert '<details class="fold" id="kit" open>' in wet
    places = [
        wet.index(part) for part in ("verdict stop", "Stop pouring.", 'id="kit"', "Next check", "Checks made")
    ]
    assert places == sorted(places)
