"""Plan, ready and mix: what stands in the way is said, and nothing is fixed before the resin flows."""

from __future__ import annotations

import errno
import io
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from logger.planning import examples
from tests.web.page_text import words


def _picture() -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (40, 30), "peru").save(made, "JPEG")
    return made.getvalue()


PHOTO = _picture()


@pytest.fixture
def good_plan() -> str:
    """A plan of the invented workshop in which nothing stands at stop."""
    return (Path(next(iter(examples.__path__))) / "wharf-lane-ready.toml").read_text(encoding="utf-8")


def test_a_plan_over_the_limit_is_told_to_change(maker: Any, shop: Any, plan_toml: str) -> None:
    """Sixty millimetres where the datasheet allows fifty."""
    pour = shop.plan(plan_toml.replace("depth_mm = 40", "depth_mm = 60"))
    page = words(maker.get(f"/pours/{pour}/plan"))
    assert "Do not pour it like this: " in page
    assert "A single pour of 60 mm is too deep" in page


def test_other_numbers_are_predicted_and_can_be_undone(maker: Any, shop: Any, plan_toml: str) -> None:
    """A try costs nothing."""
    pour = shop.plan(plan_toml)
    before = maker.get(f"/api/pours/{pour}").json()
    answer = maker.post(
        f"/pours/{pour}/plan/numbers", data={"depth": "20", "room": "23", "width": "250", "layers": "1"}
    )
    assert answer.status_code == 200
    after = maker.get(f"/api/pours/{pour}").json()
    assert "depth_mm = 20" in after["plan_toml"]
    assert after["prediction"]["peak_c"] != before["prediction"]["peak_c"]
    maker.post(f"/pours/{pour}/plan/undo")
    assert maker.get(f"/api/pours/{pour}").json()["prediction"] == before["prediction"]


def test_a_wrong_number_changes_nothing(maker: Any, shop: Any, plan_toml: str) -> None:
    """The problem is said on the same page."""
    pour = shop.plan(plan_toml)
    before = maker.get(f"/api/pours/{pour}").json()["plan_toml"]
    answer = maker.post(f"/pours/{pour}/plan/numbers", data={"depth": "-3", "room": "21"})
    assert answer.status_code == 422
    assert "depth_mm" in answer.text
    assert maker.get(f"/api/pours/{pour}").json()["plan_toml"] == before


def test_ready_waits_for_every_person_and_photo(maker: Any, shop: Any, good_plan: str) -> None:
    """Ratio and form need two; a photo is evidence; then one press."""
    pour = shop.plan(good_plan)
    refused = maker.post(f"/pours/{pour}/ready", headers={"accept": "text/html"})
    assert refused.status_code == 409
    page = words(maker.get(f"/pours/{pour}/ready"))
    points = {part.split('"')[0] for part in page.split('name="point" value="')[1:]}
    assert {"ratio", "form", "fire", "leak-kit"} <= points
    for point in points:
        for person in ("Ada", "Ben"):
            assert (
                maker.post(f"/pours/{pour}/ready/sign", data={"point": point, "person": person}).status_code
                == 200
            )
        maker.post(
            f"/pours/{pour}/ready/photo",
            data={"point": point},
            files={"photo": ("p.jpg", PHOTO, "image/jpeg")},
        )
    open_point = {"point": "watch", "person": "Ada", "reason": "nobody can be called: Ben sits beside it"}
    maker.post(f"/pours/{pour}/ready/override", data=open_point)
    assert maker.post(f"/pours/{pour}/ready").status_code == 200
    assert maker.get(f"/api/pours/{pour}").json()["stage"] == "ready"


def test_what_must_change_is_said_once_on_a_point(maker: Any, shop: Any, good_plan: str) -> None:
    """In the list under the head, and on its point; below that only that it stands at stop, and what may be done."""
    pour = shop.plan(good_plan.replace("room_c = 21.0", "room_c = 28.0"))
    page = words(maker.get(f"/pours/{pour}/ready"))
    assert page.count("The room reaches 28 °C; 26 °C is the most.") == 2
    assert "Blocked. Fix it, or sign an exception by name and reason." in page


