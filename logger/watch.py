"""The watch: judges each live pour's new readings and the time that has passed, and puts what changed into the store.

Reading, judging and writing happen in one transaction, so a kill at any moment leaves alarms, their messages and the
place up to which readings were judged in step with each other. A person's acknowledgement goes the same way.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Row
from sqlalchemy.exc import SQLAlchemyError

from logger.alarms.expected import expect
from logger.alarms.first_hour import Finding, Look, Rhythm, looks_seen
from logger.alarms.state import Change
from logger.alarms.telling import Rules
from logger.alarms.view import (
    Air,
    Contact,
    Facts,
    Fan,
    ForecastAnswer,
    LooksSeen,
    Sample,
    ServiceFacts,
    StationFacts,
    limits_of,
)
from logger.alarms.watchbook import Setup, Watchbook
from logger.delivery.letters import write_letters
from logger.errors import LoggerError
from logger.forecasting import answer_of
from logger.plan_file import plan_from_text
from logger.store import alarms, events, forecasts, outbox, pours, readings, stations
from logger.store.boots import Timeline
from logger.store.database import Store

log = logging.getLogger(__name__)

AnyRow = Row[*tuple[Any, ...]]

#: Rows of one sweep are taken within this time of its first, ms.
SWEEP_MS = 2500
#: Looks are asked for in the first hour, and stay due for an hour after it; then they are history, ms.
LOOKS_OVER_MS = 3 * 3600_000
#: Rows judged in one transaction: the write lock is held for some ten milliseconds.
ROWS_A_TIME = 400


class Watch:
    """Judges live pours. One thread runs it; `wake` may be called from any."""

    def __init__(
        self,
        store: Store,
        timeline: Timeline,
        *,
        link_base: str,
        tell: Callable[[str, int | None], None] = lambda _kind, _pour: None,
        rules: Rules | None = None,
        disk_free_mb: Callable[[], float | None] = lambda: None,
    ) -> None:
        self._store = store
        self._timeline = timeline
        self._link_base = link_base
        self._tell = tell
        self._rules = rules or Rules(first=0)
        self._disk_free_mb = disk_free_mb
        self._woken = threading.Event()
        self._setups: dict[int, Setup] = {}
        self._answers: dict[int, tuple[int, ForecastAnswer]] = {}
        #: How far readings may be ahead of this clock: not at all, but in a simulation in lock-step (see web/demo.py).
        self.ahead_ms = 0
        #: What keeps the watch from judging, for pages and health; None while it stands.
        self.trouble: str | None = None

    def wake(self) -> None:
        """There are new readings."""
        self._woken.set()

    def run(self, stop: threading.Event, period_s: float) -> None:
        """Judges until told to stop: at once when woken, and every `period_s` without news."""
        while not stop.is_set():
            self._woken.wait(period_s)
            self._woken.clear()
            if not stop.is_set():
                self.judge_all()

    def judge_all(self) -> None:
        """Judges every live pour up to its last reading and to now."""
        with self._store.read() as connection:
            live = [pour.id for pour in pours.live_pours(connection)]
        for pour_id in live:
            try:
                while self.judge(pour_id):
                    pass
            except (LoggerError, SQLAlchemyError) as error:
                # One pour that cannot be judged, or a full disk, must not stop the watch over the others; it is loud
                # in the log and on every page, and tried again with the next readings.
                log.exception("pour %s cannot be judged", pour_id)
                self.trouble = f"pour {pour_id} cannot be judged: {error}"
            else:
                self.trouble = None

    def judge(self, pour_id: int) -> bool:
        """Judges some of a pour's new readings; True when there are more."""
        with self._store.write() as tx:
            pour = pours.to_judge(tx, pour_id)
            rows = readings.after(tx, pour_id, pour.judged_reading_id, ROWS_A_TIME)
            book = self.book_of(tx, pour)
            before = book.to_dict()
            changes: list[Change] = []
            now_ms, shift_ms = self._timeline.now_ms(), self._timeline.shift_ms
            facts = self._facts(tx, pour, rows, now_ms)
            for sweep in _sweeps(rows, shift_ms):
                taken = max(sample.at_ms for sample in sweep)
                # Late readings are judged at the time at which they came, others at their own.
                at_ms = now_ms if sweep[0].late else min(taken, now_ms + self.ahead_ms)
                changes += book.take(sweep, facts, at_ms)
            more = len(rows) == ROWS_A_TIME
            if not more:
                changes += book.take((), facts, now_ms)
            moved = rows or changes or {**before, "now_ms": 0} != {**book.to_dict(), "now_ms": 0}
            judged = rows[-1].id if rows else pour.judged_reading_id
            told = self._keep(tx, pour, book, changes, judged, changed=bool(moved))
        if changes or told:
            self._tell("alarm", pour_id)
        return more

    def act(self, alarm_id: int, by: str, act: Callable[[Watchbook, str, int], list[Change]]) -> None:
        """A person does something to an alarm: `act` gets the book, the alarm's key and now.

        Raises NotFound, and what the act raises.
        """
        with self._store.write() as tx:
            alarm = alarms.get_alarm(tx, alarm_id)
            pour = pours.to_judge(tx, alarm.pour_id)
            book = self.book_of(tx, pour)
            key = f"{alarm.kind}/{alarm.subject.partition('/')[2]}"
            changes = act(book, key, self._timeline.now_ms())
            self._keep(tx, pour, book, changes, pour.judged_reading_id, changed=True)
        log.info("alarm %s: %s", alarm_id, by)
        self._tell("alarm", pour.id)

    def book_of(self, connection: Connection, pour: AnyRow) -> Watchbook:
        """The pour's watchbook as it was last kept, or a new one."""
        setup = self._setup(connection, pour)
        if pour.watchbook is None:
            return Watchbook(setup)
        return Watchbook.from_dict(setup, pour.watchbook["book"])

    def _keep(
        self,
        tx: Connection,
        pour: AnyRow,
        book: Watchbook,
        changes: Sequence[Change],
        judged: int,
        *,
        changed: bool,
    ) -> bool:
        """Writes alarms, what is to be told of them, and the book; True when there is something to tell."""
        alarms.save_changes(tx, pour.id, changes, self._timeline.shift_ms)
        before = {} if pour.watchbook is None else pour.watchbook["told"]
        told = write_letters(
            tx, pour.id, pour.title, book, before, self._rules, self._timeline.now_ms(),
            _minute_of_day(self._timeline), lambda row_id: f"{self._link_base}/alarms/{row_id}",
        )  # fmt: skip
        if changed or told != before:
            pours.save_watchbook(tx, pour.id, {"book": book.to_dict(), "told": told}, judged)
        return told != before

    def _setup(self, connection: Connection, pour: AnyRow) -> Setup:
        started_ms = pour.poured_ms - self._timeline.shift_ms
        known = self._setups.get(pour.id)
        if known is None or known.started_ms != started_ms:
            whole = pours.get_pour(connection, pour.id)
            plan = plan_from_text(whole.plan_toml, f"pour {pour.id}'s plan")
            curve = whole.prediction["curve"]
            known = Setup(started_ms, limits_of(plan), expect(curve["hours"], curve["core_c"]))
            self._setups[pour.id] = known
        return known

    def _facts(self, tx: Connection, pour: AnyRow, rows: Sequence[Row[Any]], now_ms: int) -> Facts:
        shift_ms = self._timeline.shift_ms
        mine = [row for row in stations.all_stations(tx) if row.id == pour.station_id]
        wet = {
            row.probe: Contact(row.probe, row.raw == "1", row.at_ms - shift_ms)
            for row in rows
            if row.place == "under-form"
        }
        damp = [row for row in rows if row.milli_rh is not None]
        return Facts(
            stations=tuple(
                StationFacts(
                    row.name,
                    None if row.last_seen_ms is None else row.last_seen_ms - shift_ms,
                    row.clock_set,
                )
                for row in mine
            ),
            service=self._service_facts(tx, pour.id),
            forecast=self._answer(tx, pour, shift_ms),
            contacts=tuple(wet.values()),
            looks=self._looks(tx, pour, shift_ms, now_ms),
            fan=Fan(commanded=True) if any(row.fan_on for row in mine) else None,
            air=Air(damp[-1].milli_rh / 1000, damp[-1].at_ms - shift_ms) if damp else None,
        )

    def _service_facts(self, tx: Connection, pour_id: int) -> ServiceFacts | None:
        """The service's own troubles are told once, with the oldest live pour."""
        if pour_id != min((row.id for row in pours.live_pours(tx)), default=pour_id):
            return None
        unsent = outbox.oldest_waiting_ms(tx)
        return ServiceFacts(disk_free_mb=self._disk_free_mb(), oldest_unsent_ms=unsent)

    def _looks(self, tx: Connection, pour: AnyRow, shift_ms: int, now_ms: int) -> LooksSeen | None:
        """The looks of the first hour; None once they are history."""
        started_ms = pour.poured_ms - shift_ms
        if now_ms - started_ms > LOOKS_OVER_MS:
            return None
        looks = [
            Look(row.at_ms - shift_ms, row.by, Finding(row.data["finding"]), row.text)
            for row in events.of_kind(tx, pour.id, "look")
        ]
        return looks_seen(started_ms, Rhythm(), looks, now_ms)

    def _answer(self, tx: Connection, pour: AnyRow, shift_ms: int) -> ForecastAnswer | None:
        """The newest forecast's answer; kept, since its body is large and is asked for with every batch."""
        newest = forecasts.latest_id(tx, pour.id)
        if newest is None:
            return None
        known = self._answers.get(pour.id)
        if known is None or known[0] != newest:
            row = forecasts.latest(tx, pour.id)
            assert row is not None
            known = self._answers[pour.id] = (newest, answer_of(row.body, pour.poured_ms - shift_ms))
        return known[1]


def _sweeps(rows: Sequence[Row[Any]], shift_ms: int) -> Iterator[list[Sample]]:
    """Rows in the order of their arrival, gathered into sweeps. A contact's row is no temperature and is left out."""
    temperatures = [row for row in rows if row.milli_c is not None or row.fault is not None]
    first_ms = 0

    def sweep_of(row: Row[Any]) -> tuple[int, int, bool]:
        nonlocal first_ms
        if not 0 <= row.at_ms - first_ms <= SWEEP_MS:
            first_ms = row.at_ms
        return row.station_id, first_ms, row.late

    for (station_id, _first, _late), sweep in groupby(temperatures, sweep_of):
        yield [
            Sample(
                row.place,
                row.probe,
                row.at_ms - shift_ms,
                None if row.milli_c is None else row.milli_c / 1000,
                row.fault,
                row.late,
                row.station_name,
                row.note,
            )
            for row in sweep
            if row.station_id == station_id
        ]


def _minute_of_day(timeline: Timeline) -> int | None:
    """Minutes since midnight by the machine's time zone; None while nobody has set its clock."""
    if not timeline.clock_set:
        return None
    local = datetime.fromtimestamp(timeline.true_ms() / 1000, UTC).astimezone()
    return local.hour * 60 + local.minute
