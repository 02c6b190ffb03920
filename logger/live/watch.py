"""The watch: judges each live pour's new readings and the time that has passed, and stores what changed.

Reading, judging and writing happen in one transaction, so a kill at any moment leaves alarms, their messages and the
place up to which readings were judged in step with each other. A person's acknowledgement goes the same way.

When the database refuses to be written (a full disk), the watch goes on from memory: messages go out at once, and what
changed is written down when it can be.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from logger.alarms.band import Expected, expect
from logger.alarms.book import AlarmBook, Setup
from logger.alarms.first_hour import Rhythm
from logger.alarms.inputs import limits_of
from logger.alarms.notify_policy import LocalTime, Rules
from logger.alarms.state import Transition
from logger.alarms.state_json import JsonTable
from logger.delivery.compose import Composer, NotifiedTable, due_notifications
from logger.delivery.look_reminders import LookReminders
from logger.delivery.memory_outbox import MemoryOutbox
from logger.errors import LoggerError
from logger.facts import NOTHING, fact
from logger.live.facts_reader import FactsReader, contacts_in, sweeps_in
from logger.live.fan import FanSwitch
from logger.live.pour_now import PourNowReader
from logger.store import alarms, pours, readings
from logger.store.boots import Timeline
from logger.store.database import Store, refuses
from logger.store.lease import LostLease
from logger.store.rows import Json, JudgedPour

if TYPE_CHECKING:
    from logger.plan.file import Plan

log = logging.getLogger(__name__)

#: Rows judged in one transaction: the write lock is held for some ten milliseconds.
ROWS_A_TIME = 400
#: A round over all pours begins after so many times what the last one took, and at the latest after so many seconds:
#: health, heartbeat and the watchdog of the machine ask whether all were judged lately.
ROUNDS_APART, ROUND_DUE_S = 10, 15.0
#: A refusal of the database shows for at least so long: a small write that finds room proves nothing for readings.
REFUSED_MS = 30_000


@dataclass(slots=True)
class Unwritten:
    """What has happened to one pour's alarms since the database last took anything."""

    book: JsonTable
    notified: NotifiedTable
    judged: int
    changes: list[Transition] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """The settings of a workshop's watch. `link_base`: the address that phones reach, without a path."""

    link_base: str = ""
    rules: Rules = field(default_factory=lambda: Rules(first=0))
    rhythm: Rhythm = field(default_factory=Rhythm)
    fan_on_forecast: bool = False


