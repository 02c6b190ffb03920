"""The guided cup test, from the weighing to a resin that is known better."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.delivery.addresses import AddressBook
from logger.live.cup_watch import CupWatch
from logger.plan.file import plan_from_text
from logger.pour import Stage
from logger.probe_checks.water_cup import WATER_KG_M3, cup_surface_m2, heat_capacity_j_k
from logger.settings import Messages
from logger.store import boots, cup_tests, outbox, resins
from tests.messages_as_sent import as_sent
from tests.web.page_text import words
from web.actions import cup_test as actions
from web.pages.cup_test import usual_probes
from web.security.access import COOKIE
from web.server.app import make_app
from web.service.service import Service

SHEET = (
    'name = "Slow casting system (invented)"\n[[working_time]]\nmass_kg = 0.1\ntime_min = 45\nat_c = 25\n'
    "[limits]\nmax_depth_mm = 40\n"
)
BANDS = {"ranges_90pct": {"heat_of_cure_j_g": [300.0, 500.0]}, "rate_factor_range_90pct": 2.3}
CORE, ROOM = "bench-1/28-0000000000c1", "bench-1/28-0000000000c4"


@pytest.fixture
def key(service: Service, shop: Any, plan_toml: str) -> str:
    """A resin of the list, whose fit is not looked at here; and a station whose probes read the room."""
    table = plan_from_text(plan_toml).resin.model_dump(mode="json", exclude_none=True)
    data = {
        "name": table["name"],
        "note": "",
        "sheet_toml": SHEET,
        "fit": BANDS | {"resin": table, "points": [], "assumptions": [], "warnings": [], "curves": []},
        "table": table,
        "mix": {},
        "source": {"kind": "datasheet"},
    }
    with service.store.write() as tx:
        key = resins.put(tx, service.timeline.true_ms(), "Ada", data)
    shop.sweep(core=21.0, room=21.0)
    return key


def cup_c(hours: float, rise_k: float = 30.0) -> float:
    """An invented cup that peaks at 1.5 h."""
    part = hours / 1.5
    return 21.0 + rise_k * part**4 * math.exp(4 * (1 - part))


def watch(shop: Any, clock: Any, from_h: float, until_h: float, rise_k: float = 30.0, **other: Any) -> None:
    """The station reads the cup every two minutes."""
    for minute in range(round(from_h * 60), round(until_h * 60), 2):
        clock.move(120)
        shop.sweep(**({"core": cup_c((minute + 2) / 60, rise_k), "room": 21.0} | other))


def begin(maker: TestClient, key: str, **other: str) -> Any:
    """Ada presses "Mixed now"."""
    return maker.post(f"/resins/{key}/cup-test", data={"probe": CORE, "room": ROOM, "mass": "100"} | other)


def test_the_page_says_what_to_weigh_where_the_probe_goes_and_what_can_happen(maker: Any, key: str) -> None:
    """Its fields have defaults: the core probe, the room's, the suggested mass."""
    page = maker.get(f"/resins/{key}/cup-test")
    said = words(page)
    for part in ("middle of the mix", "safety data sheet rules", "outdoors", "Gloves", "Mixed now"):
        assert part in said, part
    assert re.search(rf'value="{CORE}" selected', page.text)
    assert re.search(rf'value="{ROOM}" selected', page.text)
    assert re.search(r'name="mass"[^>]*value="\d+"', page.text)
    assert f'href="/resins/{key}/cup-test"' in maker.get("/resins").text
    advised = maker.get(f"/resins/{key}/cup-test?mass_g=50")
    assert 'value="50"' in advised.text
    assert "50 g is right for this cup" in words(advised)
    for nonsense in ("1e9", "nan", "x"):
        assert maker.get(f"/resins/{key}/cup-test?mass_g={nonsense}").status_code == 200


