"""Carries the outbox to the channels: a message is done when every channel of its group has taken it."""

from __future__ import annotations

import logging
import threading

from logger.delivery.channels import Channel
from logger.settings import Messages
from logger.store import outbox
from logger.store.boots import Timeline
from logger.store.database import Store

log = logging.getLogger(__name__)

#: Waits between tries, s: soon at first, then every five minutes for as long as it takes.
BACK_OFF_S = (5, 15, 30, 60, 120, 300)


class Sender:
    """Sends what is due. One thread calls `send_due`; a channel that hangs delays only the messages behind it."""

    def __init__(self, store: Store, timeline: Timeline, messages: Messages, channel: Channel) -> None:
        self._store = store
        self._timeline = timeline
        self._groups = {"first": messages.urls, "second": messages.second_urls}
        self._channel = channel
        self._taken: dict[int, set[str]] = {}
        self._wake = threading.Event()

    def wake(self) -> None:
        """There may be something to send."""
        self._wake.set()

    def run(self, stop: threading.Event, idle_s: float = 2.0) -> None:
        """Sends until told to stop."""
        while not stop.is_set():
            self._wake.wait(idle_s)
            self._wake.clear()
            self.send_due()

    def send_due(self) -> int:
        """Tries every message that is due, once. Gives how many got through."""
        with self._store.read() as connection:
            messages = outbox.due(connection, self._timeline.now_ms())
        through = 0
        for message in messages:
            taken = self._taken.setdefault(message.id, set())
            problems = []
            for url in self._groups.get(message.to, []):
                if url in taken:
                    continue  # tried again only where it failed: nobody is rung twice for one repeat
                outcome = self._channel(url, message.title, message.body)
                if outcome.taken:
                    taken.add(url)
                else:
                    problems.append(outcome.problem)
            now_ms = self._timeline.now_ms()
            with self._store.write() as tx:
                if problems:
                    wait_s = BACK_OFF_S[min(message.attempts, len(BACK_OFF_S) - 1)]
                    outbox.mark_failed(tx, message.id, "; ".join(problems), now_ms + wait_s * 1000)
                    log.warning("message %s not delivered: %s", message.id, "; ".join(problems))
                else:
                    outbox.mark_sent(tx, message.id, now_ms)
                    self._taken.pop(message.id, None)
                    through += 1
        return through
