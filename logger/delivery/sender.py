"""Carries the outbox to the channels: a message is done when every channel of its group has taken it.

One channel at a time, each at most a bounded time. That a channel has taken a message is committed before the next
is tried, so a kill repeats at most the one message that was under way.

What one channel does, or its address is, stops no other: a channel that is broken is told over those that are not.
A database that cannot be read or written stops nothing that is held in memory.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from logger.delivery.channel_health import ChannelHealth, groups_that_hear
from logger.delivery.channels import WHOLE, Channel, Outcome, shown
from logger.delivery.memory_outbox import HeldMessage, MemoryOutbox, Progress
from logger.settings import Messages
from logger.store import outbox
from logger.store.boots import Timeline
from logger.store.database import Store, refuses
from logger.store.outbox import NewMessage
from logger.units import DAY_MS

log = logging.getLogger(__name__)

#: Waits between tries, s: soon at first, then every five minutes for as long as it takes.
BACK_OFF_S = (5, 15, 30, 60, 120, 300)
#: A message that one channel of its group has taken waits so long at most for the others, ms.
REST_MS = DAY_MS
#: A channel that stays broken is told again after this, ms.
BROKEN_AGAIN_MS = DAY_MS
#: A claim outlasts the longest that one channel can take by this, s.
CLAIM_MORE_S = 5.0

#: What is told of broken channels over the others.
BROKEN_TITLE = "Messages do not reach every address"
BROKEN_BODY = (
    "The other addresses still get every message. Correct the address in the settings file, under [messages], and "
    "restart the service; then send a test message."
)


class Sender:
    """Sends what is due. One thread calls `send_due`; a channel that fails is not tried again in the same round."""

    def __init__(
        self,
        store: Store,
        timeline: Timeline,
        messages: Messages,
        channel: Channel,
        held: MemoryOutbox | None = None,
        told: Callable[[], None] = lambda: None,
    ) -> None:
        self._store = store
        self._timeline = timeline
        self._groups = {
            name: urls for name, urls in (("first", messages.urls), ("second", messages.second_urls)) if urls
        }
        self._channel = channel
        self._whole_s = WHOLE * messages.timeout_s
        self._claim_ms = round((self._whole_s + CLAIM_MORE_S) * 1000)
        self._held = held or MemoryOutbox()
        self._told = told
        self._wake = threading.Event()
        self._health = ChannelHealth()
        #: What was last told of broken channels, and when.
        self._told_broken: tuple[str, int] | None = None
        #: What keeps messages from being sent, for pages; None while all is well.
        self.trouble: str | None = None
        #: When the outbox was last read, and everything in it that was due was tried, steady.
        self.sent_ms: int | None = None
        #: Called when the loop has come round, and within a long round.
        self.came_round: Callable[[], None] = lambda: None
        self.still_at_it: Callable[[], None] = lambda: None

    @property
    def round_s(self) -> float:
        """The longest that may lie between two signs of the loop."""
        return 60.0 + self._whole_s

    def broken(self) -> list[str]:
        """Return what is wrong with each channel that does not only fail for the moment."""
        found = self._health.broken(self._timeline.now_ms())
        return sorted({failing.problem for failing in found.values()})

    def wake(self) -> None:
        """There may be something to send."""
        self._wake.set()

    def run(self, stop: threading.Event, idle_s: float = 2.0) -> None:
        """Send until told to stop."""
        self._prepare()
        self._tidy()
        while not stop.is_set():
            self._wake.wait(idle_s)
            self._wake.clear()
            self.send_due(stop)
            self.came_round()

    def _prepare(self) -> None:
        """Load the message library before it is needed: a disk that has died cannot be read any more."""
        prepare = getattr(self._channel, "prepare", None)
        if prepare is None:
            return
        wrong = prepare([url for urls in self._groups.values() for url in urls])
        for url, problem in wrong.items():
            log.error("no message will reach a channel: %s", problem)
            self._health.note(url, Outcome(False, problem, hopeless=True), self._timeline.now_ms())

    def send_due(self, stop: threading.Event | None = None) -> int:
        """Try every message that is due, once. Gives how many got through."""
        self._flush()
        before, self.trouble = self.trouble, None
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
        if self.trouble is not None and self.trouble != before:
            log.error(self.trouble)
        if self.trouble is None:
            self.sent_ms = self._timeline.now_ms()
            self._tell_broken()
        return through

    def _next(self, tried: list[int]) -> Any:
        now_ms = self._timeline.now_ms()
        with self._held.lock:
            # What the database does not know yet must not be sent again because it says so.
            done = [
                key for key, known in self._held.progress.items() if known.done or known.next_try_ms > now_ms
            ]
            try:
                with self._store.read() as connection:
                    found = outbox.next_due(connection, now_ms, list(self._groups), [*tried, *done])
            except SQLAlchemyError as error:
                # The messages wait in the database; the next round tries again. What is in memory goes out.
                self.trouble = f"the messages that wait cannot be read ({_short(error)})"
                found = None
            return found or self._held.next_due(now_ms, tried)

    def _send(self, message: Any, down: dict[str, str]) -> bool:
        """Try one message on each channel that has not taken it. True when all have."""
        urls = self._groups.get(message.to, [])
        if getattr(message, "why", None) == outbox.CHANNEL:
            # Not for those that it is about: it would reach them once they work again, and be wrong.
            urls = [url for url in urls if self._health.works(url)] or urls
        # An address that nothing can reach is told by itself; a message is done when all the others have taken it.
        urls = [url for url in urls if not self._health.hopeless(url)] or urls
        known = self._held.progress.get(message.id)
        taken = set() if known is None else set(known.taken)
        if not isinstance(message, HeldMessage):
            with self._store.read() as connection:
                taken |= outbox.taken_by(connection, message.id)
        problems: list[str] = []
        for url in urls:
            key = outbox.channel_key(url)
            if key in taken:
                continue  # tried again only where it failed: nobody is rung twice for one repeat
            if url in down:
                problems.append(down[url])
                continue
            if not self._claim(message):
                return False  # something newer has replaced it
            outcome = self._try(url, message)
            if outcome.taken:
                taken.add(key)
                self._note_taken(message, key)
            else:
                down[url] = outcome.problem or f"{shown(url)}: did not take the message"
                problems.append(down[url])
        self._finish(message, "; ".join(problems), some=bool(taken))
        return not problems

    def _try(self, url: str, message: Any) -> Outcome:
        """One message to one channel. Whatever goes wrong there is that channel's failure."""
        self.still_at_it()
        try:
            outcome = self._channel(url, message.title, message.body)
        except Exception as error:
            log.exception("%s failed", shown(url))
            outcome = Outcome(False, f"{shown(url)}: failed ({type(error).__name__})")
        self._health.note(url, outcome, self._timeline.now_ms())
        return outcome

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

    def _finish(self, message: Any, problem: str, *, some: bool) -> None:
        """Note how a message went. `some`: at least one channel of its group has taken it."""
        now_ms = self._timeline.now_ms()
        known = self._held.progress.get(self._held.id_now(message.id))
        attempts = message.attempts + (0 if known is None else known.attempts)
        next_ms = now_ms + BACK_OFF_S[min(attempts, len(BACK_OFF_S) - 1)] * 1000
        if problem:
            log.warning("message %s not delivered: %s", message.id, problem)

        # Somebody was told a day ago: a channel that is still away is told nothing that old.
        rest = some and not isinstance(message, HeldMessage) and now_ms - message.created_ms >= REST_MS

        def write(tx: Connection, row_id: int) -> None:
            if problem and rest:
                outbox.give_up(tx, row_id, problem, now_ms)
            elif problem:
                outbox.mark_failed(tx, row_id, problem, next_ms)
            else:
                outbox.mark_sent(tx, row_id, now_ms)

        if not self._written(message, write):
            mine = self._progress(message)
            mine.attempts += 1
            mine.next_try_ms, mine.problem, mine.done = next_ms, problem, not problem

    def _written(self, message: Any, write: Callable[[Connection, int], object]) -> bool:
        """Write of a message into the database; False when it has no row, or the database refuses."""
        with self._held.lock:
            row_id = self._held.id_now(message.id)
            if row_id < 0 or row_id in self._held.progress:
                return False  # in order: what is in memory is written first
            try:
                with self._store.write() as tx:
                    write(tx, row_id)
            except DBAPIError as error:
                # Whatever the reason: what a channel has taken must not be sent to it again.
                log.error("the outbox cannot be written, messages go on from memory: %s", error.orig)  # noqa: TRY400
                return False
        return True

    def _progress(self, message: Any) -> Progress:
        with self._held.lock:
            return self._held.progress.setdefault(self._held.id_now(message.id), Progress())

    def _flush(self) -> None:
        """Write what could not be written before."""
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
                    log.error("what has been sent cannot be noted yet: %s", error.orig)  # noqa: TRY400
                return
            for row_id in late:
                del self._held.progress[row_id]

    def _tidy(self) -> None:
        """Once at the start: what has been overtaken, and what no channel is set for any more."""
        now_ms = self._timeline.now_ms()
        try:
            with self._store.write() as tx:
                outbox.release_claims(tx)
                outbox.outdate_of(tx, outbox.CHANNEL, now_ms)
                outbox.give_up_others(tx, list(self._groups), now_ms)
                outbox.outdate_overtaken(tx, now_ms)
        except DBAPIError:
            log.exception("the outbox could not be tidied")

    def _tell_broken(self) -> None:
        """Write a message about channels that are broken for the others; withdraws it when they work again."""
        now_ms = self._timeline.now_ms()
        wrong = sorted({failing.problem for failing in self._health.broken_alone(now_ms).values()})
        text, told = "\n".join(wrong), self._told_broken
        if (told is None and not wrong) or (
            told is not None and told[0] == text and now_ms - told[1] < BROKEN_AGAIN_MS
        ):
            return
        hear = groups_that_hear(self._groups, self._health.works)
        if wrong and not hear:
            return
        body = f"{text}\n{BROKEN_BODY}"
        try:
            with self._store.write() as tx:
                outbox.outdate_of(tx, outbox.CHANNEL, now_ms)
                if wrong and not outbox.heard_since(tx, outbox.CHANNEL, body, now_ms - BROKEN_AGAIN_MS):
                    for to in hear:
                        outbox.add_message(
                            tx,
                            NewMessage(
                                alarm_id=None, why=outbox.CHANNEL, to=to, title=BROKEN_TITLE, body=body
                            ),
                            now_ms=now_ms,
                        )
        except DBAPIError as error:
            log.error("that a channel is broken could not be written: %s", error.orig)  # noqa: TRY400
            return
        self._told_broken = (text, now_ms) if wrong else None
        self._wake.set()


def _short(error: SQLAlchemyError) -> str:
    return str(error.orig if isinstance(error, DBAPIError) else error)[:200]
