"""One person alone looks twice; what is not known of the watch is signed as open; heads and lists agree."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from logger.planning import examples
from logger.words.reader import METRIC
from logger.words.render import say


def _picture() -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (40, 30), "peru").save(made, "JPEG")
    return made.getvalue()


PHOTO = {"photo": ("p.jpg", _picture(), "image/jpeg")}
EXAMPLES = Path(next(iter(examples.__path__)))


def text_of(name: str) -> str:
    """An example's plan file."""
    return (EXAMPLES / name).read_text(encoding="utf-8")


@pytest.fixture
def pour(shop: Any) -> int:
    """A pour in which nothing stands at stop."""
    return int(shop.plan(text_of("wharf-lane-ready.toml")))


def words(answer: Any) -> str:
    """A page's words without its marks, blanks put together."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text.partition("<main")[2]))


def point_of(maker: Any, pour: int, name: str) -> Any:
    """A point as programs see it."""
    points = maker.get(f"/api/pours/{pour}/ready").json()["points"]
    return next(point for point in points if point["id"] == name)


def check_again(maker: Any, pour: int, point: str = "ratio") -> Any:
    """The second check by the same person, with its photo."""
    return maker.post(f"/pours/{pour}/ready/again", data={"point": point, "person": "Ada"}, files=PHOTO)


def test_one_person_checks_twice_ten_minutes_apart_with_a_photo(maker: Any, pour: int, clock: Any) -> None:
    """Too soon is refused and keeps no photo; then the point is done, and the record tells it as it was."""
    maker.post(f"/pours/{pour}/ready/sign", data={"point": "ratio", "person": "Ada"})
    page = words(maker.get(f"/pours/{pour}/ready"))
    assert (
        "Nobody else here? From 08:10 on you may make the second check yourself, with a photo: read it off the other"
        in page
    )
    clock.move(9 * 60)
    assert check_again(maker, pour).status_code == 409
    assert not point_of(maker, pour, "ratio")["has_photo"]
    clock.move(3 * 60)
    assert "Nobody else here: check it again yourself" in words(maker.get(f"/pours/{pour}/ready"))
    assert "checked twice by the same person, 12 min apart, photo 1" in words(check_again(maker, pour))
    ratio = point_of(maker, pour, "ratio")
    assert (ratio["obstacles"], ratio["signed_by"]) == ([], ["Ada"])
    record = maker.get(f"/api/pours/{pour}/record").json()
    kept = next(point for point in record["points"] if point["id"] == "ratio")
    assert say(kept["second_check"], METRIC) == "checked twice by the same person, 12 min apart, photo 1"
    assert "12 min apart, photo 1" in words(maker.get(f"/pours/{pour}/record"))


def test_a_second_tap_on_yes_is_no_second_check_and_moves_no_first(maker: Any, pour: int, clock: Any) -> None:
    """Ten minutes are counted from the first."""
    for _ in range(2):
        maker.post(f"/pours/{pour}/ready/sign", data={"point": "ratio", "person": "Ada"})
        clock.move(6 * 60)
    assert point_of(maker, pour, "ratio")["second_check"] is None
    assert check_again(maker, pour).status_code == 200
    assert point_of(maker, pour, "ratio")["second_check"] is not None


def test_an_older_photo_is_no_photo_of_the_second_check(maker: Any, pour: int, clock: Any) -> None:
    """A program sends the photo first; one from before the first check shows the first."""
    address, ada = f"/api/pours/{pour}", {"point": "ratio", "person": "Ada"}
    maker.post(f"{address}/photos", data={"point": "ratio"}, files=PHOTO)
    clock.move(60)
    maker.post(f"{address}/ready/sign", json=ada)
    clock.move(11 * 60)
    refused = maker.post(f"{address}/ready/again", json=ada)
    assert refused.status_code == 409
    assert "take a photo now" in refused.json()["error"]["message"]
    maker.post(f"{address}/photos", data={"point": "ratio"}, files=PHOTO)
    done = maker.post(f"{address}/ready/again", json=ada).json()
    ratio = next(point for point in done["points"] if point["id"] == "ratio")
    assert ratio["second_check"] == "checked twice by the same person, 11 min apart, photo 2"


def test_nobody_checks_again_what_they_have_not_signed_or_what_one_check_does_for(
    maker: Any, pour: int, clock: Any
) -> None:
    """The second follows a first, and only where two are asked for."""
    assert check_again(maker, pour).status_code == 409
    maker.post(f"/pours/{pour}/ready/sign", data={"point": "fire", "person": "Ada"})
    clock.move(11 * 60)
    assert check_again(maker, pour, "fire").status_code == 409


def test_a_signature_taken_back_takes_its_second_check_with_it(maker: Any, pour: int, clock: Any) -> None:
    """Nothing is left of it but the events."""
    ada = {"point": "ratio", "person": "Ada"}
    maker.post(f"/pours/{pour}/ready/sign", data=ada)
    clock.move(11 * 60)
    check_again(maker, pour)
    maker.post(f"/pours/{pour}/ready/unsign", data=ada)
    maker.post(f"/pours/{pour}/ready/sign", data=ada)
    assert point_of(maker, pour, "ratio")["second_check"] is None


def test_a_watch_of_which_nothing_is_known_is_not_ok(maker: Any) -> None:
    """No channel and no station: what is not known, how to make it known, and signed with a reason only."""
    pour = maker.post("/api/pours", json={"plan_toml": text_of("wharf-lane-ready.toml")}).json()["id"]
    watch = point_of(maker, pour, "watch")
    assert watch["light"] == "watch"
    assert "No phone is set up" in watch["why"]
    assert "No station is chosen" in watch["why"]
    page = words(maker.get(f"/pours/{pour}/ready"))
    assert "Sign it as open" in page
    maker.post(f"/pours/{pour}/ready/sign", data={"point": "watch", "person": "Ada"})
    assert "Not known: " in point_of(maker, pour, "watch")["obstacles"][0]
    reason = {"point": "watch", "person": "Ada", "reason": "Ben sits beside it all night"}
    maker.post(f"/pours/{pour}/ready/override", data=reason)
    assert point_of(maker, pour, "watch")["obstacles"] == []


def test_what_was_signed_as_open_stays_signed_once_the_pour_is_ready(maker: Any, pour: int) -> None:
    """Only the reason is given, no other signature; what becomes known later takes nobody's word back."""
    for point in maker.get(f"/api/pours/{pour}/ready").json()["points"]:
        for person in ("Ada", "Ben"):
            if not point["unknown"]:
                maker.post(f"/pours/{pour}/ready/sign", data={"point": point["id"], "person": person})
        if "photo" in point["evidence"]:
            maker.post(f"/pours/{pour}/ready/photo", data={"point": point["id"]}, files=PHOTO)
    reason = {"point": "watch", "person": "Ada", "reason": "Ben sits beside it all night"}
    maker.post(f"/pours/{pour}/ready/override", data=reason)
    assert maker.post(f"/pours/{pour}/ready").status_code == 200
    answer = maker.post(f"/api/pours/{pour}/stage", json={"to": "pouring"})
    assert answer.status_code == 200, answer.text


