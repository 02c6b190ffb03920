"""Several stations and pours on one service: who stands where, which program, whose probe; nothing is mixed up."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from hardware.clock import Stamp
from logger.daemon.forward import open_client
from logger.errors import NotAllowed
from logger.pour import Stage
from logger.store import pours, readings, stations
from logger.store.reading_batches import ReadingBatch
from logger.version import own_version
from logger.wire import WireReading
from tests.web.page_text import words
from web.actions import pours as pour_actions

LEFT, RIGHT = ("28-0000000000c1", "28-0000000000c2"), ("28-0000000000c3", "28-0000000000c4")


@pytest.fixture
def bench(service: Any, clock: Any) -> Any:
    """A station with four probes that have reported, and a hand that sweeps them."""
    return Bench(service, clock)


class Bench:
    """A station and its probes."""

    def __init__(self, service: Any, clock: Any) -> None:
        self.service, self.clock, self.seq = service, clock, 0
        with service.store.write() as tx:
            stations.enrol(tx, "bench-1", service.timeline.true_ms())
        self.sweep(20.0)

    def sweep(self, celsius: float, ago_s: float = 0.0) -> None:
        """All probes read now, or some time ago and come in late."""
        now = self.clock.stamp()
        stamp = Stamp(now.wall_ms - round(ago_s * 1000), now.boot_id, now.boot_ms - round(ago_s * 1000), True)
        rows = []
        for rom in (*LEFT, *RIGHT):
            self.seq += 1
            rows.append(
                WireReading(
                    rom, f"core-{rom[-1]}", stamp, round(celsius * 1000), None, "0", None, seq=self.seq
                )
            )
        with self.service.store.write() as tx:
            station = stations.by_name(tx, "bench-1")
            readings.save_batch(
                tx, ReadingBatch(station.id, "spool-1", now, rows), self.service.timeline.true_ms()
            )

    def of(self, pour_id: int) -> list[tuple[str, float]]:
        """(probe, °C) of a pour's readings, in the order in which they were taken."""
        with self.service.store.read() as connection:
            return [(row.probe, row.milli_c / 1000) for row in readings.series(connection, pour_id)]


def pour(shop: Any, plan_toml: str, probes: tuple[str, ...] = ()) -> int:
    """A pour that is ready, at the bench."""
    made = shop.plan(plan_toml)
    pour_actions.choose_station(shop.service, made, "bench-1", "Ada", probes)
    shop.go(made, Stage.READY)
    return int(made)


