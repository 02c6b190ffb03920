"""The watch beneath the watch: tells of a core over its limit when the usual way has not, from memory alone.

Its thread touches no database and no file, and sends straight to every channel. What it needs to know is read into
memory by another thread (`Memory`) whenever the database can be read. In the normal case it says nothing: the usual
judgement raises core-hot within a second or two of the reading, and this one waits for it.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from sqlalchemy import Connection, select
from sqlalchemy.exc import SQLAlchemyError

from logger.alarms.notify_policy import NotifyReason
from logger.alarms.plain_limit import UNKNOWN_C, Over, PlainLimit, Watched
from logger.alarms.registry import KINDS
from logger.alarms.state import UP, AlarmState
from logger.alarms.wording import words
from logger.delivery.shout import Shouter
from logger.errors import LoggerError
from logger.pour import Stage
from logger.quantities import METRIC, temperature, units_from
from logger.store import events, lease, pours, stations
from logger.store.alarms import ALARM
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.rows import StationRow
from logger.store.shop_events import units_of
from logger.units import HOUR_MS

log = logging.getLogger(__name__)

#: The usual judgement has so long from a reading's arrival until it must have told, ms.
GRACE_MS = 15_000
#: Told again as often as core-hot, ms: it cannot be acknowledged.
AGAIN_MS = round(KINDS["core-hot"].repeat_min * 60_000)
#: Where the usual judgement works and does not agree, it takes so many readings in a row, and is told once.
SURE = 3
#: What keeps pours from being watched as usual is told after it has lasted so long, and again so much later, ms.
FAILS_MS, FAILS_AGAIN_MS = 60_000, HOUR_MS
#: How often limits and channels are looked up, s.
REFRESH_S = 5.0
#: The event that keeps what was told from memory.
TOLD = "told-from-memory"


class PlainWatch:
    """Looks at the plain limit, and tells. One thread calls `step`.

    `handled`: whether a pour's hot core has been told in the usual way, or will be at once. `fails`: why a pour is not
    watched as usual now; None while it is. `speed`: see schedule.py.
    """

    def __init__(
        self,
        limit: PlainLimit,
        shouter: Shouter,
        now_ms: Callable[[], int],
        *,
        handled: Callable[[Watched], bool],
        fails: Callable[[Watched], str | None],
        about: str,
        speed: float = 1.0,
    ) -> None:
        self._limit, self._shouter, self._now_ms, self._about = limit, shouter, now_ms, about
        self._handled, self._fails, self._speed = handled, fails, speed
        #: Pour → when its hot core was last told from here.
        self._told_ms: dict[int, int] = {}
        #: Pour → since when it is not watched as usual.
        self._fails_since_ms: dict[int, int] = {}
        self._fails_told_ms: int | None = None
        self._lock = threading.Lock()
        self._to_note: list[tuple[int, int, str]] = []
        #: Called when the loop has come round.
        self.came_round: Callable[[], None] = lambda: None

    def run(self, stop: threading.Event, period_s: float = 1.0) -> None:
        """Look and tell until told to stop."""
        while not stop.is_set():
            self.step()
            self.came_round()
            stop.wait(period_s)

    def step(self) -> None:
        """One look."""
        now_ms = self._now_ms()
        over = {found.pour.pour_id: found for found in self._limit.over()}
        for found in over.values():
            self._look_at(found, now_ms)
        for pour_id in [pour_id for pour_id in self._told_ms if pour_id not in over]:
            self._over(pour_id, now_ms)
        self._look_at_the_watch(now_ms)
        self._shouter.send_due(now_ms)

    def told_at(self, station_id: int) -> bool:
        """Whether a hot core of a station's pours is being told from here."""
        return any(
            pour.pour_id in self._told_ms for pour in self._limit.pours() if pour.station_id == station_id
        )

    def telling(self, pour_id: int) -> Over | None:
        """Return a pour's hot core, while it is told from here; None while it is not."""
        if pour_id not in self._told_ms:
            return None
        return next((found for found in self._limit.over() if found.pour.pour_id == pour_id), None)

    def to_note(self) -> list[tuple[int, int, str]]:
        """(pour, when, what) of everything that was told and stands in no record yet; given out once."""
        with self._lock:
            given, self._to_note = self._to_note, []
        return given

    def not_noted(self, given: list[tuple[int, int, str]]) -> None:
        """Put back what could not be written down: it is given out again."""
        with self._lock:
            self._to_note = [*given, *self._to_note]

    def _look_at(self, found: Over, now_ms: int) -> None:
        pour = found.pour
        if self._handled(pour):
            self._shouter.withdraw(_key(pour.pour_id))
            self._told_ms.pop(pour.pour_id, None)
            return
        why, last_ms = self._fails(pour), self._told_ms.get(pour.pour_id)
        if now_ms - found.since_ms < GRACE_MS * self._speed or (why is None and found.in_a_row < SURE):
            return
        if last_ms is not None and (why is None or now_ms - last_ms < AGAIN_MS):
            return
        self._told_ms[pour.pour_id] = now_ms
        whose = "the resin's limit of" if pour.known else "the limit for a pour of unknown plan,"
        reason = (
            f"The core reads {temperature(found.celsius)}: it is over {whose} {temperature(pour.limit_c)}."
        )
        text = words(
            KINDS["core-hot"],
            AlarmState(reason=reason),
            NotifyReason.FIRST_TIME if last_ms is None else NotifyReason.REPEAT_DUE,
            pour.title,
            units=pour.units,
        )
        why = why or "the usual judgement has not called it"
        body = f"{text.body}\nTold by the plain limit check, from memory: {why}. It cannot be acknowledged."
        log.critical("pour %s: %s (%s)", pour.pour_id, METRIC.shown(reason), why)
        self._shouter.tell(_key(pour.pour_id), text.title, body, now_ms)
        self._note(pour.pour_id, now_ms, f"{reason} Told by the plain limit check, from memory: {why}.")

    def _over(self, pour_id: int, now_ms: int) -> None:
        del self._told_ms[pour_id]
        pour = next((pour for pour in self._limit.pours() if pour.pour_id == pour_id), None)
        if pour is None:
            self._shouter.withdraw(_key(pour_id))
            return
        reason = f"The core is back below its limit of {temperature(pour.limit_c)}."
        text = words(
            KINDS["core-hot"], AlarmState(reason=reason), NotifyReason.RETURNED, pour.title, units=pour.units
        )
        self._shouter.tell(_key(pour_id), text.title, text.body, now_ms)
        self._note(pour_id, now_ms, reason)

    def _look_at_the_watch(self, now_ms: int) -> None:
        failing: dict[str, list[Watched]] = {}
        live = self._limit.pours()
        for pour in live:
            why = self._fails(pour)
            if why is None:
                self._fails_since_ms.pop(pour.pour_id, None)
            elif now_ms - self._fails_since_ms.setdefault(pour.pour_id, now_ms) >= FAILS_MS * self._speed:
                failing.setdefault(why, []).append(pour)
        for pour_id in set(self._fails_since_ms) - {pour.pour_id for pour in live}:
            del self._fails_since_ms[pour_id]
        if failing:
            if self._fails_told_ms is None or now_ms - self._fails_told_ms >= FAILS_AGAIN_MS:
                self._fails_told_ms = now_ms
                self._tell_failing(failing, now_ms)
        elif self._fails_told_ms is not None and not self._fails_since_ms:
            self._fails_told_ms = None
            body = "Every pour is judged again, and its alarms are told as usual."
            self._shouter.tell(_WATCH, f"Over: Pours are not watched as usual - {self._about}", body, now_ms)

    def _tell_failing(self, failing: dict[str, list[Watched]], now_ms: int) -> None:
        lines = [f"{', '.join(pour.title for pour in those)}: {why}." for why, those in failing.items()]
        body = "\n".join([*lines, FAILING])
        log.critical("pours are not watched as usual: %s", " ".join(lines))
        self._shouter.tell(_WATCH, f"URGENT: Pours are not watched as usual - {self._about}", body, now_ms)
        for why, those in failing.items():
            for pour in those:
                self._note(pour.pour_id, now_ms, f"Not watched as usual, told from memory: {why}.")

    def _note(self, pour_id: int, now_ms: int, text: str) -> None:
        with self._lock:
            self._to_note.append((pour_id, now_ms, text))