class Watch:
    """Judges live pours. One thread runs it; `wake` may be called from any.

    `publish`: called with what has changed ("alarm", "pour") and the pour. `refused`: why a station's readings cannot
    be stored now, if they cannot.
    """

    def __init__(
        self,
        store: Store,
        timeline: Timeline,
        settings: WatchSettings,
        *,
        publish: Callable[[str, int | None], None] = lambda _kind, _pour: None,
        disk_free_mb: Callable[[], float | None] = lambda: None,
        refused: Callable[[int], str | None] = lambda _station_id: None,
    ) -> None:
        self._store = store
        self._timeline = timeline
        self._publish = publish
        self._rules = settings.rules
        self._composer = Composer(
            settings.rules,
            lambda path: f"{settings.link_base}{path}",
            PourNowReader(timeline, settings.rhythm),
        )
        self._reminders = LookReminders(
            settings.rules, lambda path: f"{settings.link_base}{path}", settings.rhythm, timeline
        )
        self._reader = FactsReader(timeline, settings.rhythm, disk_free_mb, refused)
        self._fans = FanSwitch(store, timeline, on_forecast=settings.fan_on_forecast)
        #: Messages that the database cannot take; the sender has the same.
        self.memory_outbox = MemoryOutbox()
        self._unwritten: dict[int, Unwritten] = {}
        self._rows: dict[int, int] = {}
        self._woken = threading.Event()
        #: Pours with new readings, and whether any pour may have some.
        self._fresh: set[int] = set()
        self._any_fresh = False
        self._fresh_lock = threading.Lock()
        self._setups: dict[int, Setup] = {}
        self._plans: dict[int, Plan] = {}
        #: Looks in the transaction of a judgement whether this process may still judge; raises LostLease.
        self.fence: Callable[[Connection], None] = lambda _tx: None
        #: Whether alarms may go on from memory when the database refuses: in the process that decides.
        self.may_go_on: Callable[[], bool] = lambda: True
        #: How far readings may be ahead of this clock: not at all, but in a simulation in lock-step (web/demo).
        self.ahead_ms = 0
        #: What keeps the watch from judging, for pages and health; None while it stands.
        self.trouble: str | None = None
        #: Refusals of the database so far, and when the last of them was noticed, steady.
        self._refusals, self._refused_ms = store.refusals, -REFUSED_MS
        #: When every live pour was last judged, be it from memory, steady; and when all of it was written down too.
        self.judged_ms: int | None = None
        self.decided_ms: int | None = None
        #: Live pour → when it was last judged, steady, and what is wrong with what is stored of it.
        self.judged: dict[int, int] = {}
        self.damaged: dict[int, str] = {}
        #: Pours with core-hot up, stored or held in memory: its messages go out in the usual way.
        self.hot: set[int] = set()
        #: Called when the loop has come round, and within a long round.
        self.came_round: Callable[[], None] = lambda: None
        self.still_at_it: Callable[[], None] = lambda: None

    def wake(self, *pour_ids: int) -> None:
        """Have pours with new readings judged at once; without any named: all of them."""
        with self._fresh_lock:
            self._fresh.update(pour_ids)
            self._any_fresh = self._any_fresh or not pour_ids
        self._woken.set()

    def use_rules(self, rules: Rules) -> None:
        """Notify by other rules from now on: somebody has come who is called, or has gone."""
        self._rules = rules
        self._composer = replace(self._composer, rules=rules)
        self._reminders = replace(self._reminders, rules=rules)

    def begin(self) -> None:
        """Start this process's term: forget what it remembers of readings that another has judged since."""
        self._reader.forget()
        self._unwritten.clear()
        self._rows.clear()

    def run(self, stop: threading.Event, period_s: float) -> None:
        """Judge until told to stop: a pour with new readings at once, all of them every `period_s` in any case.

        Where there are so many pours that all of them take long, rounds are further apart (`rounds_apart_s`): time
        alone moves alarms that wait for minutes, and pours with new readings go first in any case.
        """
        due_s = 0.0
        while not stop.is_set():
            self._woken.wait(max(0.0, due_s - time.monotonic()))
            self._woken.clear()
            if stop.is_set():
                return
            self._judge_fresh(stop)
            if time.monotonic() >= due_s:
                began_s = time.monotonic()
                self.judge_all(stop)
                took_s = time.monotonic() - began_s
                due_s = began_s + rounds_apart_s(period_s, took_s)
            self.came_round()

    def _judge_fresh(self, stop: threading.Event | None = None) -> None:
        """Judge the pours for which `wake` was called."""
        with self._fresh_lock:
            fresh, self._fresh = self._fresh, set()
            any_fresh, self._any_fresh = self._any_fresh, False
        if any_fresh:
            self.judge_all(stop)
            return
        for pour_id in fresh:
            if stop is not None and stop.is_set():
                return
            trouble = self._judge_one(pour_id, stop)
            if trouble is not None:
                self.trouble = trouble

    def judge_all(self, stop: threading.Event | None = None) -> None:
        """Judge every live pour up to its last reading and to now."""
        trouble: str | None = None
        try:
            self._timeline.learn()
        except DBAPIError:
            log.exception("that the clock has been set could not be written; it is tried again")
        try:
            with self._store.read() as connection:
                live = [pour.id for pour in pours.live_pours(connection)]
        except SQLAlchemyError as error:
            trouble = fact("pours-not-read", why=_describe(error))
            if trouble != self.trouble:
                log.exception("the live pours cannot be read")
            self.trouble = trouble
            return
        self._forget_all_but(live)
        for pour_id in live:
            if stop is not None and stop.is_set():
                return
            self.still_at_it()
            trouble = self._judge_one(pour_id, stop, fresh=False) or trouble
            if self._fresh and not self._any_fresh:
                self._judge_fresh(stop)
        if trouble is None:
            self.judged_ms = self._timeline.now_ms()
        try:
            for pour_id in self._fans.switch_due(live, self.fence):
                self._publish("pour", pour_id)
        except LostLease:
            return
        except Exception as error:
            log.exception("the fan cannot be switched")
            trouble = trouble or fact("fan-not-switched", why=_describe(error))
        if trouble is None and (self._unwritten or self._refused_lately()):
            refused = self._store.refused
            trouble = fact("database-refuses", why=fact("in-brackets", what=refused) if refused else NOTHING)
        elif trouble is None:
            self.decided_ms = self._timeline.now_ms()
        self.trouble = trouble

    def _forget_all_but(self, live: Collection[int]) -> None:
        """Forget the pours that are over."""
        over = [pour_id for pour_id in (*self.judged, *self.damaged, *self.hot) if pour_id not in live]
        for pour_id in over:
            self.judged.pop(pour_id, None)
            self.damaged.pop(pour_id, None)
            self.hot.discard(pour_id)

    def _refused_lately(self) -> bool:
        """Return whether the database has refused the last write, or any within the last half minute."""
        now_ms = self._timeline.now_ms()
        if self._store.refusals != self._refusals:
            self._refusals, self._refused_ms = self._store.refusals, now_ms
        return self._store.refused is not None or now_ms - self._refused_ms < REFUSED_MS

    def _judge_one(self, pour_id: int, stop: threading.Event | None, *, fresh: bool = True) -> str | None:
        """Judge one pour; return a sentence when it cannot be judged. A long backlog goes on after the next start."""
        try:
            if fresh or not self._stands_still(pour_id):
                while self.judge(pour_id):
                    self.still_at_it()
                    if stop is not None and stop.is_set():
                        break
        except LostLease:
            log.warning("another process judges pour %s now", pour_id)
        except Exception as error:
            # Whatever is stored of one pour must not stop the watch over the others; it is loud in the log and on
            # every page, and tried again with the next readings. Its core's limit is watched all the same: see
            # plain_limit.py.
            log.exception("pour %s cannot be judged", pour_id)
            return fact("pour-not-judged", pour=str(pour_id), why=_describe(error))
        else:
            self.judged[pour_id] = self._timeline.now_ms()
        return None

    def _stands_still(self, pour_id: int) -> bool:
        """Return whether to judge a pour now would change nothing.

        This only reads: a round over all pours that took the write lock for each would hold up the stations' batches.
        """
        if pour_id in self._unwritten:
            return False
        with self._store.read() as connection:
            pour = pours.to_judge(connection, pour_id)
            book = self.book_of(connection, pour)
            self._note_hot(pour_id, book)
            taken = self._take(connection, pour, book, pour.judged_reading_id)
            if taken.moved or taken.more:
                return False
            time_now = self._local_time()
            if self._reminders.due(connection, pour, book, time_now) is not None:
                return False
            return self._composer.nothing_due(connection, pour_id, book, _notified_of(pour), time_now)

    def judge(self, pour_id: int) -> bool:
        """Judge some of a pour's new readings; return whether there are more."""
        return self._change(pour_id, self._take, self.fence).more

    def _note_hot(self, pour_id: int, book: AlarmBook) -> None:
        """Note whether a pour's core-hot is up, once that is stored or held in memory."""
        if book.state("core-hot").up:
            self.hot.add(pour_id)
        else:
            self.hot.discard(pour_id)

    def act(
        self,
        alarm_id: int,
        by: str,
        act: Callable[[AlarmBook, str, int], list[Transition]],
        also: Callable[[Connection], None] = lambda _tx: None,
    ) -> None:
        """Do what a person does to an alarm: `act` gets the book, the alarm's key and now.

        `also` is done first, in the same transaction; what it raises undoes all. It is left out while the database
        refuses to be written. Raises NotFound, and what the act raises.
        """
        with self._store.read() as connection:
            pour_id = alarms.get_alarm(connection, alarm_id).of_pour

        def take(connection: Connection, _pour: JudgedPour, book: AlarmBook, judged: int) -> _Taken:
            alarm = alarms.get_alarm(connection, alarm_id)
            key = f"{alarm.kind}/{alarm.subject.partition('/')[2]}"
            return _Taken(book, act(book, key, self._timeline.now_ms()), judged, moved=True)

        self._change(pour_id, take, also)
        log.info("alarm %s: %s", alarm_id, by)
        self._publish("alarm", pour_id)

    # ---- what changes is stored, or held in memory until it can be --------------------------------

    def _change(
        self, pour_id: int, take: _Take, also: Callable[[Connection], None] = lambda _tx: None
    ) -> _Taken:
        try:
            # Tried twice: the first refusal of a full disk frees the reserve.
            try:
                taken, notified = self._change_stored(pour_id, take, also)
            except DBAPIError as error:
                if not refuses(error):
                    raise
                taken, notified = self._change_stored(pour_id, take, also)
        except DBAPIError as error:
            if not refuses(error) or not self.may_go_on():
                raise
            log.error("pour %s goes on from memory, the database refuses: %s", pour_id, error.orig)  # noqa: TRY400
            taken, notified = self._change_in_memory(pour_id, take)
        self._note_hot(pour_id, taken.book)
        if taken.changes or notified:
            self._publish("alarm", pour_id)
        return taken

    def _change_stored(
        self, pour_id: int, take: _Take, also: Callable[[Connection], None]
    ) -> tuple[_Taken, bool]:
        if pour_id not in self._unwritten:
            with self._store.write() as tx:
                also(tx)
                return self._write(tx, pours.to_judge(tx, pour_id), take)
        with self.memory_outbox.lock:
            with self._store.write() as tx:
                also(tx)
                result = self._write(tx, pours.to_judge(tx, pour_id), take)
            self._committed(pour_id)
        return result

    def _write(self, tx: Connection, pour: JudgedPour, take: _Take) -> tuple[_Taken, bool]:
        """Change a pour's book and store all that comes of it, first what happened while the database refused.

        Return what it came to, and whether there is something to send.
        """
        unwritten = self._unwritten.get(pour.id)
        if unwritten is None:
            book, before, judged = self.book_of(tx, pour), _notified_of(pour), pour.judged_reading_id
        else:
            book = AlarmBook.from_dict(self._setup(tx, pour), unwritten.book)
            before, judged = unwritten.notified, unwritten.judged
            alarms.save_changes(tx, pour.id, unwritten.changes, self._timeline.shift_ms)
            held = self.memory_outbox.of(pour.id)
            due = [message.notification for message in held]
            rows = self._composer.enqueue(tx, pour.id, pour.title, due, self._timeline.now_ms())
            self._rows = {message.id: row_id for message, row_id in zip(held, rows, strict=True)}
        taken = take(tx, pour, book, judged)
        alarms.save_changes(tx, pour.id, taken.changes, self._timeline.shift_ms)
        time_now = self._local_time()
        notified = self._composer.write_due(tx, pour, book, before, time_now)
        reminded = self._reminders.write_due(tx, pour, book, time_now)
        if taken.moved or unwritten is not None or notified != before:
            # "told" is the stored key.
            watchbook: Json = {"book": book.to_dict(), "told": notified}
            pours.save_watchbook(tx, pour.id, watchbook, taken.judged)
        return taken, reminded or notified != before

    def _committed(self, pour_id: int) -> None:
        """Note that the transaction of `_write` is committed: what was held in memory has its rows now."""
        if self._unwritten.pop(pour_id, None) is not None:
            self.memory_outbox.recorded(self._rows)
            log.warning("pour %s: what happened while the database refused is written down", pour_id)

    def _change_in_memory(self, pour_id: int, take: _Take) -> tuple[_Taken, bool]:
        with self.memory_outbox.lock, self._store.read() as connection:
            pour = pours.to_judge(connection, pour_id)
            before = self._unwritten.get(pour_id)
            if before is None:
                book = self.book_of(connection, pour)
                before = Unwritten(book.to_dict(), _notified_of(pour), pour.judged_reading_id)
            else:
                book = AlarmBook.from_dict(self._setup(connection, pour), before.book)
            taken = take(connection, pour, book, before.judged)
            due, notified = due_notifications(book, before.notified, self._rules, self._local_time())
            self.memory_outbox.put(pour_id, pour.title, due)
            changes = [*before.changes, *taken.changes]
            self._unwritten[pour_id] = Unwritten(book.to_dict(), notified, taken.judged, changes)
        return taken, bool(due)

    def _take(self, connection: Connection, pour: JudgedPour, book: AlarmBook, judged: int) -> _Taken:
        """Judge the readings after the last judged one, and the time that has passed."""
        rows = readings.after(connection, pour.id, judged, ROWS_A_TIME)
        before = book.to_dict()
        changes: list[Transition] = []
        now_ms, shift_ms = self._timeline.now_ms(), self._timeline.shift_ms
        facts = self._reader.facts(connection, pour, rows, now_ms, self.ahead_ms)
        # Each contact's change is judged: one that was wet for a moment has been wet.
        for contact in contacts_in(rows, shift_ms):
            changes += book.take((), replace(facts, contacts=(contact,)), min(contact.at_ms, now_ms))
        for sweep in sweeps_in(rows, shift_ms):
            taken = max(sample.at_ms for sample in sweep)
            # Late readings are judged at the time at which they came, others at their own. On a bench whose station is
            # ahead of everybody else the late ones come from ahead, too: at an earlier time they would be a silence.
            at_ms = min(taken, now_ms + self.ahead_ms)
            if sweep[0].late:
                at_ms = max(at_ms, now_ms)
            changes += book.take(sweep, facts, at_ms)
        more = len(rows) == ROWS_A_TIME
        if not more:
            changes += book.take((), facts, now_ms)
            self._fans.ask(pour.id, pour.station_id, self._plans[pour.id], book, facts.forecast)
        moved = rows or changes or {**before, "now_ms": 0} != {**book.to_dict(), "now_ms": 0}
        return _Taken(book, changes, rows[-1].id if rows else judged, moved=bool(moved), more=more)

    def book_of(self, connection: Connection, pour: JudgedPour) -> AlarmBook:
        """Return the pour's alarms as last stored, or new ones."""
        setup = self._setup(connection, pour)
        if pour.watchbook is None:
            return AlarmBook(setup)
        return AlarmBook.from_dict(setup, pour.watchbook["book"])

    def _local_time(self) -> LocalTime:
        return LocalTime(self._timeline.now_ms(), minute_of_day(self._timeline))

    def _setup(self, connection: Connection, pour: JudgedPour) -> Setup:
        started_ms = pour.poured_ms - self._timeline.shift_ms
        setup = self._setups.get(pour.id)
        if setup is None or setup.started_ms != started_ms:
            from logger.plan.file import plan_from_text  # here: a start does not wait for it

            whole = pours.get_pour(connection, pour.id)
            plan = plan_from_text(whole.plan_toml, f"pour {pour.id}'s plan")
            expected, release_at_h = self._predicted(pour.id, whole.prediction)
            setup = Setup(started_ms, limits_of(plan, release_at_h), expected)
            self._setups[pour.id], self._plans[pour.id] = setup, plan
        return setup

    def _predicted(self, pour_id: int, prediction: Json | None) -> tuple[Expected | None, float | None]:
        """Return a pour's predicted core, and the hour of its release.

        A prediction that cannot be used takes neither limits nor alarms away: what compares with it is left out, and
        `damaged` says so.
        """
        try:
            if prediction is None:
                raise TypeError("there is none")
            curve, release_at_h = prediction["curve"], prediction.get("release_at_h")
            expected = expect(curve["hours"], curve["core_c"])
            return expected, None if release_at_h is None else float(release_at_h)
        except (LoggerError, AttributeError, KeyError, TypeError, ValueError) as error:
            log.exception("pour %s is watched without its prediction", pour_id)
            self.damaged[pour_id] = fact("prediction-unusable", pour=str(pour_id), why=_describe(error))
            return None, None