def test_a_station_serves_two_pours_at_once_and_each_reading_is_one_pours(
    bench: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """Two probes here, two there; alarms, chain and curve of each are its own."""
    left, right = pour(shop, plan_toml, LEFT), pour(shop, plan_toml, RIGHT)
    shop.go(left, Stage.POURING)
    shop.go(right, Stage.POURING)
    for celsius in (21.0, 22.0):
        clock.move(30)
        bench.sweep(celsius)
    assert [probe for probe, _c in bench.of(left)[-4:]] == [*LEFT, *LEFT]
    assert [probe for probe, _c in bench.of(right)[-4:]] == [*RIGHT, *RIGHT]
    assert not {probe for probe, _c in bench.of(left)} & set(RIGHT)


@pytest.mark.parametrize(("first", "second"), [((), ()), ((), RIGHT), (LEFT, ()), (LEFT, (LEFT[0], *RIGHT))])
def test_a_second_pour_does_not_start_on_probes_that_watch_the_first(
    bench: Any, shop: Any, plan_toml: str, first: Any, second: Any
) -> None:
    """Said with the other's name and the remedy; nothing has started."""
    one, other = pour(shop, plan_toml, first), pour(shop, plan_toml, second)
    shop.go(one, Stage.POURING)
    with pytest.raises(NotAllowed, match=rf"pour {one} .* is watched by the same probes of bench-1: choose"):
        pour_actions.move_on(shop.service, other, Stage.POURING, "Ada")
    with shop.service.store.read() as connection:
        assert pours.get_pour(connection, other).stage == Stage.READY


def test_a_live_pour_gives_probes_away_and_keeps_what_they_read_for_it(
    bench: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """It watched with all four; two go to the next pour, and what those read from then on is the next one's."""
    one, other = pour(shop, plan_toml), pour(shop, plan_toml, RIGHT)
    shop.go(one, Stage.POURING)
    clock.move(30)
    bench.sweep(21.0)
    pour_actions.choose_station(shop.service, one, "bench-1", "Ada", LEFT)
    shop.go(other, Stage.POURING)
    clock.move(30)
    bench.sweep(22.0)
    assert [probe for probe, celsius in bench.of(one) if celsius == 21.0] == [*LEFT, *RIGHT]
    assert [probe for probe, celsius in bench.of(one) if celsius == 22.0] == list(LEFT)
    assert [probe for probe, celsius in bench.of(other) if celsius == 22.0] == list(RIGHT)
    with pytest.raises(NotAllowed, match="same probes"):
        pour_actions.choose_station(shop.service, one, "bench-1", "Ada", (*LEFT, RIGHT[0]))


@pytest.mark.parametrize("sealed", [False, True])
def test_readings_that_come_in_late_stay_with_the_pour_that_the_probe_was_in(
    bench: Any, shop: Any, clock: Any, plan_toml: str, sealed: bool
) -> None:
    """A probe goes from one form to the next within minutes; the network brings the first one's last reading after."""
    one = pour(shop, plan_toml, LEFT)
    shop.go(one, Stage.POURING, Stage.WATCHED, Stage.CURING)
    clock.move(3600)
    shop.go(one, Stage.RELEASED)
    if sealed:
        shop.go(one, Stage.CLOSED)
    clock.move(120)
    other = pour(shop, plan_toml, LEFT)
    shop.go(other, Stage.POURING)
    clock.move(10)
    bench.sweep(55.0, ago_s=300)
    bench.sweep(24.0)
    assert ((LEFT[0], 55.0) in bench.of(one)) is not sealed, "a sealed record takes nothing more"
    assert [celsius for probe, celsius in bench.of(other) if probe in LEFT] == [24.0, 24.0]


def test_the_choice_of_probes_is_on_the_pours_page_and_is_kept(
    maker: Any, bench: Any, shop: Any, plan_toml: str
) -> None:
    """Boxes with each probe's place; only the ticked ones are this pour's; none ticked is refused."""
    made = shop.plan(plan_toml)
    page = maker.get(f"/pours/{made}").text
    assert "Which of its probes are in this form" in page
    assert page.count('name="probe"') == 4
    maker.post(
        f"/pours/{made}/station", data={"station": "bench-1", "every": "no", "probe": [LEFT[0], LEFT[1]]}
    )
    page = maker.get(f"/pours/{made}").text
    assert re.findall(r'name="probe" value="([^"]+)" checked', page) == list(LEFT)
    answer = maker.post(f"/pours/{made}/station", data={"station": "bench-1", "every": "no"})
    assert answer.status_code == 422
    answer = maker.post(
        f"/pours/{made}/station", data={"station": "bench-1", "every": "no", "probe": "28-000000000bad"}
    )
    assert answer.status_code == 404


def test_every_station_shows_its_program_its_health_its_place_and_its_pours_on_one_page(
    maker: Any, service: Any, bench: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """Told by the station itself in each request; an older program than the service's is called so."""
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, "bench-2", 0)
    one, other = pour(shop, plan_toml, LEFT), pour(shop, plan_toml, RIGHT)
    shop.go(one, Stage.POURING)
    shop.go(other, Stage.POURING)
    stamp = {"wall_ms": clock.wall_ms, "boot_id": "b", "boot_ms": 5, "clock_set": True}
    body = {
        "station": "bench-2",
        "spool": "s",
        "sent": stamp,
        "rows": [],
        "health": {"power_low": True, "disk_free_mb": 812.4, "pin_faults": "lamp (GPIO 23): busy"},
    }
    agents = {"Authorization": f"Bearer {token}", "User-Agent": "pourlog-station/0.0.9"}
    assert maker.post("/api/batches", json=body, headers=agents).status_code == 200
    maker.post("/stations/bench-2/place", data={"stands": "  North hall,  bench by the window "})
    page = words(maker.get("/stations"))
    assert "Version 0.0.9" in page
    assert "upgrade one of them" in page
    assert "its supply is too weak" in page
    assert "812 MB free" in page
    assert "pins that do not work: lamp (GPIO 23): busy" in page
    assert "North hall, bench by the window" in page
    assert f'<a href="/pours/{one}">' in page
    assert f'<a href="/pours/{other}">' in page
    agents["User-Agent"] = f"pourlog-station/{own_version()}"
    maker.post("/api/batches", json=body, headers=agents)
    assert "upgrade one of them" not in maker.get("/stations").text


def test_a_station_names_its_program_in_every_request() -> None:
    """In the header that HTTP has for it: an older service takes no notice."""
    with open_client("http://127.0.0.1:9") as client:
        assert client.headers["user-agent"] == f"pourlog-station/{own_version()}"


def test_a_strange_program_is_no_version(maker: Any, service: Any, clock: Any) -> None:
    """What is no version of ours is not kept."""
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, "bench-2", 0)
    stamp = {"wall_ms": clock.wall_ms, "boot_id": "b", "boot_ms": 5, "clock_set": True}
    body = {"station": "bench-2", "spool": "s", "sent": stamp, "rows": []}
    for agent in (
        "python-httpx/0.28",
        "pourlog-station/",
        "pourlog-station/" + 40 * "9",
        "x pourlog-station/1",
    ):
        maker.post(
            "/api/batches", json=body, headers={"Authorization": f"Bearer {token}", "User-Agent": agent}
        )
    with service.store.read() as connection:
        assert stations.by_name(connection, "bench-2").version is None


def test_rows_keep_their_window_when_probes_are_told_apart_by_nothing() -> None:
    """A pour without chosen probes takes all: it shares with every other of its station."""
    window = pours.Window(1, 0, None, frozenset(), "")
    assert window.takes("any", 5)
    assert not replace(window, probes=frozenset(LEFT)).takes(RIGHT[0], 5)
    assert pours.share(frozenset(), frozenset(LEFT))
    assert not pours.share(frozenset(LEFT), frozenset(RIGHT))
