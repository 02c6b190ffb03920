"""Clocks that are missing, wrong or stepped, on both machines: how long the resin has cured is right all the same.

Every row carries the true moment at which it was taken in its raw bytes; what the service makes of its stamps is held
against that.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from sqlalchemy import select

from hardware.clock import Stamp
from logger.alarms.notify_policy import Rules
from logger.live.watch import Watch, WatchSettings
from logger.pour import Stage
from logger.store import alarms, pours, readings, stations
from logger.store.boots import BOOT, Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from logger.words.render import say

TRUE_START_MS = 1_795_624_200_000
#: What a machine without a battery believes at first: the day on which its card was written.
CARD_MS = 1_700_000_000_000
MINUTE_MS = 60_000
CALM = {"curve": {"hours": [0.0, 20.0, 100.0], "core_c": [21.0, 40.0, 22.0]}, "release_at_h": 60.0}


class Machine:
    """One Pi: boots, and has a clock that is wrong until it is set."""

    def __init__(self, world: World, name: str, *, set_: bool) -> None:
        self._world, self._name = world, name
        self._boots = 0
        self.boot(set_=set_)

    def boot(self, *, set_: bool, believes_ms: int = CARD_MS) -> None:
        """Starts anew; with its clock set, or believing some other time."""
        self._boots += 1
        self._booted_ms = self._world.true_ms - 10_000
        self._off_ms = 0 if set_ else believes_ms - self._world.true_ms
        self.set = set_

    def set_clock(self, off_ms: int = 0) -> None:
        """The network sets it (`off_ms`: a later step of an already set clock)."""
        self._off_ms, self.set = off_ms, True

    def stamp(self) -> Stamp:
        """Now, as this machine sees it."""
        true_ms = self._world.true_ms
        return Stamp(
            true_ms + self._off_ms, f"{self._name}-{self._boots}", true_ms - self._booted_ms, self.set
        )

    def wait(self, *_: Any) -> bool:
        """Nobody waits here."""
        raise AssertionError("not called")


class World:
    """A station and a service that may be one machine or two, a pour, and the true time."""

    def __init__(self, store: Store, plan_toml: str, *, one_machine: bool, set_: bool) -> None:
        self.true_ms = TRUE_START_MS
        self.store, self._plan = store, plan_toml
        self.service = Machine(self, "service", set_=set_)
        self.station = self.service if one_machine else Machine(self, "station", set_=set_)
        self._spool: list[WireReading] = []
        self._seq = 0
        with store.write() as tx:
            self._station_id, _token = stations.enrol(tx, "bench-1", 0)
        self.start_service()
        self.pour_id = 0
        self.core_c = 21.0

    def start_service(self) -> None:
        """The service's process starts."""
        self.timeline = Timeline(self.store, self.service)
        self.watch = Watch(self.store, self.timeline, WatchSettings("http://shop.test", Rules(first=0)))

    def pour(self) -> None:
        """The resin goes in."""
        with self.store.write() as tx:
            self.pour_id = pours.add_pour(
                tx,
                PlannedPour(title="Table", client="", plan_toml=self._plan, station_id=self._station_id),
                by="Ada",
                now_ms=self.timeline.true_ms(),
            )
            pours.freeze_prediction(tx, self.pour_id, CALM, "test")
            for stage in (Stage.READY, Stage.POURING):
                pours.move_on(tx, self.pour_id, stage, "Ada", self.timeline)
        self.poured_ms = self.true_ms

    def run(self, minutes: float, *, away: bool = False) -> None:
        """Sweeps twice a minute; sent at once unless the service is away."""
        for _ in range(round(minutes * 2)):
            self.true_ms += 30_000
            self._seq += 1
            self._spool.append(
                WireReading(
                    "28-000000000001",
                    "core",
                    self.station.stamp(),
                    round(self.core_c * 1000),
                    None,
                    f"{self.true_ms:018x}",
                    None,
                    seq=self._seq,
                )
            )
            if not away:
                self.send()

    def send(self) -> None:
        """The spool goes to the service, 100 rows at a time, and the watch judges."""
        while True:
            with self.store.write() as tx:
                station = stations.by_name(tx, "bench-1")
                readings.save_batch(
                    tx,
                    ReadingBatch(station.id, "spool-1", self.station.stamp(), self._spool[:100]),
                    self.timeline.true_ms(),
                    clock_set=self.timeline.clock_set,
                )
            del self._spool[:100]
            self.watch.judge_all()
            if not self._spool:
                return

    def check(self, *, within_ms: int = 1000, from_ms: int = 0, wrong: bool = False) -> None:
        """Every reading belongs to the pour, in the true order, at the true time since the pour."""
        with self.store.read() as connection:
            rows = connection.execute(
                select(
                    readings.READING.c.raw,
                    readings.READING.c.pour_id,
                    (readings.READING.c.boot_ms + BOOT.c.offset_ms).label("at_ms"),
                ).join(BOOT, BOOT.c.id == readings.READING.c.boot)
            ).all()
            poured_ms = pours.get_pour(connection, self.pour_id).poured_ms
        taken = sorted((int(row.raw, 16), row.at_ms, row.pour_id) for row in rows)
        assert len(taken) == self._seq, "no row is lost"
        assert {pour for true_ms, _, pour in taken if true_ms > self.poured_ms} == {self.pour_id}
        assert all(a[1] < b[1] for a, b in pairwise(taken)), "in the order in which they were taken"
        off = [abs((at - poured_ms) - (true - self.poured_ms)) for true, at, _ in taken if true >= from_ms]
        assert max(off) <= within_ms
        assert self.kinds() <= {"look-due", "clock-unset"} | ({"clock-wrong"} if wrong else set())

    def kinds(self) -> set[str]:
        """Which alarms there have been."""
        with self.store.read() as connection:
            return {row.kind for row in alarms.alarms_of(connection, self.pour_id)}