def test_it_logs_itself_finds_its_peak_and_makes_the_resin_better_known(
    maker: Any, key: str, shop: Any, clock: Any, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No pour is needed. The statement is what the cup did; the bands before and after stand side by side."""
    assert begin(maker, key).url.path == f"/resins/{key}/cup-test"
    watch(shop, clock, 0, 1.0)
    said = words(maker.get(f"/resins/{key}/cup-test"))
    assert "It logs itself" in said
    assert "1 h 00 min" in said
    watch(shop, clock, 1.0, 3.0)
    page = maker.get(f"/resins/{key}/cup-test")
    assert "The peak has passed: 51.0" in words(page)
    assert 'name="room_c"' not in page.text, "a probe has measured the room"

    class Fitted:
        def to_json(self) -> dict[str, Any]:
            better = {"heat_of_cure_j_g": [340.0, 400.0]}
            with service.store.read() as connection:
                resin = resins.get(connection, key).facts["table"]
            return BANDS | {
                "ranges_90pct": better,
                "rate_factor_range_90pct": 1.5,
                "resin": resin,
                "points": [],
            }

    monkeypatch.setattr(actions, "fit_datasheet", lambda _sheet: Fitted())
    page = maker.post(f"/resins/{key}/cup-test/add")
    with service.store.read() as connection:
        facts = resins.get(connection, key).facts
        assert cup_tests.running(connection) == []
    sheet = actions.datasheet_from_text(facts["sheet_toml"])
    (peak,) = sheet.peak
    assert (peak.mass_kg, peak.at_c) == (0.1, 21.0)
    assert peak.peak_c == pytest.approx(51, abs=0.2)
    assert peak.time_min == pytest.approx(90, abs=4)
    said = words(page)
    assert "300 to 500 J/g" in said
    assert "340 to 400 J/g" in said
    assert "within a factor of 1.50" in said


def test_nothing_can_be_added_before_the_peak_is_past_or_twice(
    maker: Any, key: str, shop: Any, clock: Any
) -> None:
    """A number that was not measured must not enter a datasheet."""
    assert "no cup" in words(maker.post(f"/resins/{key}/cup-test/add"))
    begin(maker, key)
    watch(shop, clock, 0, 1.0)
    answer = maker.post(f"/resins/{key}/cup-test/add")
    assert answer.status_code == 422
    assert "its peak is not past yet" in words(answer)
    assert begin(maker, key).status_code == 422


def test_a_test_survives_a_restart_of_the_service(
    maker: Any, key: str, shop: Any, clock: Any, service: Service
) -> None:
    """It is nothing but rows: another process over the same database goes on with it."""
    begin(maker, key)
    watch(shop, clock, 0, 3.0)
    again = Service.open(service.settings, clock)
    try:
        with TestClient(make_app(again)) as browser:
            browser.cookies.set(COOKIE, maker.cookies[COOKIE])
            assert "The peak has passed" in words(browser.get(f"/resins/{key}/cup-test"))
    finally:
        again.close()


def test_a_dead_probe_is_no_calm_test(maker: Any, key: str, shop: Any, clock: Any) -> None:
    """Its faults are said, and nothing is offered."""
    begin(maker, key)
    watch(shop, clock, 0, 0.5)
    watch(shop, clock, 0.5, 3.0, core="no-answer")
    page = maker.get(f"/resins/{key}/cup-test")
    assert "The probe is silent" in words(page)
    assert "cup-test/add" not in page.text
    # It comes back when all is over: what the peak was is not known, and not made up.
    watch(shop, clock, 3.0, 4.0)
    assert "cup-test/add" not in maker.get(f"/resins/{key}/cup-test").text


def test_a_clock_that_is_set_late_moves_the_mixing_with_its_readings(
    maker: Any, key: str, shop: Any, clock: Any, service: Service
) -> None:
    """The service's boot is dated anew: the time to the peak stays what it was."""
    begin(maker, key)
    watch(shop, clock, 0, 3.0)
    with service.store.write() as tx:
        before = actions.now_of(service, tx, key)
        tx.execute(boots.BOOT.update().values(offset_ms=boots.BOOT.c.offset_ms + 86_400_000))
        after = actions.now_of(service, tx, key)
    assert before is not None
    assert after is not None
    assert after.course.peak_s == before.course.peak_s
    assert after.test.mixed_ms == before.test.mixed_ms + 86_400_000


def test_a_probe_of_a_live_pour_stands_in_no_cup(maker: Any, key: str, shop: Any, plan_toml: str) -> None:
    """Its readings would be taken for the pour's core."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    answer = begin(maker, key)
    assert answer.status_code == 422
    assert "take one that watches no pour" in words(answer)
    assert "watches a pour" in words(maker.get(f"/resins/{key}/cup-test"))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"mass": "5000"}, "take a small cup"),
        ({"mass": "a lot"}, "is not a number"),
        ({"probe": ""}, "is not chosen"),
        ({"room": CORE}, "another probe of the same station"),
        ({"probe": "bench-1/28-nobody"}, "no probe"),
    ],
)
def test_a_refused_beginning_keeps_what_was_typed(
    maker: Any, key: str, service: Service, given: dict[str, str], said: str
) -> None:
    """And begins nothing."""
    answer = begin(maker, key, **given)
    assert answer.status_code == 422
    assert said in words(answer)
    assert f'value="{given.get("mass", "100")}"' in answer.text
    with service.store.read() as connection:
        assert cup_tests.running(connection) == []


def test_a_dangerously_hot_cup_is_called_on_its_page_and_on_the_board(
    maker: Any, key: str, shop: Any, clock: Any
) -> None:
    """Red, first, and with what to do; a page that is open turns red by itself."""
    begin(maker, key)
    watch(shop, clock, 0, 1.4, rise_k=120.0)
    page = maker.get(f"/resins/{key}/cup-test")
    assert 'class="alert high"' in page.text
    assert 'data-look="alert high"' in page.text
    assert "Do not touch or move it" in words(page)
    board = maker.get("/")
    assert "dangerously hot" in words(board)
    assert f'href="/resins/{key}/cup-test"' in board.text


def test_a_room_without_a_probe_is_asked_for_in_the_readers_units(
    maker: Any, key: str, shop: Any, clock: Any
) -> None:
    """And what was typed stays when it is refused."""
    begin(maker, key, room="")
    watch(shop, clock, 0, 3.0)
    assert 'name="room_c"' in maker.get(f"/resins/{key}/cup-test").text
    answer = maker.post(f"/resins/{key}/cup-test/add", data={"room_c": "95"})
    assert answer.status_code == 422
    assert "room: is out of range" in words(answer)
    assert 'value="95"' in answer.text


def test_a_test_can_be_ended_without_a_result(maker: Any, key: str, service: Service) -> None:
    """Nothing enters the datasheet, and another cup can begin."""
    begin(maker, key)
    maker.post(f"/resins/{key}/cup-test/stop")
    with service.store.read() as connection:
        assert cup_tests.running(connection) == []
        assert cup_tests.measured(connection, key) == []
    assert begin(maker, key).status_code == 200


def test_a_dangerously_hot_cup_calls_every_phone_once(
    maker: Any, key: str, shop: Any, clock: Any, service: Service
) -> None:
    """By day and by night, before any other message; and nobody is called for a calm one."""
    addresses = AddressBook(Messages(urls=["json://first.invalid"], second_urls=["json://second.invalid"]))
    watching = CupWatch(service.store, service.timeline, addresses, service.address)
    begin(maker, key)
    watch(shop, clock, 0, 1.0)
    watching.call_hot()
    with service.store.read() as connection:
        assert outbox.newest_messages(connection) == []
    maker.post(f"/resins/{key}/cup-test/stop")
    begin(maker, key)
    watch(shop, clock, 0, 1.4, rise_k=120.0)
    with service.store.write() as tx:
        trial = outbox.NewMessage(alarm_id=None, why=outbox.TRIAL, to="first", title="Test", body="")
        outbox.add_message(tx, trial, now_ms=0)
    for _ in range(3):
        watching.call_hot()
    with service.store.read() as connection:
        hot = [row for row in outbox.newest_messages(connection) if row.why == outbox.HOT_CUP]
        assert sorted(row.to for row in hot) == ["first", "second"]
        now_ms = service.timeline.now_ms()
        first = outbox.next_due(connection, now_ms, ["first"], [])
    assert first is not None
    assert first.why == outbox.HOT_CUP
    assert "call the fire service" in as_sent(first).body
    assert f"/resins/{key}/cup-test" in as_sent(first).body


def test_a_phone_that_is_set_up_later_is_called_then(
    maker: Any, key: str, shop: Any, clock: Any, service: Service
) -> None:
    """Without any address nothing is noted as told."""
    begin(maker, key)
    watch(shop, clock, 0, 1.4, rise_k=120.0)
    CupWatch(service.store, service.timeline, AddressBook(Messages()), service.address).call_hot()
    with service.store.read() as connection:
        assert not cup_tests.running(connection)[0].told_hot


def test_a_running_cup_is_drawn_and_a_silent_stretch_is_a_gap(
    maker: Any, key: str, shop: Any, clock: Any
) -> None:
    """Its course from the mixing on, against where it gets dangerous; no line is drawn through what nobody read."""
    begin(maker, key)
    watch(shop, clock, 0, 0.5)
    assert maker.get(f"/resins/{key}/cup-test").text.count('<path class="core"') == 1
    watch(shop, clock, 0.5, 0.6, core="no-answer")
    watch(shop, clock, 0.6, 1.0)
    page = maker.get(f"/resins/{key}/cup-test").text
    assert page.count('<path class="core"') == 2
    assert page.count('<path class="limit"') == 1


def cool(shop: Any, clock: Any, minutes: int, tau_min: float = 50.0, since: int = 0) -> None:
    """The station reads a cup of hot water, 38 K over the room, that follows Newton's law of cooling."""
    for minute in range(since, since + minutes):
        clock.move(60)
        shop.sweep(core=21.0 + 38.0 * math.exp(-(minute + 1) / tau_min), room=21.0)


def fill(maker: TestClient, key: str, **other: str) -> Any:
    """Ada presses "Filled now"."""
    return maker.post(
        f"/resins/{key}/cup-test/water", data={"probe": CORE, "room": ROOM, "mass": "180"} | other
    )


def test_hot_water_tells_the_cups_loss_which_is_kept_and_counts_for_the_resin(
    maker: Any, key: str, shop: Any, clock: Any, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Step by step: guided, logged, fitted with its error, kept, and in the statement of the cup that follows."""
    guide = words(maker.get(f"/resins/{key}/cup-test"))
    assert "First, hot water" in guide
    page = words(maker.get(f"/resins/{key}/cup-test/water"))
    for part in ("Hot water scalds", "cling film", "middle of the water", "Filled now"):
        assert part in page, part
    assert fill(maker, key).url.path == f"/resins/{key}/cup-test/water"
    cool(shop, clock, 20)
    early = maker.get(f"/resins/{key}/cup-test/water")
    assert "until it has lost half of its warmth" in words(early)
    assert "water/keep" not in early.text
    assert maker.post(f"/resins/{key}/cup-test/water/keep").status_code == 422
    assert maker.get(f"/resins/{key}/cup-test").url.path.endswith("/water"), "the running step is shown"
    assert "A cup of hot water for" in words(maker.get("/"))
    cool(shop, clock, 25, since=20)
    known = words(maker.get(f"/resins/{key}/cup-test/water"))
    found = re.search(r"heat loss is known: ([\d.]+) W/\(m²·K\) ± (\d+) %", known)
    assert found is not None, known
    true = heat_capacity_j_k(0.18) / 3000 / cup_surface_m2(0.18, WATER_KG_M3)
    assert float(found[1]) == pytest.approx(true, rel=0.02)
    after = maker.post(f"/resins/{key}/cup-test/water/keep")
    assert after.url.path == f"/resins/{key}/cup-test"
    assert re.search(
        r"Measured: it loses [\d.]+ W/\(m²·K\), ± \d+ %\. Its peak then counts within [67] %", words(after)
    )
    begin(maker, key, mass="200")
    watch(shop, clock, 0, 3.0)
    monkeypatch.setattr(actions, "fit_datasheet", lambda _sheet: FittedAsBefore(service, key))
    assert maker.post(f"/resins/{key}/cup-test/add").status_code == 200
    with service.store.read() as connection:
        (peak,) = actions.datasheet_from_text(resins.get(connection, key).facts["sheet_toml"]).peak
    assert peak.loss_w_m2k == pytest.approx(true, rel=0.02)
    assert 6.0 <= peak.tolerance_pct < 10.0


class FittedAsBefore:
    """A fit that changes nothing."""

    def __init__(self, service: Service, key: str) -> None:
        with service.store.read() as connection:
            self.resin = resins.get(connection, key).facts["table"]

    def to_json(self) -> dict[str, Any]:
        """What is kept of it."""
        return BANDS | {"resin": self.resin, "points": []}


def test_the_loss_of_another_cup_does_not_count(
    maker: Any, key: str, shop: Any, clock: Any, service: Service
) -> None:
    """A large cup loses less for its mass: 900 g of water say nothing of 100 g of resin."""
    fill(maker, key, mass="900")
    cool(shop, clock, 45)
    after = maker.post(f"/resins/{key}/cup-test/water/keep")
    assert "cup of another size" in words(after)
    begin(maker, key)
    watch(shop, clock, 0, 3.0)
    with service.store.read() as connection:
        now, loss = actions.now_of(service, connection, key), cup_tests.heat_loss(connection, key)
    assert now is not None
    statement = actions.statement_of(now, None, loss)
    assert "loss_w_m2k" not in statement
    assert statement["tolerance_pct"] == 10.0


def test_a_room_without_a_probe_is_asked_for_before_the_water_cools(maker: Any, key: str) -> None:
    """Without it there is nothing to cool towards; what was typed stays."""
    answer = fill(maker, key, room="")
    assert answer.status_code == 422
    assert re.search(r"room: is missing.*say how warm it is beside the cup", words(answer))
    assert 'value="180"' in answer.text
    assert fill(maker, key, room="", room_c="21").status_code == 200


def test_a_cup_of_water_calls_nobody_and_ends_without_a_result(
    maker: Any, key: str, shop: Any, clock: Any, service: Service
) -> None:
    """Water over 100 °C is a probe on a kettle, and no resin that runs away."""
    fill(maker, key)
    for _ in range(4):
        clock.move(30)
        shop.sweep(core=101.0, room=21.0)
    addresses = AddressBook(Messages(urls=["json://first.invalid"]))
    CupWatch(service.store, service.timeline, addresses, service.address).call_hot()
    with service.store.read() as connection:
        assert outbox.newest_messages(connection) == []
    maker.post(f"/resins/{key}/cup-test/stop")
    with service.store.read() as connection:
        assert cup_tests.running(connection) == []
        assert cup_tests.heat_loss(connection, key) is None


def test_the_room_that_is_offered_is_that_of_the_cups_own_station() -> None:
    """Two benches: a form that nobody touches is not refused for a room at the other one."""

    def probe(station: str, place: str, *, free: bool = True) -> dict[str, Any]:
        return {"value": f"{station}/{place}", "station": station, "place": place, "free": free}

    first = [probe("bench-1", "core", free=False), probe("bench-1", "room")]
    second = [probe("bench-2", "core"), probe("bench-2", "room")]
    assert usual_probes(first + second) == {"probe": "bench-2/core", "room": "bench-2/room"}
    assert usual_probes(first + second[:1]) == {"probe": "bench-2/core", "room": ""}
