"""What people do while a pour is watched, through pages and API: quiet an alarm, measure, switch the fan, see rates."""

from __future__ import annotations

import html
from collections.abc import Callable
from typing import Any

import pytest

from logger.alarms.registry import KINDS
from logger.pour import Stage
from logger.store import alarms, events, pours, stations
from logger.words.reader import METRIC
from logger.words.render import say
from tests.web.page_text import words


@pytest.fixture
def pour(shop: Any, plan_toml: str) -> int:
    """A pour that has just been poured."""
    made: int = shop.plan(plan_toml)
    shop.go(made, Stage.READY, Stage.POURING)
    return made


@pytest.fixture
def hot(shop: Any, pour: int) -> Callable[[], int]:
    """Makes it too hot; gives the alarm's id."""

    def make() -> int:
        for core in (59.0, 59.5, 60.0, 60.5):
            shop.clock.move(5)
            shop.sweep(core=core, room=21.0)
        with shop.service.store.read() as connection:
            rows = alarms.alarms_of(connection, pour)
        return next(int(row.id) for row in rows if row.kind == "core-hot")

    return make


def test_an_alarm_is_shelved_from_its_page_seen_there_and_taken_off_again(maker: Any, hot: Any) -> None:
    """Snoozed until its hour, with the name of who did it; then heard again."""
    alarm = hot()
    sent = maker.post(f"/alarms/{alarm}/quiet", data={"act": "shelve", "hours": "1", "reason": "fans are on"})
    assert "Snoozed until" in sent.text
    assert "by Ada (fans are on)" in words(sent)
    again = maker.post(f"/alarms/{alarm}/quiet", data={"act": "unshelve"})
    assert "Snoozed until" not in again.text


def test_lamp_and_buzzer_call_whatever_the_settings_and_are_quiet_while_somebody_has_silenced_it(
    maker: Any, hot: Any, service: Any, clock: Any
) -> None:
    """No address for messages is set: the station calls all the same, until somebody has it or shelved it."""
    alarm = hot()
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, "bench-1", 0)

    def ordered() -> tuple[bool, bool]:
        stamp = {"wall_ms": clock.wall_ms, "boot_id": "b", "boot_ms": clock.boot_ms, "clock_set": True}
        body = {"station": "bench-1", "spool": "s", "sent": stamp, "rows": []}
        answer = maker.post("/api/batches", json=body, headers={"Authorization": f"Bearer {token}"}).json()
        return answer["lamp"], answer["buzzer"]

    assert ordered() == (True, True)
    maker.post(f"/api/alarms/{alarm}/shelve", json={"hours": 1})
    assert ordered() == (False, False)
    clock.move(3601)
    service.watch.judge_all()
    assert ordered() == (True, True), "its time on the shelf is over"
    maker.post(f"/api/alarms/{alarm}/acknowledge", json={"text": ""})
    with service.store.read() as connection:
        others = [
            row for row in alarms.open_alarms(connection) if row.phase == "raised" and row.priority == "high"
        ]
    assert ordered()[1] is bool(others), "taken: quiet, but for what else is urgent"


@pytest.mark.parametrize("hours", [1.01, 24, 900])
def test_no_urgent_alarm_is_shelved_for_longer_than_its_kind_allows(
    maker: Any, hot: Any, hours: float
) -> None:
    """The hottest alarm: one hour at most, and the answer says so."""
    answer = maker.post(f"/api/alarms/{hot()}/shelve", json={"hours": hours})
    assert answer.status_code == 422
    assert "above 0 to 1 h" in answer.json()["error"]["message"]


def test_an_urgent_alarm_goes_out_of_service_only_with_a_reason_and_an_end(maker: Any, hot: Any) -> None:
    """No reason: refused; no end: refused; both: seen on its page, and back in service."""
    alarm = hot()
    path = f"/api/alarms/{alarm}"
    assert maker.post(f"{path}/out-of-service", json={"reason": "", "hours": 1}).status_code == 422
    assert maker.post(f"{path}/out-of-service", json={"reason": "probe is being moved"}).status_code == 422
    taken = maker.post(f"{path}/out-of-service", json={"reason": "probe is being moved", "hours": 1})
    assert taken.status_code == 200
    assert "probe is being moved" in maker.get(f"/alarms/{alarm}").text
    assert maker.post(f"{path}/return-to-service").status_code == 200
    assert "Out of service until" not in maker.get(f"/alarms/{alarm}").text


def test_a_stranger_quiets_nothing(stranger: Any, maker: Any, hot: Any) -> None:
    """Without a sign-in: refused, and the alarm stands."""
    alarm = hot()
    maker.cookies.clear()
    for path in ("shelve", "unshelve", "out-of-service", "return-to-service"):
        assert (
            stranger.post(f"/api/alarms/{alarm}/{path}", json={"hours": 1, "reason": "x"}).status_code == 401
        )


