"""The first hour: looks due, looks made, what to do when it is not dry."""

from __future__ import annotations

from typing import Any

from logger.pour import Stage


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
