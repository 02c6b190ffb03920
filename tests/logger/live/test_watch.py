"""The watch over stored readings: clocks that step, contacts that were wet for a moment, the fan, one transaction."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import update
from sqlalchemy.exc import OperationalError

from hardware.clock import Stamp
from logger.alarms.notify_policy import Rules
from logger.live.watch import Watch, WatchSettings, minute_of_day, rounds_apart_s
from logger.pour import Stage
from logger.store import alarms, events, forecasts, outbox, pours, readings, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from logger.words.reader import METRIC
from logger.words.render import say

CALM = {"curve": {"hours": [0.0, 20.0, 100.0], "core_c": [21.0, 40.0, 22.0]}, "release_at_h": 60.0}
HOUR_MS = 3_600_000
#: How the wall clock may step, ms; 1970: a Pi without a clock that then learns the time. Daylight saving steps no
#: clock that counts UTC: it changes what minute of the day it is, and so the quiet hours.
STEPS = {
    "none": 0,
    "+1 s": 1000,
    "-1 s": -1000,
    "+1 h": HOUR_MS,
    "-1 h": -HOUR_MS,
    "+1 day": 24 * HOUR_MS,
    "-1 day": -24 * HOUR_MS,
}


class Watched:
    """A pour, its watch, and a clock whose wall time may jump while its boot time goes on."""

    def __init__(self, store: Store, clock: Any, plan_toml: str, **watch: Any) -> None:
        self.store, self.clock = store, clock
        self.timeline = Timeline(store, clock)
        self.seq = 0
        with store.write() as tx:
            self.station_id, _token = stations.enrol(tx, "bench-1", 0)
            self.pour_id = pours.add_pour(
                tx,
                PlannedPour(title="Table", client="", plan_toml=plan_toml, station_id=self.station_id),
                by="Ada",
                now_ms=self.timeline.true_ms(),
            )
            pours.freeze_prediction(tx, self.pour_id, CALM, "test")
            for stage in (Stage.READY, Stage.POURING):
                pours.move_on(tx, self.pour_id, stage, "Ada", self.timeline)
        rules = Rules(first=1, second=1, second_after_min=10)
        self.settings = WatchSettings("http://shop.test", rules, **watch)
        self.start()

    def start(self) -> None:
        """The watch as after a restart."""
        self.watch = Watch(self.store, self.timeline, self.settings)

    def rows(self, *rows: tuple[str, str, int | None, str]) -> None:
        """Stores rows now: (probe, place, thousandths of °C, raw)."""
        stamp: Stamp = self.clock.stamp()
        incoming = []
        for probe, place, milli_c, raw in rows:
            self.seq += 1
            incoming.append(WireReading(probe, place, stamp, milli_c, None, raw, None, seq=self.seq))
        with self.store.write() as tx:
            station = stations.by_name(tx, "bench-1")
            readings.save_batch(
                tx, ReadingBatch(station.id, "spool-1", stamp, incoming), self.timeline.true_ms()
            )

    def sweep(self, core_c: float, seconds: float = 5.0) -> None:
        """Time passes, one sweep comes, the watch judges."""
        self.clock.move(seconds)
        self.rows(("28-core", "core", round(core_c * 1000), "0"), ("28-room", "room", 21_000, "0"))
        self.watch.judge_all()

    def told(self, kind: str) -> list[tuple[str, str, int]]:
        """(why, to, boot ms) of every message about a kind."""
        with self.store.read() as connection:
            return [
                (message.why, message.to, message.created_ms)
                for row in alarms.alarms_of(connection, self.pour_id)
                if row.kind == kind
                for message in outbox.messages_of(connection, row.id)
            ]

    def poured_ms(self) -> int:
        """When it was poured, true time."""
        with self.store.read() as connection:
            return int(pours.get_pour(connection, self.pour_id).poured_ms)

    def kinds(self) -> set[str]:
        """Which alarms there have been."""
        with self.store.read() as connection:
            return {row.kind for row in alarms.alarms_of(connection, self.pour_id)}


@pytest.fixture
def watched(store: Store, clock: Any, plan_toml: str) -> Callable[..., Watched]:
    """Makes a watched pour."""
    return lambda **watch: Watched(store, clock, plan_toml, **watch)


@pytest.mark.parametrize(("ahead_h", "told"), [(0, {"clock-wrong"}), (5, set())])
def test_a_station_in_lock_step_is_ahead_and_its_clock_is_right(
    watched: Callable[..., Watched], ahead_h: int, told: set[str]
) -> None:
    """A simulation's station may be hours ahead of what its service knows of the time; a real one may not."""
    shop = watched()
    shop.watch.ahead_ms = ahead_h * HOUR_MS
    for _minute in range(20):
        shop.clock.move(60)
        with shop.store.write() as tx:
            tx.execute(update(stations.STATION).values(clock_off_ms=HOUR_MS))
        shop.watch.judge_all()
    assert shop.kinds() & {"clock-wrong"} == told