#: What the message says about a watch that does not work.
FAILING = (
    "Go there and look; read a thermometer by hand until this is mended. Only a core over its limit is still told, "
    "from the memory of the service: no forecast, no lost probe, no leak. Where a disk or card has failed, do not "
    "restart the service: it might not start again."
)
_WATCH = "watch"


def _key(pour_id: int) -> str:
    return f"core-hot/{pour_id}"


#: Pours whose core-hot is up.
_HOT = select(ALARM.c.pour_id).where(ALARM.c.kind == "core-hot", ALARM.c.phase.in_(UP))


class Memory:
    """Reads into memory what the plain limit needs, and writes down what was told from it, when the database can."""

    def __init__(self, store: Store, timeline: Timeline, limit: PlainLimit) -> None:
        self._store, self._timeline, self._limit = store, timeline, limit
        self._limits: dict[int, tuple[float, bool]] = {}
        self._woken = threading.Event()
        #: Hash of a station's token → its row, of the stations of live pours.
        self.stations: dict[str, StationRow] = {}
        #: Pours of which the database says that core-hot is up, and when it was asked, steady.
        self.hot: frozenset[int] = frozenset()
        self.read_ms: int | None = None
        #: When the process that decides last judged every live pour, as it says; None where there is only one.
        self.judged_ms: int | None = None
        #: Given out for the record; see PlainWatch.
        self.watch: PlainWatch | None = None
        #: Called when the loop has come round.
        self.came_round: Callable[[], None] = lambda: None

    def run(self, stop: threading.Event, period_s: float = REFRESH_S) -> None:
        """Refresh until told to stop."""
        while not stop.is_set():
            self._woken.clear()
            self.refresh()
            self.came_round()
            self._woken.wait(period_s)

    def wake(self) -> None:
        """There may be a pour that is not known yet. From any thread."""
        self._woken.set()

    def refresh(self) -> None:
        """Once. While the database cannot be read, what is known stays."""
        try:
            with self._store.read() as connection:
                known = self._watched(connection)
                rows = stations.by_ids(connection, {pour.station_id for pour in known})
                hot = connection.execute(_HOT).scalars().all()
                held = lease.holding(connection)
        except SQLAlchemyError as error:
            log.warning("limits stay as they were last read: %s", getattr(error, "orig", error))
            return
        self._limit.know(known)
        self.stations = {row.token_hash: row for row in rows if row.token_hash is not None}
        self.hot, self.read_ms = frozenset(hot), self._timeline.now_ms()
        self.judged_ms = None if held is None else held.judged_ms
        self._limits = {pour.pour_id: self._limits[pour.pour_id] for pour in known}
        self._write_down()

    def _watched(self, connection: Connection) -> list[Watched]:
        rows = pours.watched_pours(connection)
        chosen = pours.probes_of_pours(connection, [row.id for row in rows])
        units = {
            shop_id: units_from(units_of(connection, shop_id)) for shop_id in {row.shop_id for row in rows}
        }
        for row in rows:
            if row.id not in self._limits:
                self._limits[row.id] = self._limit_of(connection, row.id)
        return [
            Watched(
                row.id,
                row.title,
                row.station_id,
                *self._limits[row.id],
                chosen[row.id],
                row.station,
                row.poured_ms,
                units[row.shop_id],
            )
            for row in rows
        ]

    def _limit_of(self, connection: Connection, pour_id: int) -> tuple[float, bool]:
        """Return a pour's limit, °C, and whether it is its plan's: of a plan that cannot be read, what a station
        watches.
        """
        from logger.plan.file import plan_from_text  # here: a start does not wait for it

        try:
            plan = plan_from_text(pours.get_pour(connection, pour_id).plan_toml, f"pour {pour_id}'s plan")
        except (LoggerError, TypeError, ValueError):
            log.exception("pour %s is watched by %g °C: its plan cannot be read", pour_id, UNKNOWN_C)
            return UNKNOWN_C, False
        return float(plan.resin.limits.max_core_c), True

    def _write_down(self) -> None:
        given = [] if self.watch is None else self.watch.to_note()
        if not given or self.watch is None:
            return
        try:
            with self._store.write() as tx:
                for pour_id, at_ms, text in given:
                    if pours.get_pour(tx, pour_id).stage == Stage.CLOSED:
                        continue  # its record was sealed meanwhile
                    true_ms = at_ms + self._timeline.shift_ms
                    events.add_event(tx, pour_id, true_ms, TOLD, "the watch", text)
        except SQLAlchemyError as error:
            self.watch.not_noted(given)
            log.warning("what was told from memory is written down later: %s", getattr(error, "orig", error))