def test_probes_that_do_not_read_and_were_never_dipped_are_named(
    maker: Any, shop: Any, pour: int, clock: Any, station_token: str
) -> None:
    """A station alone is no watch."""
    maker.post(f"/pours/{pour}/station", data={"station": "bench-1"})
    assert "reported no probe" in " ".join(point_of(maker, pour, "watch")["unknown"])
    shop.sweep(core=21.0, room=21.0)
    watch = point_of(maker, pour, "watch")
    assert "No good reading" not in " ".join(watch["unknown"])
    assert (watch["light"], "No dip has been measured of: core." in watch["why"]) == ("watch", True)
    assert not any("dip" in text for text in watch["unknown"]), (
        "a dip is better; without one it may be poured"
    )
    clock.move(11 * 60)
    assert "No good reading for 10 min of: " in " ".join(point_of(maker, pour, "watch")["unknown"])


@pytest.mark.parametrize("name", ["wharf-lane-ready.toml", "wharf-lane-not-ready.toml"])
def test_plan_page_ready_page_and_api_have_one_head_and_one_list(maker: Any, shop: Any, name: str) -> None:
    """As many stops as the head says, on each."""
    pour = shop.plan(text_of(name))
    ready = maker.get(f"/api/pours/{pour}/ready").json()
    head, count = ready["headline"], len(ready["stops"])
    number = re.search(r"(\d+) things? must change", head)
    assert (int(number[1]) if number else 0) == count
    assert ("Do not pour" in head) is (count > 0)
    plan = maker.get(f"/pours/{pour}/plan")
    assert head in words(plan)
    assert plan.text.count('class="finding stop"') == count
    assert head in words(maker.get(f"/pours/{pour}/ready"))
    for point in ready["points"]:
        reason = {"point": point["id"], "person": "Ada", "reason": "a trial on scrap"}
        maker.post(f"/pours/{pour}/ready/override", data=reason)
    after = maker.get(f"/api/pours/{pour}/ready").json()
    assert after["stops"] == []
    assert "Do not pour" not in after["headline"]
    for page in ("plan", "ready"):
        assert after["headline"] in words(maker.get(f"/pours/{pour}/{page}"))