@pytest.mark.parametrize(("ahead_h", "told"), [(0, {"station-silent"}), (5, set())])
def test_a_bench_that_catches_up_with_late_readings_was_not_silent(
    watched: Callable[..., Watched], ahead_h: int, told: set[str]
) -> None:
    """The bench's time jumps to the end of each batch; what that batch brought was heard then, not before."""
    shop = watched()
    shop.watch.ahead_ms = ahead_h * HOUR_MS
    shop.sweep(30.0)
    now: Stamp = shop.clock.stamp()
    sent = replace(now, boot_ms=now.boot_ms + 900_000, wall_ms=now.wall_ms + 900_000)
    backlog = []
    for seconds in range(10, 601, 10):
        shop.seq += 1
        stamp = replace(now, boot_ms=now.boot_ms + seconds * 1000, wall_ms=now.wall_ms + seconds * 1000)
        backlog.append(WireReading("28-core", "core", stamp, 30_000, None, "0", None, seq=shop.seq))
    with shop.store.write() as tx:
        station = stations.by_name(tx, "bench-1")
        readings.save_batch(tx, ReadingBatch(station.id, "spool-1", sent, backlog), shop.timeline.true_ms())
    shop.watch.judge_all()
    shop.clock.move(600)
    shop.watch.judge_all()
    assert shop.kinds() & {"station-silent"} == told


def hot_course(shop: Watched, step_at_s: int, step: Callable[[], None]) -> list[tuple[str, str, int]]:
    """A core that becomes too hot after 30 s and stays so for 14 min; the clock steps at some second."""
    began = shop.clock.boot_ms
    for second in (*range(0, 60, 10), *range(60, 12 * 60, 40)):
        if second == step_at_s:
            step()
        shop.sweep(min(57.0 + second / 10, 60.5), 10 if second < 60 else 40)
    shift = shop.timeline.now_ms() - shop.clock.boot_ms
    return [(why, to, at_ms - shift - began) for why, to, at_ms in shop.told("core-hot")]