def test_one_person_twice_is_not_two(maker: Any, shop: Any, good_plan: str) -> None:
    """Four eyes are four eyes."""
    pour = shop.plan(good_plan)
    for _ in range(2):
        maker.post(f"/pours/{pour}/ready/sign", data={"point": "ratio", "person": "Ada"})
    assert "needs one more person" in words(maker.get(f"/pours/{pour}/ready"))


def test_a_changed_plan_asks_for_signatures_again(maker: Any, shop: Any, good_plan: str) -> None:
    """What was signed was another plan."""
    pour = shop.plan(good_plan)
    maker.post(f"/pours/{pour}/ready/sign", data={"point": "fire", "person": "Ada"})
    assert "✓ Ada" in words(maker.get(f"/pours/{pour}/ready"))
    maker.post(f"/pours/{pour}/plan", data={"plan_toml": good_plan.replace("room_c = 21.0", "room_c = 22.0")})
    assert "✓ Ada" not in words(maker.get(f"/pours/{pour}/ready"))


def test_a_batch_off_the_ratio_is_refused_and_weighed_again(maker: Any, shop: Any, good_plan: str) -> None:
    """2 : 1 by volume with densities 1.14 and 1.02 is 100 : 44.7 by weight (arithmetic); 1000 : 350 is short of B."""
    pour = shop.plan(good_plan)
    bad = words(maker.post(f"/pours/{pour}/mix", data={"part_a": "1000", "part_b": "350"}))
    assert "Stop: do not pour this." in bad
    assert "Weigh again, and type what the scale shows" in bad
    assert "of part B now" not in bad, "22 % short is no weighing error"
    right = words(maker.post(f"/pours/{pour}/mix", data={"part_a": "1000", "part_b": "447"}))
    assert "Right. Stir it in full, then pour." in right
    assert "1.45 kg of" in right, "the rejected batch is not counted"


def test_a_ratio_by_volume_without_densities_is_measured_not_weighed(
    maker: Any, shop: Any, plan_toml: str
) -> None:
    """The bench says how to measure it and which two numbers a scale would need; nothing guesses them."""
    mix = '\n[mix]\nratio_parts = [2, 1]\nratio_by = "volume"\n'
    pour = shop.plan(plan_toml + mix)
    page = words(maker.get(f"/pours/{pour}/mix"))
    assert "measure each part in a marked cup" in page
    assert "without the density of both parts" in page
    assert "Check a batch" not in page
    weighed = maker.post(f"/pours/{pour}/mix", data={"part_a": "1000", "part_b": "500"})
    assert weighed.status_code == 422
    assert "cannot be weighed without both densities" in words(weighed)


def test_a_photo_is_kept_by_its_bytes_and_nothing_else_is(maker: Any, shop: Any, plan_toml: str) -> None:
    """A page dressed up as a picture is refused; another pour's picture is not shown."""
    pour, other = shop.plan(plan_toml), shop.plan(plan_toml)
    page = b"<html><script>alert(1)</script></html>"
    assert (
        maker.post(f"/pours/{pour}/photos", files={"photo": ("a.jpg", page, "image/jpeg")}).status_code == 422
    )
    assert (
        maker.post(f"/pours/{pour}/photos", files={"photo": ("a.jpg", PHOTO, "image/jpeg")}).status_code
        == 200
    )
    text = words(maker.get(f"/pours/{pour}"))
    address = text.split('<img class="small" src="')[1].split('"')[0]
    answer = maker.get(address)
    assert answer.headers["content-type"] == "image/jpeg"
    assert Image.open(io.BytesIO(answer.content)).size == (40, 30)
    assert maker.get(address.replace(f"/pours/{pour}/", f"/pours/{other}/")).status_code == 404


def test_a_photo_that_finds_no_room_is_told_with_what_to_do(
    maker: Any, shop: Any, plan_toml: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk is full when it matters; the person at the phone can make room."""

    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("web.actions.photos.put", full)
    pour = shop.plan(plan_toml)
    answer = maker.post(f"/pours/{pour}/photos", files={"photo": ("a.jpg", PHOTO, "image/jpeg")})
    assert answer.status_code == 500
    assert "No space left on device): make room on the disk" in words(answer)