@dataclass(frozen=True, slots=True)
class _Taken:
    """What a change to a pour's book came to. `judged`: the last reading judged; `moved`: something is to be stored."""

    book: AlarmBook
    changes: list[Transition]
    judged: int
    moved: bool
    more: bool = False


_Take = Callable[[Connection, JudgedPour, AlarmBook, int], _Taken]


def rounds_apart_s(period_s: float, took_s: float) -> float:
    """Return the seconds from the begin of a round that took `took_s` to the next one."""
    return max(period_s, min(ROUNDS_APART * took_s, ROUND_DUE_S))


def _describe(error: Exception) -> str:
    """Return what an error says, without a database's statement."""
    if isinstance(error, DBAPIError):
        return str(error.orig)
    return error.fact if isinstance(error, LoggerError) else f"{type(error).__name__}: {error}"


def _notified_of(pour: JudgedPour) -> NotifiedTable:
    return {} if pour.watchbook is None else dict(pour.watchbook["told"])


def minute_of_day(timeline: Timeline) -> int | None:
    """Return the minutes since midnight by the machine's time zone; None while nobody has set its clock."""
    if not timeline.clock_set:
        return None
    local = datetime.fromtimestamp(timeline.true_ms() / 1000, UTC).astimezone()
    return local.hour * 60 + local.minute
