"""Looks after the cups of running tests: one that is dangerously hot is called, once, by day and by night."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import Connection

from logger.delivery.addresses import AddressBook
from logger.delivery.signed_links import Address
from logger.facts import fact
from logger.probe_checks.cup import CupCourse, cup_course
from logger.quantities import temperature
from logger.store import cup_tests, outbox, resins
from logger.store.boots import Timeline
from logger.store.cup_tests import CupTest
from logger.store.database import Store
from logger.store.outbox import NewMessage


def course_of(connection: Connection, timeline: Timeline, test: CupTest) -> tuple[CupCourse, float]:
    """Return a test's course so far, and the seconds since its parts were mixed."""
    elapsed_s = max(0.0, (timeline.true_ms() - test.mixed_ms) / 1000)
    return cup_course(cup_tests.looks(connection, test, test.rom), elapsed_s), elapsed_s


@dataclass(frozen=True, slots=True)
class CupWatch:
    """Writes a message to every group of addresses for each cup that is dangerously hot."""

    store: Store
    timeline: Timeline
    addresses: AddressBook
    address: Address
    written: Callable[[], None] = lambda: None

    def call_hot(self) -> None:
        """Call those of which nobody was told yet."""
        with self.store.read() as connection:
            hot = self._hot(connection)
            if hot:
                self.addresses.read(connection)
        if not hot or not self.addresses.groups():
            return
        with self.store.write() as tx:
            for test, celsius in hot:
                self._write(tx, test, celsius)
        self.written()

    def _hot(self, connection: Connection) -> list[tuple[CupTest, float]]:
        hot = []
        for test in cup_tests.running(connection):
            course, _elapsed_s = (
                (None, 0.0) if test.told_hot or test.water else course_of(connection, self.timeline, test)
            )
            if course is not None and course.danger and course.now_c is not None:
                hot.append((test, course.now_c))
        return hot

    def _write(self, tx: Connection, test: CupTest, celsius: float) -> None:
        listed = resins.listed(tx).get(test.key)
        name = fact("a-resin") if listed is None else listed.facts["name"]
        link = self.address(f"/resins/{test.key}/cup-test")
        message = fact("cup-hot", resin=name, cup=temperature(celsius, 0), link=link)
        title = fact("cup-hot-title", resin=name)
        for to in self.addresses.groups():
            message_of = NewMessage(alarm_id=None, why=outbox.HOT_CUP, to=to, title=title, body=message)
            outbox.add_message(tx, message_of, now_ms=self.timeline.now_ms())
        cup_tests.note_hot(tx, self.timeline.true_ms(), test, celsius)