@pytest.mark.parametrize("step_ms", STEPS.values(), ids=STEPS)
@pytest.mark.parametrize("at_s", [20, 60, 580], ids=["pending", "raised", "escalating"])
def test_a_step_of_the_clock_moves_no_message(
    store: Store, clock: Any, plan_toml: str, step_ms: int, at_s: int
) -> None:
    """First message, second person and repeats come at the same second of the pour, whatever the clock does."""
    shop = Watched(store, clock, plan_toml)

    def step() -> None:
        clock.wall_ms += step_ms

    told = hot_course(shop, at_s, step)
    assert [(why, to) for why, to, _ms in told][:1] == [("first-time", "first")]
    first_ms = told[0][2]
    assert first_ms == 40_000
    seconds = [(why, to, (ms - first_ms) // 1000) for why, to, ms in told]
    assert any(why == "repeat-due" and 300 <= s <= 340 for why, _to, s in seconds)
    second = [s for _why, to, s in seconds if to == "second"]
    assert 600 <= second[0] <= 640, "neither missed nor early"


@pytest.mark.parametrize("at_s", [20, 60, 580], ids=["pending", "raised", "escalating"])
def test_a_clock_that_wakes_in_1970_and_is_set_moves_no_message(
    store: Store, clock: Any, plan_toml: str, at_s: int
) -> None:
    """A Pi without a clock: 56 years pass in a moment, and no minute of waiting is over for it."""
    now_ms = clock.wall_ms
    clock.wall_ms, clock.clock_set = 30_000, False
    shop = Watched(store, clock, plan_toml)

    def step() -> None:
        clock.wall_ms, clock.clock_set = now_ms, True

    told = hot_course(shop, at_s, step)
    first_ms = told[0][2]
    assert first_ms == 40_000
    second = [(ms - first_ms) // 1000 for _why, to, ms in told if to == "second"]
    assert 600 <= second[0] <= 640
    with store.read() as connection:
        (row,) = [r for r in alarms.alarms_of(connection, shop.pour_id) if r.kind == "core-hot"]
        poured_ms = pours.get_pour(connection, shop.pour_id).poured_ms
    shown_ms = row.raised_ms - poured_ms
    if at_s == 20:
        assert shown_ms == 40_000, "raised after the clock was set: its time of day is right"


def test_a_watch_that_is_started_again_after_the_clock_was_set_escalates_in_time(
    store: Store, clock: Any, plan_toml: str
) -> None:
    """The clock is set, the machine boots again: the second person is called after ten minutes, not at once."""
    now_ms = clock.wall_ms
    clock.wall_ms, clock.clock_set = 30_000, False
    shop = Watched(store, clock, plan_toml)
    for core_c in (59.0, 59.5, 60.0, 60.5):
        shop.sweep(core_c)
    clock.wall_ms, clock.clock_set = now_ms, True
    shop.sweep(60.5)
    clock.boot_id, clock.boot_ms = "boot-b", 20_000
    clock.wall_ms += 30_000  # it was off for half a minute
    shop.timeline = Timeline(store, clock)
    shop.start()
    for _ in range(17):
        shop.sweep(60.5, 30)
    assert [to for _why, to, _ms in shop.told("core-hot") if to == "second"] == []
    for _ in range(5):
        shop.sweep(60.5, 30)
    assert [to for _why, to, _ms in shop.told("core-hot") if to == "second"] == ["second"]


@pytest.mark.parametrize(("took_s", "apart_s"), [(0.01, 2.0), (0.5, 5.0), (6.0, 15.0)])
def test_rounds_leave_the_time_to_others_and_come_before_the_watchdog(took_s: float, apart_s: float) -> None:
    """A small shop's every two seconds; a hundred pours' take a tenth of the time; a thousand's come soon enough."""
    assert rounds_apart_s(2.0, took_s) == apart_s


def test_daylight_saving_changes_the_minute_of_the_day_and_nothing_else(
    store: Store, clock: Any, plan_toml: str, monkeypatch: Any
) -> None:
    """Over the hour that is skipped in spring: quiet hours follow the wall, alarms follow the time that passes."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    import time

    time.tzset()
    try:
        clock.wall_ms = int(datetime(2026, 3, 29, 0, 55, tzinfo=UTC).timestamp() * 1000)
        timeline = Timeline(store, clock)
        assert minute_of_day(timeline) == 1 * 60 + 55
        shop = Watched(store, clock, plan_toml)
        told = hot_course(shop, -1, lambda: None)
        assert minute_of_day(shop.timeline) == 3 * 60 + 7, "02:00 to 03:00 does not exist that night"
        second = [(ms - told[0][2]) // 1000 for _why, to, ms in told if to == "second"]
        assert 600 <= second[0] <= 640
    finally:
        monkeypatch.undo()
        time.tzset()


def test_a_contact_that_was_wet_for_a_moment_within_one_batch_has_been_wet(watched: Any) -> None:
    """Dry, wet and dry again before the watch looks: somebody must look under the form."""
    shop = watched()
    shop.sweep(22)
    shop.clock.move(1)
    shop.rows(
        ("wet-contact", "under-form", None, "0"),
        ("wet-contact", "under-form", None, "1"),
        ("wet-contact", "under-form", None, "0"),
    )
    shop.watch.judge_all()
    assert "wet-under-form" in shop.kinds()


def test_a_wet_contact_is_told_at_once(watched: Any) -> None:
    """One second after it closed there is a message, with what to do first."""
    shop = watched()
    shop.sweep(22)
    shop.clock.move(1)
    shop.rows(("wet-contact", "under-form", None, "1"))
    shop.watch.judge_all()
    ((why, to, _ms),) = shop.told("wet-under-form")
    assert (why, to) == ("first-time", "first")


def test_what_a_station_says_of_itself_raises_its_alarms(watched: Any) -> None:
    """A weak supply and a full card, and their end."""
    shop = watched()
    with shop.store.write() as tx:
        health = stations.StationHealth(power_low=True, disk_free_mb=40.0)
        stations.note_health(tx, stations.by_name(tx, "bench-1").id, health)
    for _ in range(14):
        shop.sweep(22, 30)
    assert {"power-low", "disk-low"} <= shop.kinds()
    with shop.store.write() as tx:
        health = stations.StationHealth(power_low=False, disk_free_mb=4000.0)
        stations.note_health(tx, stations.by_name(tx, "bench-1").id, health)
    for _ in range(24):
        shop.sweep(22, 30)
    with shop.store.read() as connection:
        rows = alarms.alarms_of(connection, shop.pour_id)
    phases = {row.kind: row.phase for row in rows if row.kind in ("power-low", "disk-low")}
    assert phases == {"power-low": "returned", "disk-low": "returned"}


def test_pins_that_do_not_work_are_told_at_once_and_end_when_they_do(watched: Any) -> None:
    """In the station's own words, over the same channels as every alarm; a station without pins raises nothing."""
    shop = watched()

    def says(faults: str | None) -> None:
        with shop.store.write() as tx:
            health = stations.StationHealth(False, 9000.0, faults)
            stations.note_health(tx, stations.by_name(tx, "bench-1").id, health)
        for _ in range(6):
            shop.sweep(22, 30)

    says(None)
    assert "pins-failed" not in shop.kinds()
    says("fan (GPIO 25): Device or resource busy")
    with shop.store.read() as connection:
        (row,) = [row for row in alarms.alarms_of(connection, shop.pour_id) if row.kind == "pins-failed"]
    assert say(row.reason, METRIC) == "Pins of bench-1 do not work: fan (GPIO 25): Device or resource busy."
    assert [(why, to) for why, to, _at in shop.told("pins-failed")] == [("first-time", "first")]
    says("")
    with shop.store.read() as connection:
        (row,) = [row for row in alarms.alarms_of(connection, shop.pour_id) if row.kind == "pins-failed"]
    assert row.phase in ("returned", "normal")


def test_a_fan_that_is_proven_still_is_called_and_ends_when_it_is_switched_off(watched: Any) -> None:
    """Commanded on, its contact says that it stands; switched off, that is no news any more."""
    shop = watched()
    with shop.store.write() as tx:
        assert stations.switch_fan(tx, shop.station_id, on=True)
        assert not stations.switch_fan(tx, shop.station_id, on=True), "nothing changes the second time"
    shop.rows(("fan-proof", "fan", None, "0"))
    for _ in range(24):
        shop.sweep(22, 30)
    assert "fan-not-cooling" in shop.kinds()
    with shop.store.write() as tx:
        stations.switch_fan(tx, shop.station_id, on=False)
    for _ in range(24):
        shop.sweep(22, 30)
    with shop.store.read() as connection:
        (row,) = [r for r in alarms.alarms_of(connection, shop.pour_id) if r.kind == "fan-not-cooling"]
    assert row.phase != "raised"


@pytest.mark.parametrize("allowed", [True, False])
def test_the_fan_is_switched_on_by_itself_only_where_the_settings_allow_it(
    watched: Any, allowed: bool
) -> None:
    """Too hot: the relay is commanded, and who did it and why is written down."""
    shop = watched(fan_on_forecast=allowed)
    for core_c in (59.0, 59.5, 60.0, 60.5):
        shop.sweep(core_c)
    with shop.store.read() as connection:
        assert stations.by_name(connection, "bench-1").fan_on is allowed
        noted = events.of_kind(connection, shop.pour_id, "fan")
    assert [row.by for row in noted] == [events.WATCH] * allowed


def fan_of(shop: Watched) -> tuple[bool, list[tuple[str, bool]]]:
    """Whether the fan is on, and who switched it to what in this pour."""
    with shop.store.read() as connection:
        noted = events.of_kind(connection, shop.pour_id, "fan")
        on = stations.by_name(connection, "bench-1").fan_on
    return on, [(row.by, row.data["on"]) for row in noted]


def test_the_fan_follows_the_plans_times(store: Store, clock: Any, plan_toml: str) -> None:
    """On and off at its hours, each noted; through a restart, and without leave to act on a forecast."""
    shop = Watched(store, clock, plan_toml + "\n[[fan]]\nfrom_h = 0.1\nto_h = 0.6\n")
    assert fan_of(shop) == (False, [])
    for _ in range(2):
        shop.sweep(22, 200)
    assert fan_of(shop) == (True, [(events.WATCH, True)])
    shop.start()
    for _ in range(6):
        shop.sweep(22, 350)
    assert fan_of(shop) == (False, [(events.WATCH, True), (events.WATCH, False)])


def test_a_fan_that_was_switched_on_for_a_hot_core_stops_once_the_peak_is_past(watched: Any) -> None:
    """On with the alarm; off after the peak, when the core is well below its limit again."""
    shop = watched(fan_on_forecast=True)
    for core_c in (59.0, 59.5, 60.0, 60.5):
        shop.sweep(core_c)
    assert fan_of(shop)[0]
    for step in range(60):
        shop.sweep(max(60 - step, 49), 30)
    assert fan_of(shop)[0], "nobody knows yet that the peak is past"
    hour = (shop.timeline.true_ms() - shop.poured_ms()) / HOUR_MS
    past = {"p05": hour - 0.4, "p50": hour - 0.3, "p95": hour - 0.2}
    body = {
        "at_h": hour,
        "core_peak_c": {"p05": 60.0, "p50": 61.0, "p95": 62.0},
        "core_peak_at_h": past,
        "chance_core_over_limit": 1.0,
        "causes": [],
        "time_left_h": None,
    }
    with shop.store.write() as tx:
        forecasts.add_forecast(tx, shop.pour_id, hour, shop.timeline.true_ms(), body)
    shop.sweep(49, 30)
    assert fan_of(shop) == (False, [(events.WATCH, True), (events.WATCH, False)])


@pytest.mark.parametrize("on", [True, False])
def test_what_a_person_switched_stays_so(watched: Any, on: bool) -> None:
    """Switched off by hand, it stays off however hot it gets; given back, the rules decide."""
    shop = watched(fan_on_forecast=True)
    shop.sweep(22)
    with shop.store.write() as tx:
        stations.switch_fan(tx, shop.station_id, on=on, by="hand", now_ms=shop.timeline.now_ms())
    for core_c in (59.0, 59.5, 60.0, 60.5, 61.0):
        shop.sweep(core_c)
    assert fan_of(shop) == (on, [])
    with shop.store.write() as tx:
        stations.switch_fan(tx, shop.station_id, on=on)
    shop.sweep(61)
    assert fan_of(shop) == (True, [(events.WATCH, True)])


def test_the_planned_release_is_the_one_frozen_with_the_prediction(watched: Any) -> None:
    """`cure-behind` compares the forecast with it."""
    shop = watched()
    with shop.store.read() as connection:
        book = shop.watch.book_of(connection, pours.to_judge(connection, shop.pour_id))
    assert book.setup.limits is not None
    assert book.setup.limits.planned_release_h == 60.0


def test_the_watch_says_when_it_last_judged(watched: Any) -> None:
    """What the heartbeat rests on: not before the first round, and not while a pour cannot be judged."""
    shop = watched()
    assert shop.watch.judged_ms is None
    shop.sweep(22)
    assert shop.watch.judged_ms == shop.timeline.now_ms()


@pytest.mark.parametrize("database", ["postgresql"], indirect=True)
def test_a_server_that_dropped_a_connection_is_no_trouble_once_it_answers(watched: Any) -> None:
    """As when it is restarted: that is no full disk, and is not told for half a minute as that is."""
    shop = watched()
    with pytest.raises(OperationalError), shop.store.write() as tx:
        tx.exec_driver_sql("SELECT pg_terminate_backend(pg_backend_pid())")
    shop.watch.judge_all()
    assert (shop.watch.trouble, shop.store.refused) == (None, None)


def test_a_long_backlog_does_not_hold_up_a_stop(watched: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A station was away for weeks: what is not judged yet is judged after the next start."""
    shop = watched()
    monkeypatch.setattr("logger.live.watch.ROWS_A_TIME", 5)
    for _ in range(12):
        shop.rows(("28-000000000001", "core", 22_000, "00"))
        shop.clock.move(5)
    stop, judge, judged = threading.Event(), shop.watch.judge, []

    def told_to_stop(pour_id: int) -> bool:
        judged.append(pour_id)
        stop.set()
        return bool(judge(pour_id))

    shop.watch.judge = told_to_stop
    shop.watch.judge_all(stop)
    assert len(judged) == 1
    shop.start()
    shop.watch.judge_all()
    with shop.store.read() as connection:
        assert pours.get_pour(connection, shop.pour_id).judged_reading_id == shop.seq


def test_the_steady_time_never_goes_back_behind_what_was_judged(
    store: Store, clock: Any, plan_toml: str
) -> None:
    """The machine starts again and its clock, set both times, is an hour earlier: no waiting begins anew."""
    shop = Watched(store, clock, plan_toml)
    for _ in range(5):
        shop.sweep(22, 30)
    judged_ms = shop.timeline.now_ms()
    clock.boot_id, clock.boot_ms = "boot-b", 5_000
    clock.wall_ms -= HOUR_MS
    assert Timeline(store, clock).now_ms() > judged_ms
