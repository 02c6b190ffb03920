"""Takes batches from many stations at once: whoever comes while one group is being written waits for the next.

One transaction for a whole group: the disk is synced once for all of them, and none is answered before it was.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from logger.errors import LoggerError
from logger.facts import fact
from logger.store import stations
from logger.store.boots import Timeline
from logger.store.database import Store, refuses
from logger.store.reading_batches import ReadingBatch, Saved, save_batches
from logger.store.station_status import AtStation, at_stations
from logger.wire import StationHealth

log = logging.getLogger(__name__)

#: Batches in one transaction at most: a group is written in some ten milliseconds.
MOST = 64
#: A station that was refused and has not come again for so long is silent, which is an alarm of its own, ms.
FAILING_MS = 120_000


@dataclass(frozen=True, slots=True)
class BatchResult:
    """What was stored of a batch, and the station's status for the answer."""

    saved: Saved
    station: AtStation


@dataclass(slots=True)
class _Waiting:
    batch: ReadingBatch
    health: StationHealth | None
    version: str | None
    result: Future[BatchResult] = field(default_factory=Future)


class Intake:
    """Stores the batches of one service's stations. Safe to call from any thread.

    `stored`: called after each commit with the pours that got readings.
    """

    def __init__(
        self, store: Store, timeline: Timeline, stored: Callable[[frozenset[int]], None] = lambda _pours: None
    ) -> None:
        self._store, self._timeline, self._stored = store, timeline, stored
        self._queue: list[_Waiting] = []
        self._lock = threading.Lock()
        self._busy = False
        #: When a batch was last stored, on the service's steady timeline; None: not since the start.
        self.stored_ms: int | None = None
        #: Station → why its batches are not stored, until one is again, and when that was last so, steady.
        self._failing: dict[int, tuple[str, int]] = {}
        # One thread that writes: whoever waits is woken once, with an answer. Made with the first batch.
        self._writer = ThreadPoolExecutor(1, thread_name_prefix="intake")

    def take(
        self, batch: ReadingBatch, health: StationHealth | None = None, version: str | None = None
    ) -> BatchResult:
        """Store a batch, together with others that wait. `version`: the station's program, when it has changed.

        Raises Conflict, NotAllowed, and what the database raises.
        """
        return self.submit(batch, health, version).result()

    def submit(
        self, batch: ReadingBatch, health: StationHealth | None = None, version: str | None = None
    ) -> Future[BatchResult]:
        """Do as `take`, for a caller that must not wait: the future has its answer, or what it raises."""
        mine = _Waiting(batch, health, version)
        # What was sent is stored, whether or not anybody still waits for the answer.
        mine.result.set_running_or_notify_cancel()
        with self._lock:
            self._queue.append(mine)
            if not self._busy:
                self._writer.submit(self._write_all)
                self._busy = True
        return mine.result

    def failing(self, station_id: int) -> str | None:
        """Return why a station's batches are not stored; None while they are, or where it sends none any more."""
        why, at_ms = self._failing.get(station_id, ("", 0))
        return why if why and self._timeline.now_ms() - at_ms <= FAILING_MS else None

    @property
    def trouble(self) -> str | None:
        """Why batches are not stored; None while all is well."""
        for station_id in list(self._failing):
            if (why := self.failing(station_id)) is not None:
                return fact("readings-not-stored", why=why)
        return None

    def close(self) -> None:
        """Store what waits, and take nothing more."""
        self._writer.shutdown()

    def _write_all(self) -> None:
        while self._anybody_waits():
            self._write(self._next)

    def _anybody_waits(self) -> bool:
        """Return whether a batch waits; if none does, the next one submits the writer anew."""
        with self._lock:
            self._busy = bool(self._queue)
            return self._busy

    def _next(self) -> list[_Waiting]:
        """Return the next group: the oldest, at most one of each station."""
        with self._lock:
            group: dict[int, _Waiting] = {}
            for one in self._queue:
                if len(group) < MOST:
                    group.setdefault(one.batch.station_id, one)
            self._queue = [one for one in self._queue if group.get(one.batch.station_id) is not one]
        return list(group.values())

    def _write(self, choose: Callable[[], list[_Waiting]]) -> None:
        group: list[_Waiting] = []
        try:
            with self._store.write() as tx:
                # Chosen when it is our turn to write: who came while another process wrote is in the group.
                group = choose()
                results = self._save(tx, group)
        except Exception as error:  # noqa: BLE001 - handed to whoever waits for it
            group = group or choose()
            hopeless = isinstance(error, DBAPIError) and refuses(error)
            if len(group) > 1 and not hopeless:
                for one in group:  # one bad batch must not cost the others theirs
                    self._write(partial(list, [one]))
                return
            self._fail(group, error)
            return
        self.stored_ms = self._timeline.now_ms()
        for one in group:
            self._failing.pop(one.batch.station_id, None)
        self._notify_stored(results)
        for one, result in zip(group, results, strict=True):
            if isinstance(result, BatchResult):
                one.result.set_result(result)
            else:
                one.result.set_exception(result)

    def _notify_stored(self, results: Sequence[BatchResult | LoggerError]) -> None:
        saved = [result.saved.pours for result in results if isinstance(result, BatchResult)]
        try:
            self._stored(frozenset().union(*saved))
        except Exception:
            # The readings are stored: watch and pages look for new ones by themselves, only later.
            log.exception("that readings have come could not be told")

    def _fail(self, group: Sequence[_Waiting], error: Exception) -> None:
        if not isinstance(error, LoggerError):
            why = error.orig if isinstance(error, DBAPIError) else f"{type(error).__name__}: {error}"
            self._failing |= {one.batch.station_id: (str(why), self._timeline.now_ms()) for one in group}
        for one in group:
            if not one.result.done():
                one.result.set_exception(error)

    def _save(self, tx: Connection, group: Sequence[_Waiting]) -> list[BatchResult | LoggerError]:
        ids = [one.batch.station_id for one in group]
        results = save_batches(
            tx, [one.batch for one in group], self._timeline.true_ms(), clock_set=self._timeline.clock_set
        )
        for one, result in zip(group, results, strict=True):
            if one.health is not None and isinstance(result, Saved):
                stations.note_health(tx, one.batch.station_id, one.health)
            if one.version is not None and isinstance(result, Saved):
                stations.note_version(tx, one.batch.station_id, one.version)
        there = at_stations(tx, ids)
        return [
            result if isinstance(result, LoggerError) else BatchResult(result, there[at])
            for at, result in zip(ids, results, strict=True)
        ]
