"""A request whose answer was lost is sent again and carried out once (draft-ietf-httpapi-idempotency-key-header-06)."""

from __future__ import annotations

import io
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from PIL import Image

from logger.pour import Stage
from logger.store import events
from web.actions import pours

KEY = {"Idempotency-Key": '"8e03978e-40d5-43e8-bc93-6894a57f9324"'}


def plan(maker: Any, plan_toml: str, headers: dict[str, str]) -> Any:
    """Plans a pour."""
    return maker.post("/api/pours", json={"plan_toml": plan_toml, "client": "C"}, headers=headers)


def test_a_pour_that_is_planned_again_with_its_key_is_there_once(maker: Any, plan_toml: str) -> None:
    """The second answer is the first one; another key is another pour."""
    first, again = plan(maker, plan_toml, KEY), plan(maker, plan_toml, KEY)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert len(maker.get("/api/pours").json()) == 1
    plan(maker, plan_toml, {"Idempotency-Key": '"another"'})
    plan(maker, plan_toml, {})
    assert len(maker.get("/api/pours").json()) == 3


def test_a_key_is_not_used_for_two_things(maker: Any, plan_toml: str) -> None:
    """Section 2.7 of the draft: 422 for another payload. One that is refused has used its key for nothing."""
    bad = plan_toml.replace("depth_mm = 40", "depth_mm = -40")
    assert plan(maker, bad, KEY).status_code == 422
    assert plan(maker, plan_toml, KEY).status_code == 201
    other = plan(maker, plan_toml.replace("depth_mm = 40", "depth_mm = 41"), KEY)
    assert other.status_code == 422
    assert "another request" in other.json()["error"]["message"]
    assert maker.post("/api/pours/1/notes", json={"text": "a note"}, headers=KEY).status_code == 422


@pytest.mark.parametrize("key", ["8e03978e", '""', '"a\\"b"', '"ä"', '"' + 256 * "x" + '"'])
def test_a_key_is_a_string_of_structured_fields(maker: Any, plan_toml: str, key: str) -> None:
    """RFC 9651, 3.3.3: in quotation marks, of ASCII; here without escapes, and of at most 255 characters."""
    answer = plan(maker, plan_toml, {"Idempotency-Key": key.encode("utf-8")})  # type: ignore[dict-item]
    assert answer.status_code == 422
    assert maker.get("/api/pours").json() == []


def test_while_the_first_is_carried_out_the_second_is_told_to_wait(
    maker: Any, plan_toml: str, monkeypatch: Any
) -> None:
    """Section 2.7 of the draft: 409. A slow machine solves a plan for longer than its client waits."""
    solving, go_on = threading.Event(), threading.Event()
    slow = pours.plan_pour

    def plan_slowly(*given: Any) -> int:
        solving.set()
        assert go_on.wait(30)
        return slow(*given)

    monkeypatch.setattr(pours, "plan_pour", plan_slowly)
    with ThreadPoolExecutor(1) as pool:
        first = pool.submit(plan, maker, plan_toml, KEY)
        assert solving.wait(30)
        second = plan(maker, plan_toml, KEY)
        assert (second.status_code, second.json()["error"]["kind"]) == (409, "being-done")
        go_on.set()
        made = first.result(60).json()
    assert plan(maker, plan_toml, KEY).json() == made
    assert len(maker.get("/api/pours").json()) == 1


def test_two_processes_make_one_pour(maker: Any, service: Any, shop: Any, plan_toml: str) -> None:
    """The key is unique where it is kept: whoever comes second makes nothing, and is told to ask again."""
    assert plan(maker, plan_toml, KEY).status_code == 201
    kept = events.Request(KEY["Idempotency-Key"].strip('"'), "as another process has worked it out")
    token = events.REQUEST.set(kept)
    try:
        with pytest.raises(Exception, match="has just been carried out"):
            shop.plan(plan_toml)
    finally:
        events.REQUEST.reset(token)
    assert len(maker.get("/api/pours").json()) == 1


def test_what_is_told_to_a_record_is_kept_once(maker: Any, shop: Any, plan_toml: str) -> None:
    """A lot that is noted twice is used twice, on the shelf and in the record."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    made = io.BytesIO()
    Image.new("RGB", (20, 20)).save(made, "PNG")
    asked = {
        "lots": {"json": {"product": "P", "part": "A", "lot": "L-1", "kg": 2.5}},
        "outcome": {"json": {"state": "good"}},
        "tests": {"json": {"what": "hardness", "value": "no mark"}},
        "layers": {"json": {"number": 2}},
        "notes": {"json": {"text": "a knot shows"}},
        "looks": {"json": {"finding": "dry"}},
        "photos": {"files": {"photo": ("p.png", made.getvalue(), "image/png")}},
    }
    before = len(maker.get(f"/api/pours/{pour}/record").json()["events"])
    for number, (name, sent) in enumerate(asked.items()):
        if name == "photos":  # the boundary of a form is made up anew with each try, unless it is given
            sent = {
                "content": _form(made.getvalue()),
                "headers": {"Content-Type": "multipart/form-data; boundary=x"},
            }
        headers = {**sent.pop("headers", {}), "Idempotency-Key": f'"told-{number}"'}
        answers = [maker.post(f"/api/pours/{pour}/{name}", headers=headers, **sent) for _ in range(2)]
        assert [answer.status_code for answer in answers] == [201, 201], name
        assert answers[0].json() == answers[1].json(), name
    assert len(maker.get(f"/api/pours/{pour}/record").json()["events"]) == before + len(asked)


def _form(raw: bytes) -> bytes:
    head = b'--x\r\nContent-Disposition: form-data; name="photo"; filename="p.png"\r\nContent-Type: image/png\r\n\r\n'
    return head + raw + b"\r\n--x--\r\n"


def test_a_batch_that_is_weighed_again_with_its_key_is_kept_once(
    maker: Any, shop: Any, plan_toml: str
) -> None:
    """A program may send the form of the mixing page, too."""
    mix = """
[mix]
part_a = "resin"
part_b = "hardener"
density_a_kg_m3 = 1140.0
density_b_kg_m3 = 1020.0
ratio_parts = [2.0, 1.0]
ratio_by = "weight"
measure_by = "weight"
"""
    pour = shop.plan(plan_toml + mix)
    for weighed in ({"part_a": "2000", "part_b": "1000"}, {"part_a": "2000", "part_b": "1001"}):
        answers = [
            maker.post(f"/pours/{pour}/mix", data=weighed, headers=KEY, follow_redirects=False)
            for _ in range(2)
        ]
        wanted = 303 if weighed["part_b"] == "1000" else 422
        assert [answer.status_code for answer in answers] == [wanted, wanted]
    assert len(maker.get(f"/api/pours/{pour}/record").json()["batches"]) == 1


def test_a_form_that_is_pressed_twice_makes_one_pour(maker: Any, plan_toml: str) -> None:
    """The page carries a key of its own; sent with other numbers from a page gone back to, it is another pour."""
    page = maker.get("/pours/new").text
    key = page.partition('name="key" value="')[2].partition('"')[0]
    assert len(key) == 36
    answers = [
        maker.post("/pours/new", data={"plan_toml": plan_toml, "key": key}, follow_redirects=False)
        for _ in range(2)
    ]
    assert [answer.headers["location"] for answer in answers] == ["/pours/1/plan"] * 2
    other = {"plan_toml": plan_toml.replace("depth_mm = 40", "depth_mm = 41"), "key": key}
    assert maker.post("/pours/new", data=other, follow_redirects=False).headers["location"] == "/pours/2/plan"
    assert maker.get("/pours/new").text.count(key) == 0