Make = Callable[..., World]


@pytest.fixture
def world(store: Store, plan_toml: str) -> Make:
    """Makes a station and a service over an empty store."""
    return lambda *, one_machine=True, set_=True: World(store, plan_toml, one_machine=one_machine, set_=set_)


def test_poured_before_the_clock_was_set(world: Make) -> None:
    """A Pi without a network boots, the pour begins, and the time comes ten minutes later."""
    shop = world(set_=False)
    shop.run(5)
    shop.pour()
    shop.run(10)
    shop.check()
    shop.service.set_clock()
    shop.true_ms += 5000
    shop.watch.judge_all()
    assert "station-silent" not in shop.kinds(), "years have not passed since it was last heard"
    shop.run(0.5)
    shop.check()
    shop.run(10)
    shop.check()


@pytest.mark.parametrize("first", ["station", "service"])
def test_two_machines_whose_clocks_are_set_at_different_times(world: Make, first: str) -> None:
    """Whichever learns the time first, no reading is months away from the pour, not for a moment."""
    shop = world(one_machine=False, set_=False)
    shop.true_ms += 20_000
    shop.service.boot(set_=False, believes_ms=30_000)  # they do not even agree on what they believe
    shop.start_service()
    shop.pour()
    order = [shop.station, shop.service] if first == "station" else [shop.service, shop.station]
    shop.run(5)
    for machine in order:
        machine.set_clock()
        shop.run(0.5)
        shop.check()
        shop.run(5)
        shop.check()


@pytest.mark.parametrize("step_s", [3600, -3600, 2, -2, 86_400])
def test_steps_of_a_set_clock_move_nothing(world: Make, step_s: int) -> None:
    """NTP corrects, somebody sets the clock by hand: boots are dated once, ages come from boot time."""
    shop = world()
    shop.pour()
    shop.run(5)
    shop.service.set_clock(step_s * 1000)
    shop.run(5)
    shop.check()


