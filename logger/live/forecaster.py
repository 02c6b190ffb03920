"""Forecasts of live and replayed pours: when one is due, from which readings, and what the alarms need of it.

A forecast at an hour looks only at readings up to that hour. It is computed away from the watch (in the service: in
a process of its own) and stored; the watch reads the newest.
"""

from __future__ import annotations

import logging
import math
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, CancelledError
from contextlib import nullcontext, suppress
from dataclasses import dataclass, replace

import numpy as np
from sqlalchemy import Connection

from logger.cure.forecast.decision import RAISE_OF, chance_needed, next_due_h, will_overheat
from logger.cure.forecast.forecast import MemberSample, SearchStart, forecast
from logger.cure.forecast.likelihood import OFFSET_C
from logger.cure.forecast.predictive import roll_forward
from logger.cure.forecast.section_view import to_draw
from logger.cure.forecast.what_if import what_if
from logger.cure.solver.fans import fan_effects, runs_of, runs_of_pour, switched_off, without_fan
from logger.errors import LoggerError
from logger.live.schedule import Pace
from logger.plan.file import plan_from_text
from logger.pour import LIVE
from logger.record.figures import Place, places_from
from logger.store import events, forecasts, pours, readings, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.rows import EventRow, Json, PourRow

log = logging.getLogger(__name__)

#: No forecast before this: the first readings say nothing yet, h.
FIRST_H = 1 / 12
#: Real seconds after a start before the first look at what is due: whoever opens a page then comes first.
FIRST_LOOK_S = 4.0
#: A pour for which none is due is looked at again after this at most, ms.
LOOK_AGAIN_MS = 60_000.0
#: From this chance on, what would help is worked out too, and forecasts come closer together.
WORTH_HELP = 0.15
#: So small a chance leaves nothing open that time would have to stand for.
SETTLED = 0.1
#: Up to this chance a pour is calm: before it becomes likely its core leaves the band.
UNLIKELY = 0.3
#: Members of a forecast, and of one of a pour whose last chance was as small as SETTLED: whether there are 1 or 3 of
#: them in 100 above the limit decides nothing.
MEMBERS, MEMBERS_SETTLED = 64, 32
#: A core this far outside the band of the last forecast has left it, K: twice what a probe may be off.
LEAVES_C = 2.0 * OFFSET_C
#: Once the core's peak is behind by this, h, or by this part of the pour's age if that is less, only the release is
#: still of interest; then one in so many hours.
PAST_PEAK_H, PAST_PEAK_PART, LATER_EVERY_H = 1.0, 0.1, 6.0


@dataclass(frozen=True, slots=True)
class ForecastTask:
    """One forecast to be made: of which plan, from which readings, at which hour after pouring.

    `start`: where the last forecast of the pour left the search: from there it takes half as long. `fan_ran`: see
    fan_runs; None: as the plan has it. `help_from`: the chance to pass the limit from which on what would help is
    worked out too. `members`: how many courses are drawn.
    """

    plan_toml: str
    history: dict[str, Place]
    at_h: float
    seed: int
    fan_ran: Sequence[tuple[float, float | None]] | None = None
    help_from: float = WORTH_HELP
    start: SearchStart | None = None
    members: int = MEMBERS


#: Calls a function with a task where that delays nobody, and returns its answer, or raises what it raises.
Compute = Callable[[Callable[[ForecastTask], Json], ForecastTask], Json]


def due_at_h(last: Json | None) -> float:
    """Return the hour at which the next forecast of a pour is due, after its last one as stored, or the first."""
    if last is None:
        return FIRST_H
    return float(last["next_at_h"]) if "next_at_h" in last else due_after([last])


def due_after(recent: Sequence[Json]) -> float:
    """Return the hour at which the next forecast is due while the core keeps to the last of `recent`, oldest first."""
    last, called = recent[-1], _called(recent)
    at_h, chance = float(last["at_h"]), last["chance_core_over_limit"]
    if peak_is_past(last):
        return at_h + LATER_EVERY_H
    # One that calls stands alone until the next: that is not put off.
    ahead_h = 0.0 if _calls(last) and not called else float(last["core_peak_at_h"]["p05"]) - at_h
    left_h = last["time_left_h"] if chance > WORTH_HELP and not called else None
    return next_due_h(at_h, left_h, ahead_h=ahead_h, calm=chance <= UNLIKELY or not _is_open(recent))


