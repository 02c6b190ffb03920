"""The watch beneath the watch: silent while all is well, and loud from memory when it is not."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy.exc import DatabaseError

from hardware.clock import Stamp
from logger.alarms.plain_limit import UNKNOWN_C, PlainLimit, Watched
from logger.delivery.channels import Outcome
from logger.delivery.shout import Shouter
from logger.live.plain_watch import (
    AGAIN_MS,
    FAILS_AGAIN_MS,
    FAILS_MS,
    GRACE_MS,
    TOLD,
    Memory,
    PlainWatch,
    UsualWatch,
)
from logger.pour import Stage
from logger.store import events, pours, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.wire import WireReading
from logger.words.reader import METRIC
from logger.words.render import say

HOT = "URGENT: The core is too hot - Table"
UNWATCHED = "URGENT: Pours are not watched as usual - The shop"


class Under:
    """A plain watch over one pour, whose usual judgement does as a test says."""

    def __init__(self) -> None:
        self.limit = PlainLimit()
        self.limit.set_pours([Watched(7, "Table", 1, 60.0, units="f.in.gal.lb")])
        self.took: list[tuple[str, str]] = []
        self.now_ms, self.seq = 0, 0
        self.handled, self.fails = False, None

        def take(_url: str, title: str, body: str) -> Outcome:
            self.took.append((title, body))
            return Outcome(True)

        self.watch = PlainWatch(
            self.limit,
            Shouter(take, ["one://phone"]),
            lambda: self.now_ms,
            UsualWatch(lambda _pour: self.handled, lambda _pour: self.fails),
            workshop="The shop",
        )

    def sweep(self, celsius: float, times: int = 1, every_ms: int = 5000) -> None:
        """Readings come in, and it looks every second."""
        for _ in range(times):
            self.seq += 1
            stamp = Stamp(0, "b", self.seq * every_ms, False)
            milli_c = round(celsius * 1000)
            self.limit.take(
                1,
                [WireReading("28-core", "core", stamp, milli_c, None, "0", None, seq=self.seq)],
                self.now_ms,
            )
            self.wait(every_ms)

    def wait(self, ms: int) -> None:
        """Time passes."""
        until_ms = self.now_ms + ms
        while self.now_ms < until_ms:
            self.watch.step()
            self.now_ms = min(self.now_ms + 1000, until_ms)
        self.watch.step()

    def titles(self) -> list[str]:
        """What came."""
        return [title for title, _body in self.took]


@pytest.fixture
def under() -> Under:
    """One pour."""
    return Under()


def test_it_says_nothing_while_the_usual_judgement_does_its_work(under: Under) -> None:
    """Raised within seconds of the reading: an hour over the limit, and not one message from here."""
    under.sweep(60.5)
    under.sweep(61.0)
    under.handled = True
    under.sweep(70.0, times=720)
    under.sweep(50.0, times=12)
    assert under.took == []


def test_a_core_that_runs_away_just_after_its_watch_was_ended_is_told(under: Under) -> None:
    """While the end can still be taken back: that it was ended, and that it can be."""
    under.limit.set_pours([replace(pour, ended=True) for pour in under.limit.pours()])
    under.sweep(70.0, times=6)
    ((title, body),) = under.took
    assert title == HOT
    assert "its watch was ended a moment ago; take that back on its page" in body


def test_a_judgement_that_does_not_work_is_stood_in_for_after_its_grace(under: Under) -> None:
    """With limit, temperature in the shop's units, what to do first, why, and again as often as the alarm itself."""
    under.fails = "its readings cannot be stored (disk I/O error)"
    under.sweep(60.5, times=2)
    under.wait(GRACE_MS - 5000 - 1000)
    assert under.took == []
    under.wait(1000)
    ((title, body),) = under.took
    assert title == HOT
    assert "The core reads 140.9 °F: it is over the resin's limit of 140.0 °F." in body
    assert "First: Keep clear and look from a distance first." in body
    assert "since its readings cannot be stored (disk I/O error)" in body
    under.wait(AGAIN_MS - 1000)
    assert under.titles().count(HOT) == 1
    under.wait(2000)
    assert "URGENT: Reminder: The core is too hot - Table" in under.titles()
    assert under.watch.reports_at(1)


def test_one_that_works_and_does_not_agree_is_contradicted_once_and_by_three_readings(under: Under) -> None:
    """Two lies in a row call nobody; a core that stays over its limit is told, and not again and again."""
    under.sweep(60.5, times=2)
    under.sweep(22.0)
    under.wait(60_000)
    assert under.took == []
    under.sweep(60.5, times=3)
    under.wait(3600_000)
    assert under.titles() == [HOT]
    assert "the usual judgement has not called it" in under.took[0][1]


