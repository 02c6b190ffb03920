"""The watch beneath the watch: reports a core over its limit when the usual watch has not, from memory alone.

Its thread touches no database and no file, and sends straight to every channel. What it needs is read into memory by
another thread (`Memory`) whenever the database can be read. In the normal case it sends nothing: the usual watch raises
core-hot within a second or two of the reading, and this one waits for it.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select
from sqlalchemy.exc import SQLAlchemyError

from logger.alarms.notify_policy import NotifyReason
from logger.alarms.plain_limit import UNKNOWN_C, Over, PlainLimit, Watched
from logger.alarms.registry import KINDS
from logger.alarms.state import UP, AlarmState
from logger.delivery.shout import Shouter
from logger.delivery.wording import About, words
from logger.errors import LoggerError
from logger.facts import Fact, fact
from logger.pour import LIVE, Stage
from logger.quantities import temperature
from logger.store import events, lease, pours, stations
from logger.store.alarms import ALARM
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.rows import StationRow
from logger.store.shop_events import units_of
from logger.units import HOUR_MS

log = logging.getLogger(__name__)

#: The usual watch has so long from a reading's arrival until it must have raised core-hot, ms.
GRACE_MS = 15_000
#: Reported again as often as core-hot, ms: it cannot be acknowledged.
AGAIN_MS = round(KINDS["core-hot"].repeat_min * 60_000)
#: Where the usual watch works and does not agree, it takes so many readings in a row, and is reported once.
SURE = 3
#: What keeps pours from being watched as usual is reported after it has lasted so long, and again so much later, ms.
FAILS_MS, FAILS_AGAIN_MS = 60_000, HOUR_MS
#: How often the limits are read, s.
REFRESH_S = 5.0
#: The kind of event that records what was sent from memory.
TOLD = "told-from-memory"


@dataclass(frozen=True, slots=True)
class UsualWatch:
    """How the usual watch does.

    `reports`: whether it has reported a pour's hot core, or will at once. `problem`: why it does not watch a pour now;
    None while it does.
    """

    reports: Callable[[Watched], bool]
    problem: Callable[[Watched], str | None]


class PlainWatch:
    """Looks at the plain limit, and reports. One thread calls `step`.

    `workshop`: its name, for titles. `speed`: see schedule.py.
    """

    def __init__(
        self,
        limit: PlainLimit,
        shouter: Shouter,
        now_ms: Callable[[], int],
        usual: UsualWatch,
        *,
        workshop: str,
        speed: float = 1.0,
    ) -> None:
        self._limit, self._shouter, self._now_ms, self._usual = limit, shouter, now_ms, usual
        self._workshop, self._speed = workshop, speed
        #: Pour → when its hot core was last reported from here.
        self._reported_ms: dict[int, int] = {}
        #: Pour → since when it is not watched as usual, and when that was last reported.
        self._fails_since_ms: dict[int, int] = {}
        self._fails_reported_ms: int | None = None
        self._lock = threading.Lock()
        self._to_record: list[tuple[int, int, str]] = []
        #: Called when the loop has come round.
        self.came_round: Callable[[], None] = lambda: None

    def run(self, stop: threading.Event, period_s: float = 1.0) -> None:
        """Look and report until told to stop."""
        while not stop.is_set():
            self.step()
            self.came_round()
            stop.wait(period_s)

    def step(self) -> None:
        """Look once: at each pour, and at the usual watch."""
        now_ms = self._now_ms()
        over = {hot.pour.pour_id: hot for hot in self._limit.over()}
        for hot in over.values():
            self._look_at(hot, now_ms)
        for pour_id in [pour_id for pour_id in self._reported_ms if pour_id not in over]:
            self._report_over(pour_id, now_ms)
        self._look_at_the_watch(now_ms)
        self._shouter.send_due(now_ms)

    def reports_at(self, station_id: int) -> bool:
        """Return whether a hot core of a station's pours is being reported from here."""
        return any(
            pour.pour_id in self._reported_ms for pour in self._limit.pours() if pour.station_id == station_id
        )

    def reported(self, pour_id: int) -> Over | None:
        """Return a pour's hot core, while it is reported from here; None while it is not."""
        if pour_id not in self._reported_ms:
            return None
        return next((hot for hot in self._limit.over() if hot.pour.pour_id == pour_id), None)

    def take_unrecorded(self) -> list[tuple[int, int, str]]:
        """Return (pour, when, what) of everything that was sent and stands in no record yet; each is returned once."""
        with self._lock:
            unrecorded, self._to_record = self._to_record, []
        return unrecorded

    def put_back(self, unrecorded: list[tuple[int, int, str]]) -> None:
        """Put back what could not be recorded, for another try."""
        with self._lock:
            self._to_record = [*unrecorded, *self._to_record]

    def _look_at(self, hot: Over, now_ms: int) -> None:
        pour = hot.pour
        if self._usual.reports(pour):
            self._shouter.withdraw(_key(pour.pour_id))
            self._reported_ms.pop(pour.pour_id, None)
            return
        why, last_ms = self._usual.problem(pour), self._reported_ms.get(pour.pour_id)
        if now_ms - hot.since_ms < GRACE_MS * self._speed or (why is None and hot.in_a_row < SURE):
            return
        if last_ms is not None and (why is None or now_ms - last_ms < AGAIN_MS):
            return
        self._reported_ms[pour.pour_id] = now_ms
        reason = fact(
            "plain-core-over" if pour.from_plan else "plain-core-over-unknown",
            core=temperature(hot.celsius),
            limit=temperature(pour.limit_c),
        )
        text = words(
            KINDS["core-hot"],
            AlarmState(reason=reason),
            NotifyReason.FIRST_TIME if last_ms is None else NotifyReason.REPEAT_DUE,
            About(pour.title),
        )
        why = why or fact("plain-just-ended" if pour.ended else "plain-not-called")
        told = fact("plain-cannot-be-acknowledged", why=why)
        body = f"{text.body}\n{told}"
        log.critical("pour %s: %s (%s)", pour.pour_id, reason, why)
        self._shouter.post(_key(pour.pour_id), text.title, body, now_ms, pour.units)
        self._note(pour.pour_id, now_ms, fact("plain-told", reason=reason, why=why))

    def _report_over(self, pour_id: int, now_ms: int) -> None:
        del self._reported_ms[pour_id]
        pour = next((pour for pour in self._limit.pours() if pour.pour_id == pour_id), None)
        if pour is None:
            self._shouter.withdraw(_key(pour_id))
            return
        reason = fact("plain-core-back", limit=temperature(pour.limit_c))
        text = words(
            KINDS["core-hot"],
            AlarmState(reason=reason),
            NotifyReason.RETURNED,
            About(pour.title),
        )
        self._shouter.post(_key(pour_id), text.title, text.body, now_ms, pour.units)
        self._note(pour_id, now_ms, reason)

    def _look_at_the_watch(self, now_ms: int) -> None:
        failing: dict[str, list[Watched]] = {}
        live = self._limit.pours()
        for pour in live:
            why = self._usual.problem(pour)
            if why is None:
                self._fails_since_ms.pop(pour.pour_id, None)
            elif now_ms - self._fails_since_ms.setdefault(pour.pour_id, now_ms) >= FAILS_MS * self._speed:
                failing.setdefault(why, []).append(pour)
        for pour_id in set(self._fails_since_ms) - {pour.pour_id for pour in live}:
            del self._fails_since_ms[pour_id]
        if failing:
            if self._fails_reported_ms is None or now_ms - self._fails_reported_ms >= FAILS_AGAIN_MS:
                self._fails_reported_ms = now_ms
                self._report_failing(failing, now_ms)
        elif self._fails_reported_ms is not None and not self._fails_since_ms:
            self._fails_reported_ms = None
            title = fact("plain-watch-back-title", workshop=self._workshop)
            self._shout(title, [fact("plain-watch-back")], now_ms)

    def _report_failing(self, failing: dict[str, list[Watched]], now_ms: int) -> None:
        lines = [
            fact("plain-pours-not-watched", pours=[pour.title for pour in those], why=why)
            for why, those in failing.items()
        ]
        log.critical("pours are not watched as usual: %s", " ".join(lines))
        title = fact("plain-watch-fails-title", workshop=self._workshop)
        self._shout(title, [*lines, fact("plain-watch-fails")], now_ms)
        for why, those in failing.items():
            for pour in those:
                self._note(pour.pour_id, now_ms, fact("plain-not-watched", why=why))

    def _shout(self, title: Fact, lines: Sequence[Fact], now_ms: int) -> None:
        """Send word of the watch itself to every channel."""
        units = next((pour.units for pour in self._limit.pours()), None)
        self._shouter.post(_WATCH, title, "\n".join(lines), now_ms, units)

    def _note(self, pour_id: int, now_ms: int, text: str) -> None:
        with self._lock:
            self._to_record.append((pour_id, now_ms, text))


