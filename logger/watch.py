"""The watch: judges each live pour's new readings and the time that has passed, and puts what changed into the store.

Reading, judging and writing happen in one transaction, so a kill at any moment leaves alarms, their messages and the
place up to which readings were judged in step with each other. A person's acknowledgement goes the same way.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Row

from logger.alarms.expected import expect
from logger.alarms.state import Change
from logger.alarms.view import Contact, Facts, ForecastAnswer, Sample, StationFacts, limits_of
from logger.alarms.watchbook import Setup, Watchbook
from logger.delivery.letters import messages_for
from logger.errors import LoggerError
from logger.forecasting import answer_of
from logger.plan_file import plan_from_text
from logger.store import alarms, forecasts, pours, readings, stations
from logger.store.boots import Timeline
from logger.store.database import Store

log = logging.getLogger(__name__)

AnyRow = Row[*tuple[Any, ...]]

#: Rows of one sweep are taken within this time of its first, ms.
SWEEP_MS = 2500
#: A station's clock may be ahead of the service's by this; a reading from further ahead is judged as of now, ms.
AHEAD_MS = 600_000
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
        groups: Sequence[str] = (),
    ) -> None:
        self._store = store
        self._timeline = timeline
        self._link_base = link_base
        self._tell = tell
        self._groups = tuple(groups)
        self._woken = threading.Event()
        self._setups: dict[int, Setup] = {}
        self._answers: dict[int, tuple[int, ForecastAnswer]] = {}

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
            except LoggerError:
                # One pour that cannot be judged must not stop the watch over the others; it is loud in the log and
                # on its page, since its readings stay unjudged.
                log.exception("pour %s cannot be judged", pour_id)

    def judge(self, pour_id: int) -> bool:
        """Judges some of a pour's new readings; True when there are more."""
        with self._store.write() as tx:
            pour = pours.to_judge(tx, pour_id)
            rows = readings.after(tx, pour_id, pour.judged_reading_id, ROWS_A_TIME)
            book = self.book_of(tx, pour)
            before = book.to_dict()
            changes: list[Change] = []
            facts = self._facts(tx, pour)
            now_ms, shift_ms = self._timeline.now_ms(), self._timeline.shift_ms
            for sweep in _sweeps(rows, shift_ms):
                taken = max(sample.at_ms for sample in sweep)
                # Late readings are judged at the time at which they came; others at their own, also when the
                # station's clock is a little ahead of ours.
                at_ms = now_ms if sweep[0].late else min(taken, now_ms + AHEAD_MS)
                changes += book.take(sweep, facts, at_ms)
            more = len(rows) == ROWS_A_TIME
            if not more:
                changes += book.take((), self._with_contacts(facts, rows, shift_ms), now_ms)
            after = book.to_dict()
            if rows or changes or {**before, "now_ms": 0} != {**after, "now_ms": 0}:
                judged = rows[-1].id if rows else pour.judged_reading_id
                pours.save_watchbook(tx, pour_id, after, judged)
            self._write(tx, pour, changes)
        if changes:
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
            pours.save_watchbook(tx, pour.id, book.to_dict(), pour.judged_reading_id)
            self._write(tx, pour, changes)
        log.info("alarm %s: %s", alarm_id, by)
        self._tell("alarm", pour.id)

    def book_of(self, connection: Connection, pour: AnyRow) -> Watchbook:
        """The pour's watchbook as it was last kept, or a new one."""
        setup = self._setup(connection, pour)
        return Watchbook(setup) if pour.watchbook is None else Watchbook.from_dict(setup, pour.watchbook)

    def _write(self, tx: Connection, pour: AnyRow, changes: Sequence[Change]) -> None:
        ids = alarms.save_changes(tx, pour.id, changes, self._timeline.shift_ms)
        for change, alarm_id in zip(changes, ids, strict=True):
            messages_for(tx, pour, change, alarm_id, self._groups, self._link_base, self._timeline.now_ms())

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

    def _facts(self, tx: Connection, pour: AnyRow) -> Facts:
        shift_ms = self._timeline.shift_ms
        mine = [row for row in stations.all_stations(tx) if row.id == pour.station_id]
        return Facts(
            forecast=self._answer(tx, pour, shift_ms),
            stations=tuple(
                StationFacts(
                    row.name,
                    None if row.last_seen_ms is None else row.last_seen_ms - shift_ms,
                    row.clock_set,
                )
                for row in mine
            ),
        )

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

    def _with_contacts(self, facts: Facts, rows: Sequence[Row[Any]], shift_ms: int) -> Facts:
        wet = {
            row.probe: Contact(row.probe, row.raw == "1", row.at_ms - shift_ms)
            for row in rows
            if row.place == "under-form"
        }
        return facts if not wet else replace(facts, contacts=tuple(wet.values()))


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
