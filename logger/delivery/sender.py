"""Carries the outbox to the channels: a message is done when every channel of its group has taken it.

One channel at a time, each at most a bounded time. That a channel has taken a message is committed before the next
is tried, so a kill repeats at most the one message that was under way.

No channel stops another, whatever it does or its address is: one that is broken is reported over those that work.
A database that cannot be read or written stops nothing that is held in memory.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import replace

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from logger.delivery.addresses import AddressBook
from logger.delivery.channel_health import ChannelHealth, Failing, groups_in_reach
from logger.delivery.channels import WHOLE, Channel, Outcome, not_taken, shown
from logger.delivery.memory_outbox import HeldMessage, MemoryOutbox, Progress
from logger.delivery.wording import in_words
from logger.errors import NotFound
from logger.settings import Messages
from logger.store import outbox
from logger.store.boots import Timeline
from logger.store.database import Store, refuses
from logger.store.outbox import NewMessage
from logger.store.rows import MessageRow
from logger.units import DAY_MS
from logger.words.phrase import phrase

log = logging.getLogger(__name__)

#: Waits between tries, s: soon at first, then every five minutes for as long as it takes.
BACK_OFF_S = (5, 15, 30, 60, 120, 300)
#: A message that one channel of its group has taken waits so long at most for the others, ms.
REST_MS = DAY_MS
#: A channel that stays broken is reported again after this, ms.
BROKEN_AGAIN_MS = DAY_MS
#: A claim outlasts the longest that one channel can take by this, s.
CLAIM_MORE_S = 5.0

#: The message about broken channels, to the others.
BROKEN_TITLE = phrase("Messages do not reach every address")
BROKEN_BODY = phrase(
    "The other addresses still get every message. Correct the address on the page “Messages to my phone”; one of the "
    "settings file there, under [messages], and restart the service. Then send a test message."
)


class Sender:
    """Sends what is due. One thread calls `send_due`; a channel that fails is not tried again in the same round.

    `memory`: messages that the database could not take. `tried`: called after each round in which something was tried.
    """

    def __init__(
        self,
        store: Store,
        timeline: Timeline,
        messages: Messages,
        channel: Channel,
        memory: MemoryOutbox | None = None,
        tried: Callable[[], None] = lambda: None,
        addresses: AddressBook | None = None,
    ) -> None:
        self._store = store
        self._timeline = timeline
        self._addresses = addresses or AddressBook(messages)
        #: Gives a pour's shop, where there may be several: its alarms go to its own people. None: there is one.
        self.shop_of_pour: Callable[[int], int] | None = None
        #: Addresses that the message library has seen.
        self._prepared: set[str] = set()
        self._channel = channel
        self._whole_s = WHOLE * messages.timeout_s
        self._claim_ms = round((self._whole_s + CLAIM_MORE_S) * 1000)
        self._memory = memory or MemoryOutbox()
        self._tried = tried
        self._wake = threading.Event()
        self._health = ChannelHealth()
        #: The problems of broken channels that were last reported, and when.
        self._reported: tuple[str, int] | None = None
        #: What keeps messages from being sent, for pages; None while all is well.
        self.trouble: str | None = None
        #: When the outbox was last read, and everything in it that was due was tried, steady.
        self.sent_ms: int | None = None
        #: Called when the loop has come round, and within a long round.
        self.came_round: Callable[[], None] = lambda: None
        self.still_at_it: Callable[[], None] = lambda: None

    @property
    def round_s(self) -> float:
        """The longest that may lie between two signs of the loop, s."""
        return 60.0 + self._whole_s

    def broken(self) -> list[str]:
        """Return what is wrong with each channel that does not only fail for the moment."""
        broken = self._health.broken(self._timeline.now_ms())
        return sorted({failing.problem for failing in broken.values()})

    def failing(self, url: str) -> Failing | None:
        """Return how one channel fails, where it does not only for the moment."""
        return self._health.broken(self._timeline.now_ms()).get(url)

    def wake(self) -> None:
        """Have the outbox looked at now: there may be something to send."""
        self._wake.set()

    def run(self, stop: threading.Event, idle_s: float = 2.0) -> None:
        """Send until told to stop."""
        self._look_up_addresses()
        self._tidy()
        while not stop.is_set():
            self._wake.wait(idle_s)
            self._wake.clear()
            self.send_due(stop)
            self.came_round()

    def _look_up_addresses(self) -> None:
        """Read whom messages go to; load the message library before it is needed: a disk that has died cannot be read
        any more.
        """
        self._addresses.read_from(self._store)
        every = self._addresses.every()
        self._health.forget_others(every)
        new = [url for url in every if url not in self._prepared]
        prepare = getattr(self._channel, "prepare", None)
        if prepare is None or not new:
            return
        self._prepared.update(new)
        for url, problem in prepare(new).items():
            log.error("no message will reach a channel: %s", problem)
            self._health.note(url, Outcome(False, problem, hopeless=True), self._timeline.now_ms())

    def send_due(self, stop: threading.Event | None = None) -> int:
        """Try every message that is due, once. Return how many got through."""
        self._look_up_addresses()
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
            self._tried()
        if self.trouble is not None and self.trouble != before:
            log.error(self.trouble)
        if self.trouble is None:
            self.sent_ms = self._timeline.now_ms()
            self._report_broken()
        return through

    def _next(self, tried: list[int]) -> MessageRow | HeldMessage | None:
        now_ms = self._timeline.now_ms()
        with self._memory.lock:
            # The database still calls due what could not be noted there: done, or to be tried later.
            done = [
                row_id
                for row_id, progress in self._memory.progress.items()
                if progress.done or progress.next_try_ms > now_ms
            ]
            try:
                with self._store.read() as connection:
                    due = outbox.next_due(connection, now_ms, list(self._addresses.groups()), [*tried, *done])
            except SQLAlchemyError as error:
                # The messages wait in the database; the next round tries again. What is in memory goes out.
                self.trouble = phrase("the messages that wait cannot be read ({why})", why=_short(error))
                due = None
            return due or self._memory.next_due(now_ms, tried)

    def _send(self, message: MessageRow | HeldMessage, down: dict[str, str]) -> bool:
        """Try one message on each channel that has not taken it. Return whether all have.

        `down`: channels that have failed in this round → their problem.
        """
        urls = self._addresses.urls(message.to, self._shop_of(message))
        if not urls:
            self._finish(
                message, phrase("nobody of that shop is called: {group}", group=message.to), some=False
            )
            return False
        if not isinstance(message, HeldMessage) and message.why == outbox.CHANNEL:
            # Not for those that it is about: it would reach them once they work again, and be wrong.
            urls = [url for url in urls if self._health.works(url)] or urls
        # An address that nothing can reach is reported by itself; the others are enough for a message.
        urls = [url for url in urls if not self._health.hopeless(url)] or urls
        progress = self._memory.progress.get(message.id)
        taken = set() if progress is None else set(progress.taken)
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
                down[url] = outcome.problem or not_taken(url)
                problems.append(down[url])
        self._finish(message, "; ".join(problems), some=bool(taken))
        return not problems

    def _shop_of(self, message: MessageRow | HeldMessage) -> int | None:
        """Return whose people a message is for; None: everybody, where it is about no pour, or cannot be told now."""
        if self.shop_of_pour is None:
            return None
        try:
            if isinstance(message, HeldMessage):
                return self.shop_of_pour(message.pour_id)
            with self._store.read() as connection:
                pour_id = outbox.pour_of(connection, message.id)
            return None if pour_id is None else self.shop_of_pour(pour_id)
        except (SQLAlchemyError, NotFound):
            return None

    def _try(self, url: str, message: MessageRow | HeldMessage) -> Outcome:
        """Send one message to one channel. Whatever goes wrong there is that channel's failure."""
        self.still_at_it()
        try:
            reader = self._addresses.reader_of(url, self._shop_of(message))
            reader = replace(reader, now_ms=self._timeline.true_ms())
            said = in_words(message.title, message.body, reader)
            outcome = self._channel(url, said.title, said.body)
        except Exception as error:
            log.exception("%s failed", shown(url))
            outcome = Outcome(
                False, phrase("{way}: failed ({error})", way=shown(url), error=type(error).__name__)
            )
        self._health.note(url, outcome, self._timeline.now_ms())
        return outcome

    def _claim(self, message: MessageRow | HeldMessage) -> bool:
        until_ms = self._timeline.now_ms() + self._claim_ms
        claimed: list[bool] = []
        if self._written(message, lambda tx, row_id: claimed.append(outbox.claim(tx, row_id, until_ms))):
            return claimed[0]
        return True  # nobody else sends; that it cannot be noted must not keep it from being sent

    def _note_taken(self, message: MessageRow | HeldMessage, key: str) -> None:
        now_ms = self._timeline.now_ms()
        if not self._written(message, lambda tx, row_id: outbox.mark_taken(tx, row_id, key, now_ms)):
            self._progress(message).taken.add(key)

    def _finish(self, message: MessageRow | HeldMessage, problem: str, *, some: bool) -> None:
        """Note how a message went. `some`: at least one channel of its group has taken it."""
        now_ms = self._timeline.now_ms()
        progress = self._memory.progress.get(self._memory.id_now(message.id))
        attempts = message.attempts + (0 if progress is None else progress.attempts)
        next_ms = now_ms + BACK_OFF_S[min(attempts, len(BACK_OFF_S) - 1)] * 1000
        if problem:
            log.warning("message %s not delivered: %s", message.id, problem)

        # Another channel took it a day ago: one that is still away gets nothing that old.
        rest = some and not isinstance(message, HeldMessage) and now_ms - message.created_ms >= REST_MS

        def write(tx: Connection, row_id: int) -> None:
            if problem and rest:
                outbox.give_up(tx, row_id, problem, now_ms)
            elif problem:
                outbox.mark_failed(tx, row_id, problem, next_ms)
            else:
                outbox.mark_sent(tx, row_id, now_ms)

        if not self._written(message, write):
            progress = self._progress(message)
            progress.attempts += 1
            progress.next_try_ms, progress.problem, progress.done = next_ms, problem, not problem

    def _written(self, message: MessageRow | HeldMessage, write: Callable[[Connection, int], object]) -> bool:
        """Write about a message into the database; return False when it has no row, or the database refuses."""
        with self._memory.lock:
            row_id = self._memory.id_now(message.id)
            if row_id < 0 or row_id in self._memory.progress:
                return False  # in order: what is in memory is written first
            try:
                with self._store.write() as tx:
                    write(tx, row_id)
            except DBAPIError as error:
                # Whatever the reason: what a channel has taken must not be sent to it again.
                log.error("the outbox cannot be written, messages go on from memory: %s", error.orig)  # noqa: TRY400
                return False
        return True

    def _progress(self, message: MessageRow | HeldMessage) -> Progress:
        with self._memory.lock:
            return self._memory.progress.setdefault(self._memory.id_now(message.id), Progress())

    def _flush(self) -> None:
        """Write what could not be written before."""
        with self._memory.lock:
            late = {row_id: progress for row_id, progress in self._memory.progress.items() if row_id > 0}
            if not late:
                return
            now_ms = self._timeline.now_ms()
            try:
                with self._store.write() as tx:
                    for row_id, progress in late.items():
                        for key in sorted(progress.taken):
                            outbox.mark_taken(tx, row_id, key, now_ms)
                        if progress.done:
                            outbox.mark_sent(tx, row_id, now_ms)
                        elif progress.attempts:
                            outbox.mark_failed(tx, row_id, progress.problem, progress.next_try_ms)
            except DBAPIError as error:
                if not refuses(error):
                    log.error("what has been sent cannot be noted yet: %s", error.orig)  # noqa: TRY400
                return
            for row_id in late:
                del self._memory.progress[row_id]

    def _tidy(self) -> None:
        """Put the outbox in order at the start: drop what is overtaken, and what no channel is set for any more."""
        now_ms = self._timeline.now_ms()
        try:
            with self._store.write() as tx:
                outbox.release_claims(tx)
                outbox.outdate_of(tx, outbox.CHANNEL, now_ms)
                outbox.give_up_others(tx, list(self._addresses.groups()), now_ms)
                outbox.outdate_overtaken(tx, now_ms)
        except DBAPIError:
            log.exception("the outbox could not be tidied")

    def _report_broken(self) -> None:
        """Write a message about broken channels to the others; withdraw it when they work again."""
        now_ms = self._timeline.now_ms()
        wrong = sorted({failing.problem for failing in self._health.broken_alone(now_ms).values()})
        text, last = "\n".join(wrong), self._reported
        if (last is None and not wrong) or (
            last is not None and last[0] == text and now_ms - last[1] < BROKEN_AGAIN_MS
        ):
            return
        reached = groups_in_reach(self._addresses.groups(), self._health.works)
        if wrong and not reached:
            return
        title, body = BROKEN_TITLE, f"{text}\n{BROKEN_BODY}"
        try:
            with self._store.write() as tx:
                outbox.outdate_of(tx, outbox.CHANNEL, now_ms)
                if wrong and not outbox.heard_since(tx, outbox.CHANNEL, body, now_ms - BROKEN_AGAIN_MS):
                    for to in reached:
                        outbox.add_message(
                            tx,
                            NewMessage(alarm_id=None, why=outbox.CHANNEL, to=to, title=title, body=body),
                            now_ms=now_ms,
                        )
        except DBAPIError as error:
            log.error("that a channel is broken could not be written: %s", error.orig)  # noqa: TRY400
            return
        self._reported = (text, now_ms) if wrong else None
        self._wake.set()


def _short(error: SQLAlchemyError) -> str:
    return str(error.orig if isinstance(error, DBAPIError) else error)[:200]