def test_the_alarms_own_rates_are_told_from_history(maker: Any, hot: Any, clock: Any) -> None:
    """What came, how often, against what is asked; on a page and for programs."""
    hot()
    clock.move(3600)
    told = maker.get("/api/alarms/rates?days=1").json()
    assert told["alarms"] >= 1
    assert "core-hot" in dict(told["most"])
    assert 0.99 < told["hours"] < 1.05, "no longer than there has been anything to watch"
    page = maker.get("/alarms/rates?days=1").text
    assert '<span>The core is too hot</span><span class="value">1</span>' in page


def test_an_alarm_that_was_raised_quietly_does_not_count_in_the_rates(
    maker: Any, hot: Any, shop: Any
) -> None:
    """Out of service while it came again: nobody was called."""
    alarm = hot()
    maker.post(f"/api/alarms/{alarm}/acknowledge", json={"text": ""})
    maker.post(f"/api/alarms/{alarm}/out-of-service", json={"reason": "test", "hours": 4})
    for _ in range(26):
        shop.clock.move(30)
        shop.sweep(core=56.0, room=21.0)
    for core in (59.0, 59.5, 60.0, 60.5):
        shop.clock.move(5)
        shop.sweep(core=core, room=21.0)
    told = maker.get("/api/alarms/rates?days=1").json()
    assert dict(told["most"])["core-hot"] == 1


def test_what_has_gone_in_is_held_against_the_plan_and_kept_in_the_record(maker: Any, pour: int) -> None:
    """A river of 250 × 1800 × 40 mm is 18 litres, and soak on top: 30 litres are far too many."""
    page = maker.post(f"/pours/{pour}/measured", data={"poured": "30", "level": ""}).text
    assert "more than planned: a leak, a void" in page
    (poured,) = [e for e in maker.get(f"/api/pours/{pour}/record").json()["events"] if e["kind"] == "poured"]
    assert poured["data"]["litres"] == 30
    assert poured["data"]["planned_l"] >= 18.0
    close = maker.post(f"/api/pours/{pour}/poured", json={"litres": poured["data"]["planned_l"]})
    assert close.json()["differs"] is None


def test_a_level_that_falls_raises_the_alarm_of_a_leak(maker: Any, pour: int, clock: Any, shop: Any) -> None:
    """A millimetre is what wood and bubbles take; six are a leak, about 2.7 L."""
    assert maker.post(f"/api/pours/{pour}/level", json={"level_mm": 0}).json()["fell"] is None
    clock.move(300)
    assert maker.post(f"/api/pours/{pour}/level", json={"level_mm": -1}).json()["fell"] is None
    clock.move(300)
    fell = maker.post(f"/api/pours/{pour}/level", json={"level_mm": -6}).json()["fell"]
    assert "6.0 mm in 10 min, about 2.7 L" in fell
    shop.service.watch.judge_all()
    assert "wet-under-form" in {alarm["kind"] for alarm in maker.get("/api/alarms").json()}


def test_what_is_measured_is_typed_and_shown_in_the_units_of_the_device(
    maker: Any, pour: int, clock: Any
) -> None:
    """Five US gallons are 18.93 L, a quarter inch is 6.35 mm (NIST SP 811, B.8); the record keeps L and mm."""
    maker.cookies.set("pourlog_units", "f.in.gal.lb")
    page = words(maker.get(f"/pours/{pour}/first-hour"))
    assert "Poured so far (US gallons)" in page
    assert "Level at the mark (in)" in page
    maker.post(f"/pours/{pour}/measured", data={"poured": "5", "level": "0"})
    clock.move(300)
    page = maker.post(f"/pours/{pour}/measured", data={"poured": "", "level": "-0.25"}).text.replace(
        "\u00a0", " "
    )
    kept = {e["kind"]: e["data"] for e in maker.get(f"/api/pours/{pour}/record").json()["events"]}
    assert kept["poured"]["litres"] == pytest.approx(18.92705892)
    assert kept["level"]["mm"] == pytest.approx(-6.35)
    assert "<strong>5.00 US gal</strong>" in page
    assert "-1/4 in" in page
    assert "The level fell by 1/4 in" in page
    assert " mm" not in page.partition("How much, and how high?")[2].partition("</section>")[0]


