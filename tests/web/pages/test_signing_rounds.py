"""Points signed together where they are looked at: few presses, and nothing passes that must be looked at alone."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.web.pages.test_second_check import PHOTO, text_of, words


@pytest.fixture
def good_plan() -> str:
    """A plan in which nothing stands at stop."""
    return text_of("wharf-lane-ready.toml")


def points_of(maker: Any, pour: int) -> dict[str, Any]:
    """Point → as programs see it."""
    return {point["id"]: point for point in maker.get(f"/api/pours/{pour}/ready").json()["points"]}


def sign_place(maker: Any, pour: int, place: str, photo: bool = False, again: bool = False) -> Any:
    """Ada presses the button of a place, with a photo where she has taken one."""
    address = f"/pours/{pour}/ready/place/{place}{'/again' if again else ''}"
    return maker.post(address, data={"person": "Ada"}, files=PHOTO if photo else None)


def test_each_place_is_signed_by_one_press_and_one_photo_and_each_point_keeps_its_own_signature(
    maker: Any, shop: Any, good_plan: str
) -> None:
    """Desk, bench and form; what one person may not do alone stays open and says so."""
    pour = shop.plan(good_plan)
    page = words(maker.get(f"/pours/{pour}/ready"))
    assert page.index("On paper") < page.index("At the bench") < page.index("At the form")
    sign_place(maker, pour, "desk")
    sign_place(maker, pour, "bench", photo=True)
    sign_place(maker, pour, "form", photo=True)
    points = points_of(maker, pour)
    assert all(point["signed_by"] == ["Ada"] for name, point in points.items() if name != "watch")
    assert all(point["has_photo"] for point in points.values() if "photo" in point["evidence"])
    still_open = {name for name, point in points.items() if point["obstacles"]}
    assert still_open == {"ratio", "form", "seams", "watch"}
    assert "Yes to" not in words(maker.get(f"/pours/{pour}/ready"))


def test_what_stands_at_stop_or_is_not_known_is_never_signed_in_passing(
    maker: Any, shop: Any, good_plan: str
) -> None:
    """A warm room is a stop at the desk; nobody who could be called is not known."""
    pour = shop.plan(good_plan.replace("room_c = 21.0", "room_c = 28.0"))
    before = points_of(maker, pour)
    alone = {
        name for name, p in before.items() if p["where"] == "desk" and (p["light"] == "stop" or p["unknown"])
    }
    assert {"room", "watch"} <= alone
    sign_place(maker, pour, "desk")
    after = points_of(maker, pour)
    assert {name for name, p in after.items() if p["where"] == "desk" and not p["signed_by"]} == alone


def test_a_place_signed_without_its_photo_asks_for_the_photo_alone(
    maker: Any, shop: Any, good_plan: str
) -> None:
    """The signature is not lost; the photo follows, once for all its points."""
    pour = shop.plan(good_plan)
    sign_place(maker, pour, "bench")
    points = points_of(maker, pour)
    assert points["volume"]["obstacles"]
    assert points["volume"]["signed_by"] == ["Ada"]
    bench = maker.get(f"/pours/{pour}/ready").text.partition('id="bench"')[2].partition('id="form"')[0]
    assert "Save photos" in bench
    assert "Yes to" not in re.sub("<[^>]+>", "", bench)
    sign_place(maker, pour, "bench", photo=True)
    assert points_of(maker, pour)["volume"]["obstacles"] == []


def test_one_person_makes_the_second_check_of_a_place_with_one_press_ten_minutes_later(
    maker: Any, shop: Any, good_plan: str, clock: Any
) -> None:
    """Too soon, and without a photo, is refused and says so."""
    pour = shop.plan(good_plan)
    sign_place(maker, pour, "form", photo=True)
    clock.move(9 * 60)
    assert "too soon" in sign_place(maker, pour, "form", photo=True, again=True).json()["error"]["message"]
    clock.move(2 * 60)
    assert "the second check needs a newer photo" in sign_place(maker, pour, "form", again=True).text
    sign_place(maker, pour, "form", photo=True, again=True)
    points = points_of(maker, pour)
    assert not points["form"]["obstacles"]
    assert not points["seams"]["obstacles"]
    assert points["seams"]["second_check"].startswith("checked twice by the same person, 11 min apart")


def test_a_place_that_is_none_is_refused_by_name(maker: Any, shop: Any, good_plan: str) -> None:
    """A mistyped address signs nothing."""
    answer = sign_place(maker, shop.plan(good_plan), "moon")
    assert answer.status_code == 422
    assert "desk, bench, form" in answer.text
