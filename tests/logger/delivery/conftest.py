"""A live pour with its watch and its sender, on a clock moved by hand; receivers that take or refuse."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hardware.clock import Stamp
from logger.alarms.notify_policy import Rules
from logger.delivery.channels import Outcome
from logger.delivery.compose import rules_of
from logger.delivery.sender import Sender
from logger.live.watch import Watch, WatchSettings
from logger.pour import Stage
from logger.settings import Messages
from logger.store import alarms, outbox, pours, readings, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading

#: A frozen prediction that stays cool (invented): the watch needs its curve.
CALM = {
    "peak_c": 40.0,
    "peak_at_h": 20.0,
    "curve": {"hours": [0.0, 20.0, 100.0], "core_c": [21.0, 40.0, 22.0]},
}


class Receivers:
    """Channels in memory: what each URL took, in order; those in `down` refuse."""

    def __init__(self) -> None:
        self.took: list[tuple[str, str, str]] = []
        self.asked: list[str] = []
        self.down: set[str] = set()
        self.meanwhile: Callable[[], None] = lambda: None

    def __call__(self, url: str, title: str, body: str) -> Outcome:
        """One message for one URL."""
        self.asked.append(url)
        self.meanwhile()
        if url in self.down:
            return Outcome(False, f"{url} is down")
        self.took.append((url, title, body))
        return Outcome(True)

    def titles(self, url: str) -> list[str]:
        """What a URL took, by title."""
        return [title for to, title, _body in self.took if to == url]


class Bench:
    """A pour that is being watched: feed it a core temperature and let time pass."""

    def __init__(self, store: Store, timeline: Timeline, clock: Any, plan_toml: str, **messages: Any) -> None:
        self.store, self.timeline, self.clock = store, timeline, clock
        self.seq = 0
        with store.write() as tx:
            station, _token = stations.enrol(tx, "bench-1", 0)
            self.pour_id = pours.add_pour(
                tx,
                PlannedPour(title="Table", client="", plan_toml=plan_toml, station_id=station),
                by="Ada",
                now_ms=timeline.true_ms(),
            )
            pours.freeze_prediction(tx, self.pour_id, CALM, "test")
            for stage in (Stage.READY, Stage.POURING):
                pours.move_on(tx, self.pour_id, stage, "Ada", timeline)
        self.receivers = Receivers()
        self.settings = Messages(**messages)
        self.watch = self.new_watch()
        self.sender = self.new_sender()

    def new_watch(self) -> Watch:
        """The watch as after a restart."""
        rules: Rules = rules_of(self.settings)
        return Watch(self.store, self.timeline, WatchSettings("http://shop.test", rules))

    def new_sender(self) -> Sender:
        """The sender as after a restart."""
        return Sender(self.store, self.timeline, self.settings, self.receivers, self.watch.memory_outbox)

    def save(self, core_c: float, room_c: float = 21.0) -> None:
        """Stores one sweep."""
        stamp: Stamp = self.clock.stamp()
        rows = []
        for place, celsius in (("core", core_c), ("room", room_c)):
            self.seq += 1
            rows.append(
                WireReading(f"28-{place}", place, stamp, round(celsius * 1000), None, "0", None, seq=self.seq)
            )
        with self.store.write() as tx:
            station = stations.by_name(tx, "bench-1")
            readings.save_batch(tx, ReadingBatch(station.id, "spool-1", stamp, rows), self.timeline.true_ms())

    def sweep(self, core_c: float, seconds: float = 5.0) -> None:
        """Time passes, the probes are read, the watch judges."""
        self.clock.move(seconds)
        self.save(core_c)
        self.watch.judge_all()

    def heat(self) -> None:
        """The core warms as a core does, until it is over its limit of 60 °C."""
        for core_c in (59.0, 59.5, 60.0, 60.5):
            self.sweep(core_c)

    def hold(self, core_c: float, minutes: float, step_s: float = 30.0, send: bool = True) -> None:
        """The core stays so warm for some minutes; what is due is sent as it comes."""
        for _ in range(round(minutes * 60 / step_s)):
            self.sweep(core_c, step_s)
            if send:
                self.sender.send_due()

    def alarm(self, kind: str) -> Any:
        """The newest activation of a kind."""
        with self.store.read() as connection:
            return [row for row in alarms.alarms_of(connection, self.pour_id) if row.kind == kind][-1]

    def messages(self, kind: str) -> list[Any]:
        """Every message about a kind."""
        with self.store.read() as connection:
            return [
                message
                for row in alarms.alarms_of(connection, self.pour_id)
                if row.kind == kind
                for message in outbox.messages_of(connection, row.id)
            ]


@pytest.fixture
def bench(store: Store, timeline: Timeline, clock: Any, plan_toml: str) -> Callable[..., Bench]:
    """Makes a watched pour whose messages go to the given URLs."""

    def make(**messages: Any) -> Bench:
        return Bench(store, timeline, clock, plan_toml, **({"urls": ["one://first"]} | messages))

    return make