@pytest.mark.parametrize("believes_ms", [CARD_MS, 30_000, TRUE_START_MS - 20 * MINUTE_MS])
def test_the_power_trips_in_mid_pour_and_there_is_no_clock_afterwards(world: Make, believes_ms: int) -> None:
    """The second boot starts years, or 20 minutes, in the past: its readings are this pour's, and are judged."""
    shop = world()
    shop.pour()
    shop.run(30)
    shop.true_ms += 3 * MINUTE_MS
    shop.service.boot(set_=False, believes_ms=believes_ms)
    shop.start_service()
    shop.run(6)
    shop.check(within_ms=4 * MINUTE_MS)  # how long it was off is not known yet
    shop.service.set_clock()
    shop.run(0.5)
    shop.check()
    shop.run(10)
    shop.check()


def test_a_whole_boot_without_a_clock_is_sent_after_the_next_one_began(world: Make) -> None:
    """The service is away, the station trips twice: the middle boot lies between its neighbours."""
    shop = world(one_machine=False)
    shop.pour()
    shop.run(10)
    shop.true_ms += MINUTE_MS
    shop.station.boot(set_=False, believes_ms=TRUE_START_MS - 40 * MINUTE_MS)
    shop.run(80, away=True)
    shop.true_ms += MINUTE_MS
    shop.station.boot(set_=True)
    shop.run(2, away=True)
    shop.true_ms += 30_000
    shop.send()
    with shop.store.read() as connection:
        rows = readings.series(connection, shop.pour_id)
    assert len(rows) == 184, "all belong to the pour"
    shop_seconds = [(b.at_ms - a.at_ms) / 1000 for a, b in pairwise(rows)]
    assert min(shop_seconds) > 0, "no boot overlaps another"
    shop.check(within_ms=3 * MINUTE_MS)  # only how the two minutes without power are shared out is not known


def test_the_time_that_came_in_the_midst_of_a_buffered_boot_dates_all_of_it(world: Make) -> None:
    """Rows before and after the clock was set wait in one batch, and that boot is over when they are sent."""
    shop = world(one_machine=False)
    shop.pour()
    shop.station.boot(set_=False)
    shop.run(10, away=True)
    shop.station.set_clock()
    shop.run(10, away=True)
    shop.true_ms += 3 * MINUTE_MS
    shop.station.boot(set_=True)
    shop.run(1)
    with shop.store.read() as connection:
        assert len(readings.series(connection, shop.pour_id)) == 42
    shop.check()


def test_two_boots_without_a_clock_stay_together_when_it_is_set_at_last(world: Make) -> None:
    """The first boot never learns the time; the second does, and takes the first one along."""
    shop = world(set_=False)
    shop.pour()
    shop.run(20)
    shop.true_ms += 2 * MINUTE_MS
    shop.service.boot(set_=False)
    shop.start_service()
    shop.run(10)
    shop.service.set_clock()
    shop.run(5)
    shop.check(within_ms=3 * MINUTE_MS)


def test_an_old_guess_is_not_moved_when_a_later_boot_is_set(world: Make) -> None:
    """Last week's pour, watched by a station without a clock, stays where it was."""
    shop = world(one_machine=False)
    shop.station.boot(set_=False)
    shop.pour()
    shop.run(20)
    shop.check()
    shop.true_ms += 7 * 24 * 60 * MINUTE_MS
    shop.service.boot(set_=False)
    shop.start_service()
    shop.station.boot(set_=True)
    shop.service.set_clock()
    shop.watch.judge_all()
    with shop.store.read() as connection:
        rows = readings.series(connection, shop.pour_id)
        poured_ms = pours.get_pour(connection, shop.pour_id).poured_ms
    assert [row.at_ms - poured_ms for row in rows] == [30_000 * (i + 1) for i in range(40)]


HOUR_MS, YEAR_MS = 60 * MINUTE_MS, 365 * 24 * 60 * MINUTE_MS


