"""Runs a recorded pour through the same ingest, comparison, forecast and alarm code as a live one, fast."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from hardware.bench.clock import SteppedClock
from hardware.clock import Stamp
from logger.cure.forecast.decision import NEEDED_LATE
from logger.cure.solver.prediction import MODEL_VERSION, predict
from logger.live.forecaster import Forecaster, ForecastTask, history_of, work_out
from logger.live.watch import Watch, WatchSettings
from logger.plan.file import Plan, plan_to_text
from logger.pour import Stage
from logger.record.gather import gather
from logger.record.readings_file import FileReading
from logger.store import alarms, pours, readings, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.store.rows import Json
from logger.wire import WireReading
from logger.words.reader import METRIC
from logger.words.render import say

#: Readings this close together reach the service in one batch, s.
TOGETHER_S = 60.0
#: A recording may begin this long before pouring, s.
BEFORE_S = 86_400.0
STATION, BY = "replay", "replay"


def replay(
    plan: Plan, rows: Sequence[FileReading], *, forecast_at: Sequence[float] = (), live_forecasts: bool = True
) -> Json:
    """Return the replay contract's object: alarms, forecasts and the record's figures.

    `forecast_at`: hours at which a forecast is reported. `live_forecasts`: forecast as often as a live pour would, so
    that the alarms that rest on forecasts are raised. Raises BadPlan, BadInput, DidNotConverge.
    """
    with tempfile.TemporaryDirectory(prefix="pourlog-replay-") as folder:
        store = Store(f"sqlite:///{Path(folder) / 'replay.sqlite3'}")
        try:
            return _Replay(store, plan, live_forecasts).run(rows, sorted(forecast_at))
        finally:
            store.close()


class _Replay:
    def __init__(self, store: Store, plan: Plan, live_forecasts: bool) -> None:
        self._store = store
        self._plan = plan
        self._live = live_forecasts
        self._clock = SteppedClock(boot_ms=round(2 * BEFORE_S * 1000))
        self._timeline = Timeline(store, self._clock)
        self._watch = Watch(store, self._timeline, WatchSettings())
        self._forecaster = Forecaster(store, self._timeline, self._here)
        self._pour_id = self._start()
        self._start_s = self._clock.stamp().boot_s

    def run(self, rows: Sequence[FileReading], forecast_at: Sequence[float]) -> Json:
        reported: list[Json] = []
        waiting = list(forecast_at)
        seq = 1
        for batch in _batches(rows):
            seq = self._take(batch, seq)
            at_h = batch[-1].elapsed_s / 3600
            while waiting and waiting[0] <= at_h + 1e-9:
                reported.append(self._forecast(waiting.pop(0)))
            if self._live:
                self._forecaster.make(self._pour_id)
                self._watch.judge(self._pour_id)
        reported += [self._forecast(at_h) for at_h in waiting]
        with self._store.read() as connection:
            poured_ms = pours.get_pour(connection, self._pour_id).started_ms
            record = gather(connection, self._pour_id, "")
            raised = alarms.alarms_of(connection, self._pour_id)
        return {
            "alarms": [
                {
                    "kind": row.kind,
                    "subject": row.subject.partition("/")[2],
                    "raised_h": _hours(row.raised_ms, poured_ms),
                    "cleared_h": _hours(row.returned_ms or row.ended_ms, poured_ms),
                    "priority": row.priority,
                    "reason": say(row.reason, METRIC),
                }
                for row in raised
            ],
            "forecasts": reported,
            "summary": record["figures"],
        }

    def _start(self) -> int:
        with self._store.write() as tx:
            station_id, _token = stations.enrol(tx, STATION, 0)
            pour_id = pours.add_pour(
                tx,
                PlannedPour(
                    title=self._plan.title,
                    client="",
                    plan_toml=plan_to_text(self._plan),
                    station_id=station_id,
                ),
                by=BY,
                now_ms=self._timeline.true_ms(),
            )
            pours.freeze_prediction(tx, pour_id, predict(self._plan).to_json(), MODEL_VERSION)
            for stage in (Stage.READY, Stage.POURING):
                pours.move_on(tx, pour_id, stage, BY, self._timeline)
        return pour_id

    def _take(self, batch: Sequence[FileReading], seq: int) -> int:
        last_s = batch[-1].elapsed_s
        behind_s = self._start_s + last_s - self._clock.stamp().boot_s
        if behind_s > 0:
            self._clock.advance(behind_s)
        now = self._clock.stamp()
        start_wall_ms = now.wall_ms - now.boot_ms + round(self._start_s * 1000)
        incoming = []
        for row in batch:
            at_ms = round(row.elapsed_s * 1000)
            stamp = Stamp(start_wall_ms + at_ms, now.boot_id, round(self._start_s * 1000) + at_ms, True)
            milli_c = None if row.celsius is None else round(row.celsius * 1000)
            incoming.append(WireReading(row.place, row.place, stamp, milli_c, row.fault, None, seq=seq))
            seq += 1
        with self._store.write() as tx:
            station = stations.by_name(tx, STATION)
            readings.save_batch(
                tx, ReadingBatch(station.id, STATION, now, incoming), self._timeline.true_ms()
            )
        while self._watch.judge(self._pour_id):
            pass
        return seq

    def _here(self, _function: object, task: ForecastTask) -> Json:
        """Forecast at once.

        A recording does not say when a fan ran: it is taken as planned. What would help is worked out where an alarm
        may say it.
        """
        return work_out(replace(task, fan_ran=None, help_from=NEEDED_LATE))

    def _forecast(self, at_h: float) -> Json:
        with self._store.read() as connection:
            pour = pours.get_pour(connection, self._pour_id)
            history = history_of(connection, pour)
        return work_out(ForecastTask(pour.plan_toml, history, at_h, 0))


def _batches(rows: Sequence[FileReading]) -> Iterator[list[FileReading]]:
    batch: list[FileReading] = []
    for row in rows:
        if batch and (row.elapsed_s - batch[0].elapsed_s > TOGETHER_S or len(batch) >= 400):
            yield batch
            batch = []
        batch.append(row)
    if batch:
        yield batch


def _hours(at_ms: int | None, poured_ms: int) -> float | None:
    return None if at_ms is None else round((at_ms - poured_ms) / 3.6e6, 4)
