"""What keeps the watch watched: the regular test message, the heartbeat to an outside watch, the reserve."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from sqlalchemy.exc import SQLAlchemyError

from logger.delivery.links import Address
from logger.delivery.trials import trial_due, write_trials
from logger.settings import Messages
from logger.store.boots import Timeline
from logger.store.database import Store

log = logging.getLogger(__name__)

#: The heartbeat is sent this often, and only while the watch has judged every live pour as recently, ms.
HEARTBEAT_MS = 60_000


def call_url(url: str, timeout_s: float) -> None:
    """Calls the heartbeat's address. Raises OSError when it does not answer with success."""
    # Imported when first needed: a service without a heartbeat never pays for it.
    import httpx

    try:
        httpx.get(url, timeout=timeout_s, trust_env=False, follow_redirects=True).raise_for_status()
    except (httpx.HTTPError, httpx.InvalidURL) as error:
        raise OSError(f"{type(error).__name__}: {error}") from error


class Upkeep:
    """Does what is due. One thread calls `do_due`."""

    def __init__(
        self,
        store: Store,
        timeline: Timeline,
        messages: Messages,
        *,
        judged_ms: Callable[[], int | None],
        address: Address,
        minute_of_day: Callable[[], int | None] = lambda: None,
        keep_reserve: Callable[[], object] = lambda: None,
        wrote: Callable[[], None] = lambda: None,
        call: Callable[[str, float], None] = call_url,
    ) -> None:
        self._store, self._timeline, self._messages = store, timeline, messages
        self._judged_ms, self._address, self._minute_of_day = judged_ms, address, minute_of_day
        self._keep_reserve, self._wrote, self._call = keep_reserve, wrote, call
        self._beat_ms: int | None = None
        #: What is wrong with the heartbeat, for pages; None while it is well or not wanted.
        self.trouble: str | None = None

    def run(self, stop: threading.Event, period_s: float = 10.0) -> None:
        """Does what is due until told to stop."""
        while not stop.is_set():
            try:
                self.do_due()
            except SQLAlchemyError:
                log.exception("the upkeep could not use the database; it is tried again")
            stop.wait(period_s)

    def do_due(self) -> None:
        """One round."""
        self._beat()
        self._keep_reserve()
        self._try_messages()

    def _beat(self) -> None:
        url, now_ms, judged_ms = self._messages.heartbeat_url, self._timeline.now_ms(), self._judged_ms()
        if url is None or (self._beat_ms is not None and now_ms - self._beat_ms < HEARTBEAT_MS):
            return
        if judged_ms is None or now_ms - judged_ms > HEARTBEAT_MS:
            return  # the watch does not stand: the silence tells it
        self._beat_ms = now_ms
        try:
            self._call(url, self._messages.timeout_s)
        except OSError as error:
            self.trouble = f"the heartbeat's address does not answer: {error}"
            log.warning(self.trouble)
        else:
            self.trouble = None

    def _try_messages(self) -> None:
        now_ms = self._timeline.now_ms()
        with self._store.read() as connection:
            due = trial_due(connection, self._messages, now_ms, self._minute_of_day())
        if due:
            with self._store.write() as tx:
                write_trials(tx, self._messages, now_ms, self._address, "It comes regularly.")
            self._wrote()