_WATCH = "watch"


def _key(pour_id: int) -> str:
    return f"core-hot/{pour_id}"


#: Pours whose core-hot is up.
_HOT = select(ALARM.c.pour_id).where(ALARM.c.kind == "core-hot", ALARM.c.phase.in_(UP))


class Memory:
    """Reads into memory what the plain limit needs, and records what was sent from it, when the database can."""

    def __init__(self, store: Store, timeline: Timeline, limit: PlainLimit) -> None:
        self._store, self._timeline, self._limit = store, timeline, limit
        self._limits: dict[int, tuple[float, bool]] = {}
        self._woken = threading.Event()
        #: Hash of a station's token → its row, of the stations of live pours.
        self.stations: dict[str, StationRow] = {}
        #: Pours with core-hot up by the database, and when that was read, steady.
        self.hot: frozenset[int] = frozenset()
        self.read_ms: int | None = None
        #: When the process that decides last judged every live pour, as it says; None where there is only one.
        self.judged_ms: int | None = None
        #: Whose messages are recorded here.
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
        """Have the limits read now: there may be a new pour. From any thread."""
        self._woken.set()

    def refresh(self) -> None:
        """Read the limits once. While the database cannot be read, they stay as they were."""
        try:
            with self._store.read() as connection:
                watched = self._watched(connection)
                rows = stations.by_ids(connection, {pour.station_id for pour in watched})
                hot = connection.execute(_HOT).scalars().all()
                held = lease.holding(connection)
        except SQLAlchemyError as error:
            log.warning("limits stay as they were last read: %s", getattr(error, "orig", error))
            return
        self._limit.set_pours(watched)
        self.stations = {row.token_hash: row for row in rows if row.token_hash is not None}
        self.hot, self.read_ms = frozenset(hot), self._timeline.now_ms()
        self.judged_ms = None if held is None else held.judged_ms
        self._limits = {pour.pour_id: self._limits[pour.pour_id] for pour in watched}
        self._record()

    def _watched(self, connection: Connection) -> list[Watched]:
        rows = pours.watched_pours(connection, self._timeline.true_ms())
        chosen = pours.probes_of_pours(connection, [row.id for row in rows])
        units = {shop_id: units_of(connection, shop_id) for shop_id in {row.shop_id for row in rows}}
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
                row.stage not in LIVE,
            )
            for row in rows
        ]

    def _limit_of(self, connection: Connection, pour_id: int) -> tuple[float, bool]:
        """Return a pour's limit, °C, and whether it is its plan's; where that cannot be read, a station's own limit."""
        from logger.plan.file import plan_from_text  # here: a start does not wait for it

        try:
            plan = plan_from_text(pours.get_pour(connection, pour_id).plan_toml, f"pour {pour_id}'s plan")
        except (LoggerError, TypeError, ValueError):
            log.exception("pour %s is watched by %g °C: its plan cannot be read", pour_id, UNKNOWN_C)
            return UNKNOWN_C, False
        return float(plan.resin.limits.max_core_c), True

    def _record(self) -> None:
        unrecorded = [] if self.watch is None else self.watch.take_unrecorded()
        if not unrecorded or self.watch is None:
            return
        try:
            with self._store.write() as tx:
                for pour_id, at_ms, text in unrecorded:
                    if pours.get_pour(tx, pour_id).stage == Stage.CLOSED:
                        continue  # its record was sealed meanwhile
                    true_ms = at_ms + self._timeline.shift_ms
                    events.add_event(tx, pour_id, true_ms, TOLD, events.WATCH, text)
        except SQLAlchemyError as error:
            self.watch.put_back(unrecorded)
            log.warning("what was sent from memory is recorded later: %s", getattr(error, "orig", error))
