"""Housekeeping of the service: the heartbeat to an outside watch, the regular test message, the disk reserve."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping

from logger.delivery.addresses import AddressBook
from logger.delivery.channels import shown
from logger.delivery.signed_links import Address
from logger.delivery.test_messages import trial_due, write_trials
from logger.settings import Messages
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.lease import LostLease
from logger.words.phrase import phrase

log = logging.getLogger(__name__)

#: The heartbeat is sent this often, and only while nothing holds it back, ms.
HEARTBEAT_MS = 60_000


def call_url(url: str, timeout_s: float) -> None:
    """Call the heartbeat's address. Raises OSError, without the address, when it does not answer with success."""
    # Imported when first needed: a service without a heartbeat never pays for it.
    import httpx

    try:
        answer = httpx.get(url, timeout=timeout_s, trust_env=False, follow_redirects=True)
    except Exception as error:  # an address that is none raises anything: it is the heartbeat's trouble alone
        raise OSError(f"{shown(url)}: {type(error).__name__}") from error
    if not answer.is_success:
        raise OSError(f"{shown(url)} answers {answer.status_code}")


class Heartbeat:
    """Calls an outside watch once a minute, which raises the alarm when the calls stop.

    `hold_back`: gives why no call may go out now; None: it may.
    """

    def __init__(
        self,
        messages: Messages,
        timeline: Timeline,
        hold_back: Callable[[], str | None],
        call: Callable[[str, float], None] = call_url,
    ) -> None:
        self._messages, self._timeline, self._hold_back, self._call = messages, timeline, hold_back, call
        self._beat_ms: int | None = None
        #: What is wrong with the address, for pages; None while it answers, or none is set.
        self.problem: str | None = None
        #: Why no call goes out now; None while it may.
        self.held_back: str | None = None

    def beat(self) -> None:
        """Call, if a call is due."""
        url, now_ms = self._messages.heartbeat_url, self._timeline.now_ms()
        if url is None or (self._beat_ms is not None and now_ms - self._beat_ms < HEARTBEAT_MS):
            return
        why = self._hold_back()
        if why != self.held_back and why is not None:
            log.warning("no heartbeat: %s", why)
        self.held_back = why
        if why is not None:
            return  # the outside watch raises the alarm at the silence
        self._beat_ms = now_ms
        try:
            self._call(url, self._messages.timeout_s)
        except OSError as error:
            self.problem = phrase("the heartbeat's address does not answer: {why}", why=str(error))
            log.warning(self.problem)
        else:
            self.problem = None


class RegularTestMessage:
    """Writes a test message at the interval of the settings. `written`: called when one waits in the outbox."""

    def __init__(
        self,
        store: Store,
        timeline: Timeline,
        addresses: AddressBook,
        address: Address,
        minute_of_day: Callable[[], int | None] = lambda: None,
        written: Callable[[], None] = lambda: None,
    ) -> None:
        self._store, self._timeline, self._addresses = store, timeline, addresses
        self._address, self._minute_of_day, self._written = address, minute_of_day, written

    def write_due(self) -> None:
        """Write one to each group of addresses, if it is due."""
        now_ms = self._timeline.now_ms()
        with self._store.read() as connection:
            self._addresses.read(connection)
            due = trial_due(connection, self._addresses, now_ms, self._minute_of_day())
        if due:
            with self._store.write() as tx:
                write_trials(tx, self._addresses, now_ms, self._address, phrase("It comes regularly."))
            self._written()


class Housekeeping:
    """Runs each task in turn (its name in a sentence → what to call). One thread calls `do_due`."""

    def __init__(self, tasks: Mapping[str, Callable[[], object]]) -> None:
        self._tasks = tasks
        #: Task that fails → a sentence, for pages.
        self.troubles: dict[str, str] = {}
        #: Called when the loop has come round.
        self.came_round: Callable[[], None] = lambda: None

    def run(self, stop: threading.Event, period_s: float = 10.0) -> None:
        """Run the tasks until told to stop."""
        while not stop.is_set():
            self.do_due()
            self.came_round()
            stop.wait(period_s)

    def do_due(self) -> None:
        """Run each task once: one that fails keeps no other from its turn. Raises LostLease."""
        for name, task in self._tasks.items():
            try:
                task()
            except LostLease:
                raise
            except Exception as error:
                log.exception("%s failed; it is tried again", name)
                self.troubles[name] = phrase(
                    "{task} failed ({error}); it is tried again", task=name, error=type(error).__name__
                )
            else:
                self.troubles.pop(name, None)