@pytest.mark.parametrize("off_ms", [-3 * HOUR_MS, -YEAR_MS, 3 * HOUR_MS, YEAR_MS, -6 * MINUTE_MS])
def test_a_stations_clock_that_is_set_and_wrong_is_told_and_moves_no_reading(
    world: Make, off_ms: int
) -> None:
    """By hand to the wrong hour, or by a chip with an empty battery: dated by arrival, judged, none of them late."""
    shop = world(one_machine=False)
    shop.station.set_clock(off_ms)
    shop.pour()
    shop.run(9)
    shop.check()
    shop.run(4)
    shop.check(wrong=True)
    assert "clock-wrong" in shop.kinds()
    with shop.store.read() as connection:
        assert not any(row.late for row in readings.series(connection, shop.pour_id))
        (row,) = [row for row in alarms.alarms_of(connection, shop.pour_id) if row.kind == "clock-wrong"]
        assert stations.by_name(connection, "bench-1").clock_off_ms == off_ms
    assert ("behind" if off_ms < 0 else "ahead of") in say(row.reason)
    shop.station.set_clock()
    shop.run(3)
    shop.check(wrong=True)
    with shop.store.read() as connection:
        (row,) = [row for row in alarms.alarms_of(connection, shop.pour_id) if row.kind == "clock-wrong"]
        assert (row.phase, stations.by_name(connection, "bench-1").clock_off_ms) == ("returned", 0)


def test_a_clock_that_is_a_little_off_is_believed(world: Make) -> None:
    """Minutes are within what a slow network explains; ages come from boot time all the same."""
    shop = world(one_machine=False)
    shop.station.set_clock(-4 * MINUTE_MS)
    shop.pour()
    shop.run(15)
    shop.check(within_ms=4 * MINUTE_MS)
    with shop.store.read() as connection:
        assert not any(row.late for row in readings.series(connection, shop.pour_id)), "they came at once"


def test_what_waited_through_a_boot_with_a_wrong_clock_lies_in_its_place(world: Make) -> None:
    """The service is away while the station starts again; its clock is off by as much in both boots."""
    shop = world(one_machine=False)
    shop.station.set_clock(-YEAR_MS)
    shop.pour()
    shop.run(10, away=True)
    shop.true_ms += MINUTE_MS
    shop.station.boot(set_=True)
    shop.station.set_clock(-YEAR_MS)
    shop.run(10, away=True)
    shop.send()
    shop.run(1)
    shop.check(wrong=True)


def test_a_boot_that_says_it_read_after_the_next_one_began_is_dated_before_it(world: Make) -> None:
    """Its clock was a day ahead, and has been set right since: the future is no place for readings."""
    shop = world(one_machine=False)
    shop.pour()
    shop.run(5)
    shop.station.boot(set_=True)
    shop.station.set_clock(24 * HOUR_MS)
    shop.run(10, away=True)
    shop.true_ms += MINUTE_MS
    shop.station.boot(set_=True)
    shop.run(2)
    shop.check(within_ms=MINUTE_MS + 30_000)


def test_a_clock_that_is_wrong_while_the_service_knows_no_time_stays_with_it(world: Make) -> None:
    """Nobody can be blamed yet; once the service learns the time, the readings go along, and the station is told."""
    shop = world(one_machine=False)
    shop.service.boot(set_=False)
    shop.start_service()
    shop.station.set_clock(-3 * HOUR_MS)
    shop.pour()
    shop.run(12)
    shop.check()
    shop.service.set_clock()
    shop.run(13)
    shop.check(wrong=True)
    assert "clock-wrong" in shop.kinds()


def test_a_core_that_is_too_hot_is_called_whatever_its_stations_clock_says(world: Make) -> None:
    """Behind by a year, its readings would lie before the pour."""
    shop = world(one_machine=False)
    shop.station.set_clock(-YEAR_MS)
    shop.pour()
    shop.core_c = 59.0
    shop.run(2)
    for _ in range(4):
        shop.core_c += 0.5
        shop.run(0.5)
    assert "core-hot" in shop.kinds()
