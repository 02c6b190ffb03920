"""Carries the outbox to the channels: a message is done when every channel of its group has taken it.

One channel at a time, each at most a bounded time. That a channel has taken a message is committed before the next
is tried, so a kill repeats at most the one message that was under way.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from logger.delivery.channels import WHOLE, Channel, shown
from logger.delivery.held import Held, HeldMessage, Progress
from logger.settings import Messages
from logger.store import outbox
from logger.store.boots import Timeline
from logger.store.database import Store, refuses

log = logging.getLogger(__name__)

#: Waits between tries, s: soon at first, then every five minutes for as long as it takes.
BACK_OFF_S = (5, 15, 30, 60, 120, 300)
#: A claim outlasts the longest that one channel can take by this, s.
CLAIM_MORE_S = 5.0


class Sender:
    """Sends what is due. One thread calls `send_due`; a channel that fails is not tried again in the same round."""

    def __init__(
        self,
        store: Store,
        timeline: Timeline,
        messages: Messages,
        channel: Channel,
        held: Held | None = None,
        told: Callable[[], None] = lambda: None,
    ) -> None:
        self._store = store
        self._timeline = timeline
        self._groups = {
            name: urls for name, urls in (("first", messages.urls), ("second", messages.second_urls)) if urls
        }
        self._channel = channel
        self._claim_ms = round((WHOLE * messages.timeout_s + CLAIM_MORE_S) * 1000)
        self._held = held or Held()
        self._told = told
        self._wake = threading.Event()

    def wake(self) -> None:
        """There may be something to send."""
        self._wake.set()

    def run(self, stop: threading.Event, idle_s: float = 2.0) -> None:
        """Sends until told to stop."""
        self._tidy()
        while not stop.is_set():
            self._wake.wait(idle_s)
            self._wake.clear()
            try:
                self.send_due(stop)
            except DBAPIError:
                # The messages wait in the database; the next round tries again.
                log.exception("the outbox cannot be read")

    def send_due(self, stop: threading.Event | None = None) -> int:
        """Tries every message that is due, once. Gives how many got through."""
        self._flush()
        down: dict[str, str] = {}
        tried: list[int] = []
        through = 0
        while stop is None or not stop.is_set():
            message = self._next(tried)
            if message is None:
                break
            tried.append(message.id)
            through += self._send(message, down)
        if tried:
            self._told()
        return through

    def _next(self, tried: list[int]) -> Any:
        now_ms = self._timeline.now_ms()
        with self._held.lock:
            # What the database does not know yet must not be sent again because it says so.
            done = [
                key for key, known in self._held.progress.items() if known.done or known.next_try_ms > now_ms
            ]
            with self._store.read() as connection:
                found = outbox.next_due(connection, now_ms, list(self._groups), [*tried, *done])
            return found or self._held.next_due(now_ms, tried)

    def _send(self, message: Any, down: dict[str, str]) -> bool:
        """Tries one message on each channel that has not taken it. True when all have."""
        urls = self._groups.get(message.to, [])
        known = self._held.progress.get(message.id)
        taken = set() if known is None else set(known.taken)
        if not isinstance(message, HeldMessage):
            with self._store.read() as connection:
                taken |= outbox.taken_by(connection, message.id)
        problems = []
        for url in urls:
            key = outbox.channel_key(url)
            if key in taken:
                continue  # tried again only where it failed: nobody is rung twice for one repeat
            if url in down:
                problems.append(down[url])
                continue
            if not self._claim(message):
                return False  # something newer has replaced it
            outcome = self._channel(url, message.title, message.body)
            if outcome.taken:
                taken.add(key)
                self._note_taken(message, key)
            else:
                down[url] = outcome.problem or f"{shown(url)}: did not take the message"
                problems.append(down[url])
        self._finish(message, "; ".join(problems))
        return not problems

    def _claim(self, message: Any) -> bool:
        until_ms = self._timeline.now_ms() + self._claim_ms
        claimed: list[bool] = []
        if self._written(message, lambda tx, row_id: claimed.append(outbox.claim(tx, row_id, until_ms))):
            return claimed[0]
        return True  # nobody else sends; that it cannot be noted must not keep it from being sent

    def _note_taken(self, message: Any, key: str) -> None:
        now_ms = self._timeline.now_ms()
        if not self._written(message, lambda tx, row_id: outbox.mark_taken(tx, row_id, key, now_ms)):
            self._progress(message).taken.add(key)

    def _finish(self, message: Any, problem: str) -> None:
        now_ms = self._timeline.now_ms()
        known = self._held.progress.get(self._held.id_now(message.id))
        attempts = message.attempts + (0 if known is None else known.attempts)
        next_ms = now_ms + BACK_OFF_S[min(attempts, len(BACK_OFF_S) - 1)] * 1000
        if problem:
            log.warning("message %s not delivered: %s", message.id, problem)

        def write(tx: Connection, row_id: int) -> None:
            if problem:
                outbox.mark_failed(tx, row_id, problem, next_ms)
            else:
                outbox.mark_sent(tx, row_id, now_ms)

        if not self._written(message, write):
            mine = self._progress(message)
            mine.attempts += 1
            mine.next_try_ms, mine.problem, mine.done = next_ms, problem, not problem

    def _written(self, message: Any, write: Callable[[Connection, int], object]) -> bool:
        """Writes of a message into the database; False when it has no row, or the database refuses."""
        with self._held.lock:
            row_id = self._held.id_now(message.id)
            if row_id < 0 or row_id in self._held.progress:
                return False  # in order: what is in memory is written first
            try:
                with self._store.write() as tx:
                    write(tx, row_id)
            except DBAPIError as error:
                if not refuses(error):
                    raise
                log.error("the outbox cannot be written, messages go on from memory: %s", error.orig)  # noqa: TRY400
                return False
        return True

    def _progress(self, message: Any) -> Progress:
        with self._held.lock:
            return self._held.progress.setdefault(self._held.id_now(message.id), Progress())

    def _flush(self) -> None:
        """Writes what could not be written before."""
        with self._held.lock:
            late = {row_id: known for row_id, known in self._held.progress.items() if row_id > 0}
            if not late:
                return
            now_ms = self._timeline.now_ms()
            try:
                with self._store.write() as tx:
                    for row_id, known in late.items():
                        for key in sorted(known.taken):
                            outbox.mark_taken(tx, row_id, key, now_ms)
                        if known.done:
                            outbox.mark_sent(tx, row_id, now_ms)
                        elif known.attempts:
                            outbox.mark_failed(tx, row_id, known.problem, known.next_try_ms)
            except DBAPIError as error:
                if not refuses(error):
                    raise
                return
            for row_id in late:
                del self._held.progress[row_id]

    def _tidy(self) -> None:
        """Once at the start: what has been overtaken, and what no channel is set for any more."""
        now_ms = self._timeline.now_ms()
        try:
            with self._store.write() as tx:
                outbox.release_claims(tx)
                outbox.give_up_others(tx, list(self._groups), now_ms)
                outbox.outdate_overtaken(tx, now_ms)
        except DBAPIError:
            log.exception("the outbox could not be tidied")
