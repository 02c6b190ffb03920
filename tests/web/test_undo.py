"""A step pressed by mistake: asked for, confirmed once, taken back within ten minutes, and nothing is lost."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.pour import Stage
from logger.store import events, pours, readings, stations
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from tests.web.test_ending import call, confirm_of, post, sign, stage_of, step, text
from web.server.app import make_app
from web.service.service import Service


@pytest.fixture
def curing(shop: Any, plan_toml: str) -> int:
    """A pour that cures, cool and not hard yet."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.feed(0.2, 30, lambda _h: {"core": 24.0, "room": 21.0})
    return pour


def undo(maker: Any, pour: int) -> Any:
    """Taken back by the button on the pour's page."""
    found = re.search(
        r'/undo">\s*<input type="hidden" name="mark" value="(\d+)"', maker.get(f"/pours/{pour}").text
    )
    return post(maker, f"/pours/{pour}/undo", {"mark": found[1]})


def late(shop: Any, stamp: Any) -> None:
    """A reading of the underside that was taken before, and comes in now: among those of after the end."""
    with shop.service.store.write() as tx:
        station = stations.by_name(tx, "bench-1")
        row = WireReading(
            shop.PROBES["underside"], "underside", stamp, 23_000, None, "00", None, seq=shop.seq + 1
        )
        shop.seq += 1
        readings.save_batch(
            tx,
            ReadingBatch(station.id, "spool-1", shop.clock.stamp(), [row]),
            shop.service.timeline.true_ms(),
        )


def of_kind(shop: Any, pour: int, kind: str) -> list[Any]:
    """A pour's events of one kind."""
    with shop.service.store.read() as connection:
        return events.of_kind(connection, pour, kind)


def test_a_step_is_asked_for_before_it_is_taken_and_the_question_says_what_it_comes_to(
    maker: Any, shop: Any, curing: int
) -> None:
    """One press, as a form without JavaScript sends it, only leads to the question; the button is no filled one."""
    sign(maker, curing, "released")
    bare = post(maker, f"/pours/{curing}/stage", {"to": "released"})
    assert bare.status_code == 409
    assert "asked for first" in text(bare)
    page = maker.get(f"/pours/{curing}").text
    form = re.search(r"<form[^>]*>(?:(?!</form>).)*Demoulded: stop watching</button>", page, re.S)[0]
    assert 'method="get"' in form
    assert '<button class="grave hold"' in form
    asked = text(maker.get(f"/pours/{curing}/step?to=released"))
    assert "River table" in asked
    assert "24.0 °C" in asked
    assert "no more alarms" in asked
    assert stage_of(maker, curing) == "curing"
    assert step(maker, curing, "released").status_code == 303
    assert stage_of(maker, curing) == "released"


def test_a_step_that_is_sent_twice_is_taken_once_and_the_second_says_what_the_stage_is(
    maker: Any, shop: Any, curing: int
) -> None:
    """A double tap, or a request that is sent again."""
    sign(maker, curing, "released")
    for way in ("page", "api"):
        confirm = confirm_of(maker, curing, "released")
        data = {"to": "released", "confirm": confirm}
        answers = [
            post(maker, f"/pours/{curing}/stage", data)
            if way == "page"
            else maker.post(f"/api/pours/{curing}/stage", json=data)
            for _ in range(3)
        ]
        assert [answer.status_code for answer in answers[1:]] == [409, 409]
        assert "Its stage is now: Out of the form." in text(answers[2])
        assert undo(maker, curing).status_code == 303
    assert len(of_kind(shop, curing, "released")) == 2


def test_a_late_tap_on_an_old_page_does_nothing(maker: Any, shop: Any, curing: int) -> None:
    """After an undo, and after the page has lain open too long; nor does an old undo."""
    sign(maker, curing, "released")
    old = {"to": "released", "confirm": confirm_of(maker, curing, "released")}
    step(maker, curing, "released")
    mark = maker.get(f"/api/pours/{curing}/ending").json()["undo"]["mark"]
    assert undo(maker, curing).status_code == 303
    late = post(maker, f"/pours/{curing}/stage", old)
    assert late.status_code == 409
    assert "Its stage is now: Curing." in text(late)
    lain = {"to": "released", "confirm": confirm_of(maker, curing, "released")}
    shop.clock.move(12 * 60)
    shop.feed(0.01, 30, lambda _h: {"core": 24.0, "room": 21.0})
    assert "more than 10 min ago" in text(post(maker, f"/pours/{curing}/stage", lain))
    other = {"to": "released", "confirm": confirm_of(maker, curing, "spoiled")}
    assert post(maker, f"/pours/{curing}/stage", other).status_code == 409, "of another step"
    assert stage_of(maker, curing) == "curing"
    assert step(maker, curing, "released").status_code == 303
    assert post(maker, f"/pours/{curing}/undo", {"mark": str(mark)}).status_code == 409
    assert stage_of(maker, curing) == "released"


