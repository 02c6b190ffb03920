"""Probe care: what somebody measured is kept with its date and person, and only what the readings show."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from hardware.bench.w1_files import scratchpad
from logger.pour import Stage
from logger.store import readings, stations
from logger.store.events import EVENT
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from tests.web.page_text import words

CORE, SURFACE, ROOM = "28-0000000000c1", "28-0000000000c2", "28-0000000000c4"
PLACES = {CORE: "core", SURFACE: "surface", ROOM: "room"}


@pytest.fixture
def wires(shop: Any, service: Any, clock: Any) -> Callable[..., None]:
    """Probes with true bytes: each is given its °C, and what its station adds."""

    def sweep(offset_c: float = 0.0, **celsius: float | str) -> None:
        by_place = {place: probe for probe, place in PLACES.items()}
        stamp, rows = clock.stamp(), []
        for place, value in celsius.items():
            shop.seq += 1
            fault = value if isinstance(value, str) else None
            raw = None if fault else scratchpad(float(value)).hex()
            chip = None if fault else round(float(value) * 16) / 16
            milli_c = None if chip is None else round((chip + offset_c) * 1000)
            rows.append(WireReading(by_place[place], place, stamp, milli_c, fault, raw, None, seq=shop.seq))
        with service.store.write() as tx:
            station = stations.by_name(tx, "bench-1")
            readings.save_batch(
                tx, ReadingBatch(station.id, "spool-1", stamp, rows), service.timeline.true_ms()
            )

    return sweep


def page_of(probe: str, check: str = "") -> str:
    """A probe's page."""
    return f"/stations/bench-1/probes/{probe}{check and '/' + check}"


def newest(service: Any) -> Any:
    """The newest event."""
    with service.store.read() as connection:
        return connection.execute(EVENT.select().order_by(EVENT.c.id.desc()).limit(1)).one()


def test_an_offset_is_kept_with_date_and_person_and_seen_to_be_added(
    maker: Any, wires: Any, clock: Any, service: Any
) -> None:
    """Begin, stir, keep; the page then gives the command, and says when the station does as it was told."""
    wires(core=20.0)
    begun = maker.post("/stations/bench-1/checks", data={"what": "ice", "rom": CORE}, follow_redirects=False)
    assert begun.headers["location"] == page_of(CORE, "ice")
    for _ in range(14):
        clock.move(10)
        wires(core=0.31)
    assert "Save: add -0.31 °C" in words(maker.get(page_of(CORE, "ice")))
    kept = words(maker.post(page_of(CORE, "ice")))
    event = newest(service)
    assert (event.kind, event.by, event.at_ms) == ("ice-point", "Ada", service.timeline.true_ms())
    assert event.data["offset_c"] == -0.31
    assert "Measured by Ada" in kept
    assert f"sudo pourlog set-offset {CORE} -0.31" in kept
    clock.move(10)
    wires(core=0.31, offset_c=-0.31)
    assert "The station adds just that." in words(maker.get(page_of(CORE)))


def test_an_offset_that_is_added_already_is_not_added_twice(maker: Any, wires: Any, clock: Any) -> None:
    """The check looks at the chip's own bytes, whatever the station has made of them."""
    for _ in range(16):
        clock.move(10)
        wires(core=0.31, offset_c=-0.31)
    assert "Save: add -0.31 °C" in words(maker.get(page_of(CORE, "ice")))


def test_nothing_is_kept_before_the_bath_is_steady_or_while_a_pour_is_watched(
    maker: Any, wires: Any, clock: Any, service: Any, shop: Any, plan_toml: str
) -> None:
    """Not by a form that somebody sent early, either."""
    for n in range(14):
        clock.move(10)
        wires(core=20 * math.exp(-n / 6))
    early = maker.post(page_of(CORE, "ice"))
    assert early.status_code == 422
    assert "still moving" in early.text
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    for _ in range(16):
        clock.move(10)
        wires(core=0.31)
    assert maker.post(page_of(CORE, "ice")).status_code == 409
    assert newest(service).kind != "ice-point"


def test_a_dip_is_kept_as_a_time_constant(maker: Any, wires: Any, clock: Any, service: Any) -> None:
    """τ = 14 s by the closed form, read every 2 s."""
    for n in range(130):
        clock.move(2)
        wires(core=21.0 if n < 60 else 0.1 + 20.9 * math.exp(-(2 * (n - 60) + 1.3) / 14))
    assert "63 % of the way in 14 s" in words(maker.get(page_of(CORE, "dip")))
    kept = words(maker.post(page_of(CORE, "dip")))
    assert "<strong>14 s</strong>. Dipped by Ada" in kept
    assert newest(service).kind == "dip-test"
    assert maker.post(page_of(SURFACE, "dip")).status_code == 404, "a probe that never reported"


def test_a_swapped_probe_is_found_by_the_hand(maker: Any, wires: Any, clock: Any, service: Any) -> None:
    """The core's probe is held, and the page says the room: somebody has changed them over."""
    for n in range(10):
        clock.move(10)
        wires(core=20.0, surface=20.1, room=20.0 + max(0, n - 4))
    page = words(maker.get("/stations/bench-1/hand"))
    assert '<p class="huge">Room</p>' in page
    maker.post("/stations/bench-1/hand", data={"rom": ROOM})
    assert (newest(service).kind, newest(service).data["place"]) == ("hand-check", "room")
    assert "Ada" in words(maker.get("/stations/bench-1/hand"))


def test_a_probe_shows_its_age_and_its_faults_in_words(maker: Any, wires: Any, clock: Any) -> None:
    """By what was wrong, and by day."""
    for n in range(20):
        clock.move(3600)
        wires(core="bad-crc" if n in (3, 4) else "empty-read" if n == 19 else 21.0, room=20.0)
    page = words(maker.get(page_of(CORE)))
    assert "20 times, 3 without a temperature (15.00 %)" in page
    assert 'disturbed by noise</td><td class="num">2' in page
    assert 'no answer</td><td class="num">1' in page
    assert 'Wed 25 Nov 2026</td><td class="num">2' in page
    assert 'Thu 26 Nov 2026</td><td class="num">1' in page
    assert "No fault in its last 20 reads" in words(maker.get(page_of(ROOM)))


def test_a_check_makes_the_station_look_often_for_a_while(
    maker: Any, service: Any, clock: Any, station_token: str
) -> None:
    """Every 2 s instead of 30; a quarter of an hour later as before."""
    stamp = {"wall_ms": clock.wall_ms, "boot_id": "b", "boot_ms": clock.boot_ms, "clock_set": True}
    batch = {"station": "bench-1", "spool": "s", "sent": stamp, "rows": []}
    shown = {"Authorization": f"Bearer {station_token}"}
    assert maker.post("/api/batches", json=batch, headers=shown).json()["next_s"] == 30
    assert maker.post("/stations/bench-1/checks", data={"what": "hand"}).status_code == 200
    assert newest(service).kind == "check-begun"
    assert maker.post("/api/batches", json=batch, headers=shown).json()["next_s"] == 2
    clock.move(16 * 60)
    assert maker.post("/api/batches", json=batch, headers=shown).json()["next_s"] == 30
    assert maker.post("/stations/bench-1/checks", data={"what": "taste"}).status_code == 422