def test_the_pours_own_page_switches_the_fan_and_gives_it_back(maker: Any, pour: int, service: Any) -> None:
    """By hand it stays; given back, plan and forecast decide again; whose word it is stands on the page."""
    page = words(maker.get(f"/pours/{pour}"))
    assert "<summary>Fan</summary>" in page
    assert "Fan of bench-1: off" in page
    page = words(maker.post("/stations/bench-1/fan", data={"on": "on", "pour": pour}))
    assert "Fan of bench-1: on, by hand" in page
    assert "Give it back to plan and forecast" in page
    service.watch.judge_all()
    assert maker.post("/api/stations/bench-1/fan", json={"on": True}).json()["by"] == "hand"
    page = maker.post("/stations/bench-1/fan", data={"on": "auto", "pour": pour}).text
    assert "Give it back" not in page
    with service.store.read() as connection:
        assert stations.by_name(connection, "bench-1").fan_by is None
        noted = [(e.data["on"], e.data["by"]) for e in events.of_kind(connection, pour, "fan")]
    assert noted == [(True, "hand"), (True, None)]
    assert maker.post("/stations/bench-1/fan", data={"on": "maybe"}).status_code == 422


def test_a_pour_says_before_it_starts_that_nobody_may_hear_its_alarms(
    maker: Any, shop: Any, plan_toml: str
) -> None:
    """No address is set: said where it is signed, where it starts, and while somebody sits by it."""
    made = shop.plan(plan_toml)
    assert "nobody is called" in maker.get(f"/pours/{made}/ready").text
    shop.go(made, Stage.READY)
    assert "nobody is called" in maker.get(f"/pours/{made}").text
    shop.go(made, Stage.POURING)
    assert "nobody is called" in maker.get(f"/pours/{made}").text
    assert "nobody is called" in maker.get("/api/messages").json()["untested"]
    kept = maker.get(f"/api/pours/{made}/record").json()["events"]
    assert [(e["by"], say(e["text"], METRIC)) for e in kept if e["kind"] == "untested"] == [
        ("Ada", "No phone is set up: nobody is called when it gets too hot.")
    ], "that it was poured all the same stands in the record"


def test_the_fan_is_switched_by_hand_obeyed_by_the_station_and_off_when_the_pour_is_over(
    maker: Any, shop: Any, pour: int, service: Any, clock: Any
) -> None:
    """Who switched it stands in the record; the station hears it with its next batch."""
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, "bench-1", 0)

    def ordered() -> Any:
        stamp = {"wall_ms": clock.wall_ms, "boot_id": "b", "boot_ms": clock.boot_ms, "clock_set": True}
        body = {
            "station": "bench-1",
            "spool": "s",
            "sent": stamp,
            "rows": [],
            "health": {"power_low": True, "disk_free_mb": 12.5},
        }
        answer = maker.post("/api/batches", json=body, headers={"Authorization": f"Bearer {token}"})
        assert answer.status_code == 200, answer.text
        return answer.json()["fan"]

    assert ordered() is False
    assert maker.post("/stations/bench-1/fan", data={"on": "on"}).status_code == 200
    assert ordered() is True
    with service.store.read() as connection:
        assert [(e.by, e.data["on"]) for e in events.of_kind(connection, pour, "fan")] == [("Ada", True)]
        station = stations.by_name(connection, "bench-1")
        assert (station.power_low, station.disk_free_mb) == (True, 12.5)
    page = words(maker.get("/stations"))
    assert "Fan of bench-1: on, by hand" in page
    assert "its supply is too weak" in page
    shop.go(pour, Stage.WATCHED, Stage.CURING, Stage.RELEASED)
    assert ordered() is False


def test_the_hour_of_release_is_kept_with_the_prediction(pour: int, service: Any) -> None:
    """What `cure-behind` is measured against: later than the gel, frozen with the pour."""
    with service.store.read() as connection:
        prediction = pours.get_pour(connection, pour).prediction
    assert "release_at_h" in prediction
    if prediction["release_at_h"] is not None and prediction["gel_at_h"] is not None:
        assert prediction["release_at_h"] > prediction["gel_at_h"]


def test_the_table_of_alarms_is_shown_whole(maker: Any) -> None:
    """Every kind with its limit, its consequence and each step of what to do, as the documents have it."""
    page = html.unescape(maker.get("/alarms/table").text)
    for kind in KINDS.values():
        for text in (
            kind.title,
            kind.limit,
            kind.limit_source,
            kind.consequence,
            *kind.causes,
            *kind.what_to_do,
        ):
            assert say(text, METRIC) in page, (kind.name, text)


def test_every_page_says_when_the_watch_cannot_do_its_work(maker: Any, service: Any) -> None:
    """A full disk, or a pour that cannot be judged: not only in the log."""
    assert "The watch itself is in trouble" not in maker.get("/").text
    service.watch.trouble = "the database refuses to be written"
    for path in ("/", "/messages", "/stations"):
        assert "The watch itself is in trouble: the database refuses" in maker.get(path).text
