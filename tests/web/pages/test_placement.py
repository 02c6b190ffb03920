"""A probe is put where it belongs on the page that names the one in the hand."""

from __future__ import annotations

from typing import Any

from logger.pour import Stage
from logger.store.events import EVENT
from logger.words.reader import METRIC
from logger.words.render import say
from tests.web.page_text import words
from web.service.service import Service

CORE, ROOM = "28-0000000000c1", "28-0000000000c4"


def put(maker: Any, rom: str, place: str) -> Any:
    """Ada presses a place."""
    return maker.post(f"/stations/bench-1/probes/{rom}/place", data={"place": place})


def post(maker: Any, clock: Any, token: str, seq: int, **places: str) -> Any:
    """The station sends one row of each probe; what it is answered."""
    now = clock.stamp()
    stamp = {"wall_ms": now.wall_ms, "boot_id": "b", "boot_ms": now.boot_ms, "clock_set": True}
    rows = [
        {
            "seq": seq + i,
            "probe": rom,
            "place": place,
            "stamp": stamp,
            "milli_c": 21_000,
            "fault": None,
            "raw": "00",
            "note": None,
        }
        for i, (rom, place) in enumerate(places.items())
    ]
    body = {"station": "bench-1", "spool": "s", "sent": stamp, "rows": rows}
    answer = maker.post("/api/batches", json=body, headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_two_probes_change_places_and_the_station_is_told_until_it_reports_so(
    maker: Any, station_token: str, clock: Any, service: Service
) -> None:
    """One press; who did it is noted. A row from before, that comes late, orders nothing anew."""
    post(maker, clock, station_token, 1, **{CORE: "core", ROOM: "room"})
    page = put(maker, CORE, "room")
    assert "goes to room with its next reading" in words(page)
    told = {CORE: "room", ROOM: "core"}
    assert post(maker, clock, station_token, 3, **{CORE: "core", ROOM: "room"})["places"] == told
    assert post(maker, clock, station_token, 5, **told)["places"] == {}
    assert post(maker, clock, station_token, 7, **{CORE: "core"})["places"] == {}
    with service.store.read() as connection:
        event = connection.execute(EVENT.select().where(EVENT.c.kind == "probe-placed")).one()
    assert event.by == "Ada"
    assert f"{CORE} sits at room" in say(event.text, METRIC)
    assert f"{ROOM} sits at core" in say(event.text, METRIC)


def test_no_probe_changes_its_place_during_a_pour_or_to_a_place_that_is_none(
    maker: Any, shop: Any, plan_toml: str, service: Service
) -> None:
    """A core that becomes the room would look calm."""
    shop.sweep(core=21.0, room=21.0)
    assert put(maker, CORE, "attic").status_code == 422
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    assert put(maker, CORE, "room").status_code == 409
    assert service.place_orders == {}
    assert "It sits elsewhere" not in maker.get("/stations/bench-1/hand").text