def test_taking_it_back_gives_back_the_watch_with_no_reading_lost(maker: Any, shop: Any, curing: int) -> None:
    """What came in meanwhile is the pour's, in its place in the chain, and judged at once: it ran hot."""
    with shop.service.store.read() as connection:
        before, _faults = readings.counts(connection, curing)
    sign(maker, curing, "released")
    assert step(maker, curing, "released").status_code == 303
    before_the_end = shop.clock.stamp()
    shop.feed(0.1, 30, lambda h: {"core": 58.0 + 80 * h, "room": 21.0})
    late(shop, replace(before_the_end, boot_ms=before_the_end.boot_ms - 15_000))
    shop.feed(1 / 120, 30, lambda _h: {"core": 66.0, "room": 21.0})
    with shop.service.store.read() as connection:
        assert readings.counts(connection, curing)[0] == before + 1, (
            "but for one that was taken before the end"
        )
    answer = maker.post(f"/api/pours/{curing}/undo", json={})
    assert (answer.status_code, answer.json()["stage"], answer.json()["released_ms"]) == (200, "curing", None)
    shop.service.watch.judge_all()
    with shop.service.store.read() as connection:
        assert readings.counts(connection, curing)[0] == before + 27
        taken_ms = [row.at_ms for row in readings.series(connection, curing) if row.place == "core"]
    assert max(b - a for a, b in pairwise(taken_ms)) == 30_000, "no gap"
    verdict = maker.get(f"/api/pours/{curing}/verify").json()
    assert verdict["ok"], verdict["sentence"]
    assert "core-hot" in [a["kind"] for a in maker.get("/api/alarms").json() if a["phase"] == "raised"]
    shop.feed(0.02, 30, lambda _h: {"core": 66.0, "room": 21.0})
    with shop.service.store.read() as connection:
        assert readings.counts(connection, curing)[0] > before + 24, "and the watch goes on"
    (row,) = of_kind(shop, curing, "undone")
    assert (row.by, row.data["step"], row.data["stage"]) == ("Ada", "released", "curing")


def test_it_can_be_taken_back_for_ten_minutes_and_after_a_restart(
    maker: Any, shop: Any, service: Any, clock: Any, curing: int
) -> None:
    """What is needed for it lies in the database, not in the process."""
    sign(maker, curing, "spoiled")
    assert step(maker, curing, "spoiled", "it was the other one").status_code == 303
    page = text(maker.get(f"/pours/{curing}"))
    assert "Cancelled, by Ada" in page
    clock.move(9 * 60)
    again = Service.open(service.settings, clock)
    with TestClient(make_app(again), cookies=maker.cookies) as after_restart:
        assert undo(after_restart, curing).status_code == 303
    again.close()
    assert stage_of(maker, curing) == "curing"
    sign(maker, curing, "spoiled")
    assert step(maker, curing, "spoiled", "it is this one").status_code == 303
    shop.clock.move(10 * 60 + 1)
    assert "Take it back" not in maker.get(f"/pours/{curing}").text
    assert maker.post(f"/api/pours/{curing}/undo", json={}).status_code == 409
    assert stage_of(maker, curing) == "spoiled"


def test_steps_are_taken_back_one_by_one_and_a_lifted_seal_is_kept(
    maker: Any, shop: Any, curing: int
) -> None:
    """Released and sealed by mistake; sealed again later, the record proves itself, the lifted seal stands in it."""
    sign(maker, curing, "released")
    assert step(maker, curing, "released").status_code == 303
    assert step(maker, curing, "closed").status_code == 303
    with shop.service.store.read() as connection:
        lifted = pours.get_pour(connection, curing).seal
    assert "Take it back" in maker.get(f"/pours/{curing}/record").text
    assert undo(maker, curing).status_code == 303
    assert stage_of(maker, curing) == "released"
    verdict = maker.get(f"/api/pours/{curing}/verify").json()
    assert verdict["ok"], verdict["sentence"]
    assert undo(maker, curing).status_code == 303
    assert stage_of(maker, curing) == "curing"
    shop.feed(0.02, 30, lambda _h: {"core": 24.0, "room": 21.0})
    for to in ("released", "closed"):
        sign(maker, curing, to)
        assert call(maker, curing, to).status_code == 200
    verdict = maker.get(f"/api/pours/{curing}/verify").json()
    assert verdict["ok"], verdict["sentence"]
    assert [row.data.get("seal") for row in of_kind(shop, curing, "undone")] == [lifted, None]
    assert len(of_kind(shop, curing, "sealed")) == 2
    shop.clock.move(11 * 60)
    assert maker.post(f"/api/pours/{curing}/undo", json={}).status_code == 409


def test_it_is_not_taken_back_once_its_probes_watch_another_pour(
    maker: Any, shop: Any, curing: int, plan_toml: str
) -> None:
    """A reading belongs to one pour."""
    sign(maker, curing, "released")
    assert step(maker, curing, "released").status_code == 303
    other = int(shop.plan(plan_toml.replace("River", "Second")))
    shop.go(other, Stage.READY, Stage.POURING)
    refused = undo(maker, curing)
    assert refused.status_code == 409
    assert "Second table" in text(refused)
    assert stage_of(maker, curing) == "released"


def test_the_first_hour_called_over_too_early_is_taken_back(maker: Any, shop: Any, plan_toml: str) -> None:
    """Looks are asked for again; the watch never stopped."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(0.02, 30, lambda _h: {"core": 22.0, "room": 21.0})
    sign(maker, pour, "curing")
    assert step(maker, pour, "curing").status_code == 303
    shop.feed(0.02, 30, lambda _h: {"core": 22.0, "room": 21.0})
    assert undo(maker, pour).status_code == 303
    assert stage_of(maker, pour) == "watched"
    assert maker.get(f"/api/pours/{pour}/verify").json()["ok"]