def test_it_is_over_when_the_core_has_cooled_and_handed_on_when_the_alarm_is_raised(under: Under) -> None:
    """That it is over is told to whom it was told; what the usual way took over says so itself."""
    under.fails = "broken"
    under.sweep(61.0, times=4)
    under.sweep(57.0)
    assert under.titles() == [HOT, "Cleared: The core is too hot - Table"]
    under.sweep(61.0, times=4)
    under.fails, under.handled = None, True
    under.wait(1000)
    under.sweep(57.0)
    assert under.titles()[2:] == [HOT]
    assert not under.watch.reports_at(1)


def test_that_pours_are_not_watched_as_usual_is_told_once_an_hour_and_when_it_is_mended(under: Under) -> None:
    """With what still works and what does not; something that lasts for less than a minute is not worth a call."""
    under.fails = "its readings cannot be stored (database or disk is full)"
    under.wait(FAILS_MS - 1000)
    under.fails = None
    under.wait(60_000)
    assert under.took == []
    under.fails = "its readings cannot be stored (database or disk is full)"
    under.wait(FAILS_MS + 1000)
    ((title, body),) = under.took
    assert title == UNWATCHED
    assert body.startswith(
        "Table: its readings cannot be stored (database or disk is full).\nGo there and look"
    )
    under.wait(FAILS_AGAIN_MS - 2000)
    assert under.titles() == [UNWATCHED]
    under.wait(3000)
    assert under.titles() == [UNWATCHED, UNWATCHED]
    under.fails = None
    under.wait(1000)
    assert under.titles()[-1] == "Cleared: Pours are not watched as usual - The shop"


@pytest.fixture
def live(store: Store, timeline: Timeline, plan_toml: str) -> tuple[int, int]:
    """A live pour with two of its station's probes: (pour, station)."""
    with store.write() as tx:
        station_id, _token = stations.enrol(tx, "bench-1", 0, token="a token")
        pour_id = pours.add_pour(
            tx,
            PlannedPour(title="Table", client="", plan_toml=plan_toml, station_id=station_id),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        pours.choose_probes(tx, pour_id, station_id, ["28-core", "28-room"])
        pours.freeze_prediction(tx, pour_id, {"curve": {"hours": [0.0], "core_c": [21.0]}}, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, pour_id, stage, "Ada", timeline)
    return pour_id, station_id


def dead(*_args: Any) -> Any:
    """A database on a card that has died."""
    raise DatabaseError("SELECT", None, sqlite3.DatabaseError("database disk image is malformed"))


def test_limits_stay_in_memory_when_the_database_is_gone(
    store: Store, timeline: Timeline, clock: Any, live: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was read before is what is watched; a pour that is over, once its end cannot be taken back any more."""
    limit = PlainLimit()
    memory = Memory(store, timeline, limit)
    memory.refresh()
    (pour,) = limit.pours()
    assert (pour.pour_id, pour.station_id, pour.limit_c, pour.from_plan) == (*live, 60.0, True)
    assert (pour.title, pour.station, pour.probes) == ("Table", "bench-1", frozenset({"28-core", "28-room"}))
    assert [row.name for row in memory.stations.values()] == ["bench-1"]
    with monkeypatch.context() as gone:
        gone.setattr(store, "read", dead)
        memory.refresh()
        assert limit.pours() == [pour]
    with store.write() as tx:
        pours.move_on(tx, pour.pour_id, Stage.SPOILED, "Ada", timeline)
    memory.refresh()
    assert limit.pours() == [replace(pour, ended=True)]
    clock.move(10 * 60 + 1)
    memory.refresh()
    assert limit.pours() == []


def test_a_plan_that_cannot_be_read_leaves_the_stations_own_limit(
    store: Store, timeline: Timeline, live: tuple[int, int]
) -> None:
    """It is watched, and one pour whose plan is damaged keeps no other from it."""
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE pour SET plan_toml = 'title = '")
    limit = PlainLimit()
    Memory(store, timeline, limit).refresh()
    (pour,) = limit.pours()
    assert (pour.limit_c, pour.from_plan) == (UNKNOWN_C, False)


def test_what_was_told_from_memory_stands_in_the_record_once_it_can_be_written(
    store: Store, timeline: Timeline, live: tuple[int, int], under: Under, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its time, once."""
    pour_id, station_id = live
    limit = under.limit
    memory = Memory(store, timeline, limit)
    memory.watch = under.watch
    under.now_ms = timeline.now_ms()
    memory.refresh()
    under.fails = "its readings cannot be stored"
    for seq in (1, 2):
        row = WireReading("28-core", "core", Stamp(0, "b", seq, False), 61_000, None, "0", None, seq=seq)
        limit.take(station_id, [row], under.now_ms)
    under.wait(GRACE_MS)
    assert under.titles() == [HOT]
    with monkeypatch.context() as gone:
        gone.setattr(store, "write", dead)
        memory.refresh()
    for _ in range(2):
        memory.refresh()
    with store.read() as connection:
        (event,) = events.of_kind(connection, pour_id, TOLD)
    assert say(event.text, METRIC).startswith(
        "The core reads 61.0 °C: it is over the resin's limit of 60.0 °C."
    )
    assert event.at_ms == under.now_ms + timeline.shift_ms
