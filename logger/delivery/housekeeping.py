"""What keeps the watch watched: the regular test message, the heartbeat to an outside watch, the reserve."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from logger.delivery.channels import shown
from logger.delivery.signed_links import Address
from logger.delivery.test_messages import trial_due, write_trials
from logger.settings import Messages
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.lease import LostLease

log = logging.getLogger(__name__)

#: The heartbeat is sent this often, and only while nothing holds it back, ms.
HEARTBEAT_MS = 60_000


def call_url(url: str, timeout_s: float) -> None:
    """Call the heartbeat's address. Raises OSError, without the address, when it does not answer with success."""
    # Imported when first needed: a service without a heartbeat never pays for it.
    import httpx

    try:
        answer = httpx.get(url, timeout=timeout_s, trust_env=False, follow_redirects=True)
    except Exception as error:  # whatever an address may be: it is the heartbeat's trouble alone
        raise OSError(f"{shown(url)}: {type(error).__name__}") from error
    if not answer.is_success:
        raise OSError(f"{shown(url)} answers {answer.status_code}")


class Housekeeping:
    """Does what is due. One thread calls `do_due`. `held_back`: why no heartbeat may go out now; None: it may."""

    def __init__(
        self,
        store: Store,
        timeline: Timeline,
        messages: Messages,
        *,
        held_back: Callable[[], str | None],
        address: Address,
        minute_of_day: Callable[[], int | None] = lambda: None,
        keep_reserve: Callable[[], object] = lambda: None,
        wrote: Callable[[], None] = lambda: None,
        call: Callable[[str, float], None] = call_url,
    ) -> None:
        self._store, self._timeline, self._messages = store, timeline, messages
        self._held_back, self._address, self._minute_of_day = held_back, address, minute_of_day
        self._keep_reserve, self._wrote, self._call = keep_reserve, wrote, call
        self._beat_ms: int | None = None
        #: What is wrong with the heartbeat, for pages; None while it is well or not wanted.
        self.unheard: str | None = None
        #: What else fails of the upkeep → a sentence, for pages.
        self.troubles: dict[str, str] = {}
        #: Why no heartbeat is sent now; None while it may be.
        self.held_back: str | None = None
        #: Called when the loop has come round.
        self.came_round: Callable[[], None] = lambda: None

    def run(self, stop: threading.Event, period_s: float = 10.0) -> None:
        """Do what is due until told to stop."""
        while not stop.is_set():
            self.do_due()
            self.came_round()
            stop.wait(period_s)

    def do_due(self) -> None:
        """One round: what fails of it keeps nothing else from being done."""
        for do, what in (
            (self._beat, "the heartbeat"),
            (self._keep_reserve, "the reserve"),
            (self._try_messages, "the regular test message"),
        ):
            try:
                do()
            except LostLease:
                raise
            except Exception as error:
                log.exception("%s failed; it is tried again", what)
                self.troubles[what] = f"{what} failed ({type(error).__name__}); it is tried again"
            else:
                self.troubles.pop(what, None)

    def _beat(self) -> None:
        url, now_ms = self._messages.heartbeat_url, self._timeline.now_ms()
        if url is None or (self._beat_ms is not None and now_ms - self._beat_ms < HEARTBEAT_MS):
            return
        why = self._held_back()
        if why != self.held_back and why is not None:
            log.warning("no heartbeat: %s", why)
        self.held_back = why
        if why is not None:
            return  # the silence tells it
        self._beat_ms = now_ms
        try:
            self._call(url, self._messages.timeout_s)
        except OSError as error:
            self.unheard = f"the heartbeat's address does not answer: {error}"
            log.warning(self.unheard)
        else:
            self.unheard = None

    def _try_messages(self) -> None:
        now_ms = self._timeline.now_ms()
        with self._store.read() as connection:
            due = trial_due(connection, self._messages, now_ms, self._minute_of_day())
        if due:
            with self._store.write() as tx:
                write_trials(tx, self._messages, now_ms, self._address, "It comes regularly.")
            self._wrote()