def due_early_h(last: Json, core: tuple[float, float] | None) -> float:
    """Return the hour from which on a forecast is due early: inf while the core keeps to the last one.

    `core`: hour and °C of its newest reading. It keeps to the forecast inside the 90 % band, or within LEAVES_C of it.
    """
    at_h = float(last["at_h"])
    if core is None or core[0] <= at_h or peak_is_past(last):
        return math.inf
    hours, course = last["bands"]["hours"], last["bands"]["core_c"]
    low, high = (float(np.interp(core[0], hours, course[name])) for name in ("p05", "p95"))
    keeps = low - LEAVES_C <= core[1] <= high + LEAVES_C
    return math.inf if keeps else next_due_h(at_h)


def peak_is_past(last: Json) -> bool:
    """Return whether a pour's last forecast has its core's peak well behind it."""
    at_h = float(last["at_h"])
    return bool(last["core_peak_at_h"]["p95"] < at_h - min(PAST_PEAK_H, PAST_PEAK_PART * at_h))


def _needed(body: Json) -> float:
    """Return the chance to be too hot that it takes to call at the time of a forecast."""
    return chance_needed(body["at_h"], (body.get("crosses_limit_at_h") or {}).get("p50"))


def _calls(body: Json) -> bool:
    """Return whether a forecast has that chance."""
    return bool(body["chance_core_over_limit"] >= _needed(body))


def _called(recent: Sequence[Json]) -> bool:
    """Return whether the limit is foretold to be passed. `recent`: a pour's last forecasts, oldest first."""
    return will_overheat(
        [body["chance_core_over_limit"] for body in recent], [_needed(body) for body in recent]
    )


def _is_open(recent: Sequence[Json]) -> bool:
    """Return whether a pour's peak is to come and may or may not be too hot. `recent`: last forecasts, oldest first."""
    if not recent:
        return True
    last = recent[-1]
    to_come = last["core_peak_at_h"]["p95"] >= last["at_h"]
    return bool(to_come and last["chance_core_over_limit"] > SETTLED and not _called(recent))


def history_of(connection: Connection, pour: PourRow) -> dict[str, Place]:
    """Return a pour's temperatures and faults so far, by place."""
    return places_from(
        [
            (
                (row.at_ms - pour.started_ms) / 3.6e6,
                row.place,
                None if row.milli_c is None else row.milli_c / 1000,
            )
            for row in readings.series(connection, pour.id)
            if row.milli_c is not None or row.fault is not None
        ]
    )


def fan_runs(switched: Sequence[EventRow], poured_ms: int, on_now: bool) -> list[tuple[float, float | None]]:
    """Return when a pour's fan has run, in hours after pouring (None: it still runs), from the events of switching it.

    One that was on before pouring began has run from the start.
    """
    steps = [((row.at_ms - poured_ms) / 3.6e6, bool(row.facts["on"])) for row in switched]
    on_first = not steps[0][1] if steps else on_now
    runs: list[tuple[float, float | None]] = [(0.0, None)] if on_first else []
    for at_h, on in steps:
        if on and not (runs and runs[-1][1] is None):
            runs.append((at_h, None))
        elif not on and runs and runs[-1][1] is None:
            runs[-1] = (runs[-1][0], at_h)
    return runs


def work_out(task: ForecastTask) -> Json:
    """Return one forecast as JSON, with what would help where that may be needed. Raises BadInput, DidNotConverge.

    Beside a running fan's cooling stands what would come of it without the fan: that is what decides whether it may
    stop.
    """
    plan, at_h = plan_from_text(task.plan_toml), task.at_h
    runs = runs_of(plan) if task.fan_ran is None else runs_of_pour(plan, task.fan_ran, at_h)
    current = forecast(
        plan,
        task.history,
        at_h=at_h,
        sample=MemberSample(task.members, task.seed),
        previous=task.start,
        fans=runs,
    )
    plan = without_fan(plan)
    if current.chance_core_over_limit >= task.help_from and at_h < current.core_peak_at_h.p95:
        current = replace(current, what_if=what_if(plan, current.state, current.ahead))
    body = current.to_json() | {"cut": to_draw(plan, task.history, current)}
    if fan_effects(plan, [run for run in runs if run.runs_at(at_h)]):
        stopped = switched_off(plan, at_h, np.asarray(current.state.members.top_factor))
        ahead = roll_forward(plan, current.state, more=[stopped])
        body["chance_without_fan"] = round(ahead.chance_over(plan.resin.limits.max_core_c), 4)
    return body


def _load(_task: ForecastTask) -> Json:
    """Do nothing: a worker that is called with it has loaded this module."""
    return {}


class Forecaster:
    """Makes forecasts of live pours when they are due, one at a time. `published`: called with the pour of each."""

    def __init__(
        self,
        store: Store,
        timeline: Timeline,
        compute: Compute,
        published: Callable[[int], None] = lambda _pour_id: None,
        pace: Pace | None = None,
    ) -> None:
        self._store = store
        self._timeline = timeline
        self._compute = compute
        self._published = published
        self._pace = pace or Pace()
        #: Pour → before when (steady, ms) nothing is due: only a forecast changes that, and only we make them.
        self._not_before_ms: dict[int, float] = {}

    def run(self, stop: threading.Event) -> None:
        """Make what is due until told to stop."""
        if self._pace.ready:
            with suppress(BrokenExecutor, CancelledError):  # ended before it began: the loop sees why
                self._compute(_load, ForecastTask("", {}, 0.0, 0))
        elif stop.wait(FIRST_LOOK_S):
            return
        while not stop.wait(self._pace.idle_s):
            self.make_due(stop)

    def make_due(self, stop: threading.Event | None = None) -> int:
        """Make one forecast of each live pour for which one is due. Return how many."""
        count = 0
        with self._store.read() as connection:
            live = pours.live_pours(connection)
        for pour in live:
            if stop is not None and stop.is_set():
                break
            if self._timeline.now_ms() < self._not_before_ms.get(pour.id, 0.0):
                continue
            try:
                count += self.make(pour.id)
            except (BrokenExecutor, CancelledError):
                # The worker was ended, by us when the service stops, or by the machine: it is started anew.
                if stop is None or not stop.is_set():
                    log.exception("pour %s: the forecast's process ended", pour.id)
            except LoggerError:
                # The watch goes on without it: the thermometer alarms stand. The page shows how old the last one is.
                log.exception("pour %s: no forecast could be made", pour.id)
        return count

    def make(self, pour_id: int) -> bool:
        """Make a pour's forecast from its readings so far, if one is due; return whether it was made."""
        with self._store.read() as connection:
            pour = pours.get_pour(connection, pour_id)
            row = forecasts.latest(connection, pour_id)
            last = None if row is None else row.body
            at_h = (self._timeline.true_ms() - pour.started_ms) / 3.6e6
            due_h = due_at_h(last)
            if last is not None and at_h < due_h:
                due_h = min(due_h, due_early_h(last, self._newest_core(connection, pour)))
            if at_h < due_h:
                self._wait(pour_id, due_h - at_h)
                return False
            # Looked for each second: the older bodies are read only where the newest says that it is time.
            recent = [row.body for row in forecasts.newest(connection, pour_id, RAISE_OF[1])]
            is_open, called = _is_open(recent), last is not None and _calls(last)
            apart_h = self._pace.apart_h
            if not is_open:
                apart_h = max(apart_h, self._pace.calm_h)
            elif called:
                apart_h = 0.0  # the next one may be the one that raises the alarm
            due_h = apart_h + (0.0 if last is None else float(last["at_h"]))
            if at_h < due_h:
                self._wait(pour_id, due_h - at_h)
                return False
            history = history_of(connection, pour)
            ran = fan_runs(
                events.of_kind(connection, pour_id, "fan"),
                pour.started_ms,
                stations.fan_is_on(connection, pour.station_id),
            )
        if not any(name.startswith("core") and len(place.good()[0]) for name, place in history.items()):
            return False
        help_from = math.inf if self._pace.help_late and not called else WORTH_HELP
        members = MEMBERS if last is None or last["chance_core_over_limit"] > SETTLED else MEMBERS_SETTLED
        start = SearchStart.of_json(last)
        task = ForecastTask(pour.plan_toml, history, at_h, pour_id, ran, help_from, start, members)
        with self._pace.hold() if is_open else nullcontext():
            body = self._compute(work_out, task)
        body |= {"next_at_h": round(due_after([*recent[1 - RAISE_OF[1] :], body]), 4)}
        with self._store.write() as tx:
            # While it was solved the pour may have ended, and its record been sealed: nothing is put in afterwards.
            if pours.get_pour(tx, pour_id).stage not in LIVE:
                return False
            forecasts.add_forecast(tx, pour_id, at_h, self._timeline.true_ms(), body)
        self._published(pour_id)
        return True

    @staticmethod
    def _newest_core(connection: Connection, pour: PourRow) -> tuple[float, float] | None:
        """Return hour and °C of the newest reading of the pour's core, None where there is none."""
        row = readings.newest_core(connection, pour.id)
        return None if row is None else ((row.at_ms - pour.started_ms) / 3.6e6, row.milli_c / 1000)

    def _wait(self, pour_id: int, hours: float) -> None:
        """Leave a pour alone for so long, but for a minute at most: its clock may be set meanwhile."""
        wait_ms = min(hours * 3.6e6, LOOK_AGAIN_MS)
        self._not_before_ms[pour_id] = self._timeline.now_ms() + wait_ms
