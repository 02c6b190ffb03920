"""Reads from the store what alarms are judged by: readings as sweeps, and facts on station, service and people."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Row

from logger.alarms.first_hour import Look, LookResult, Rhythm, summarize_looks
from logger.alarms.inputs import (
    FanState,
    ForecastAnswer,
    LiveReading,
    LooksSummary,
    RoomAir,
    ServiceFacts,
    StationFacts,
    WatchFacts,
    WetContact,
)
from logger.live.forecast_facts import answer_of
from logger.pour import Stage
from logger.store import contacts, events, forecasts, outbox, pours, stations
from logger.store.boots import Timeline
from logger.store.rows import JudgedPour, StationRow
from logger.units import HOUR_MS

#: A pour's new reading, as `readings.after` gives it: the driver's own row, since hundreds come at a time.
NewReading = Row[Any]

#: Rows of one sweep are taken within this time of its first, ms.
SWEEP_MS = 2500
#: Looks are asked for in the first hour, and stay due for an hour after it; then they are history, ms.
LOOKS_OVER_MS = 3 * HOUR_MS


class FactsReader:
    """Gathers the facts about a pour from the store; caches what is large or needed with every batch."""

    def __init__(
        self,
        timeline: Timeline,
        rhythm: Rhythm,
        disk_free_mb: Callable[[], float | None],
        refused: Callable[[int], str | None] = lambda _station_id: None,
    ) -> None:
        self._timeline = timeline
        self._rhythm = rhythm
        self._disk_free_mb = disk_free_mb
        self._refused = refused
        #: Pour → its newest forecast's id and answer.
        self._answers: dict[int, tuple[int, ForecastAnswer]] = {}
        #: Station → what its fan's proof contact last said.
        self._turning: dict[int, bool | None] = {}

    def forget(self) -> None:
        """Forget what was followed from reading to reading: it is read anew."""
        self._turning.clear()

    def facts(
        self, tx: Connection, pour: JudgedPour, rows: Sequence[NewReading], now_ms: int, ahead_ms: int = 0
    ) -> WatchFacts:
        """Return everything but the temperatures.

        `rows`: the readings that have come since the last time; `ahead_ms`: how far a station's clock may be ahead and
        still be right, in a simulation in lock-step.
        """
        shift_ms = self._timeline.shift_ms
        mine = [] if pour.station_id is None else [stations.by_id(tx, pour.station_id)]
        damp = [row for row in rows if row.milli_rh is not None]
        return WatchFacts(
            stations=tuple(
                StationFacts(
                    row.name,
                    None if row.last_seen_ms is None else row.last_seen_ms - shift_ms,
                    row.clock_set,
                    row.power_low,
                    row.disk_free_mb,
                    clock_off_ms=0 if 0 < (row.clock_off_ms or 0) <= ahead_ms else row.clock_off_ms,
                    refused=self._refused(row.id),
                    pin_faults=row.pin_faults,
                )
                for row in mine
            ),
            service=self._service_facts(tx, pour.id),
            forecast=self._answer(tx, pour, shift_ms),
            looks=self._looks(tx, pour, shift_ms, now_ms),
            fan=self._fan_facts(tx, mine, rows),
            air=RoomAir(damp[-1].milli_rh / 1000, damp[-1].at_ms - shift_ms) if damp else None,
        )

    def _fan_facts(
        self, tx: Connection, mine: Sequence[StationRow], rows: Sequence[NewReading]
    ) -> FanState | None:
        """Return the fan as commanded and as its proof contact shows; one that is off need not turn."""
        if not mine:
            return None
        station = mine[0]
        for row in rows:
            if row.place == "fan" and row.milli_c is None and row.fault is None:
                self._turning[station.id] = row.raw == "1"
        if not station.fan_on:
            return FanState(commanded=False)
        if station.id not in self._turning:
            self._turning[station.id] = contacts.fan_turns(tx, station.id)
        return FanState(commanded=True, turning=self._turning[station.id])

    def _service_facts(self, tx: Connection, pour_id: int) -> ServiceFacts | None:
        """Return the service's own troubles for the oldest live pour, so that they raise one alarm; else None."""
        if pour_id != (pours.oldest_live(tx) or pour_id):
            return None
        unsent = outbox.oldest_waiting_ms(tx)
        return ServiceFacts(disk_free_mb=self._disk_free_mb(), oldest_unsent_ms=unsent)

    def _looks(self, tx: Connection, pour: JudgedPour, shift_ms: int, now_ms: int) -> LooksSummary | None:
        """Return the looks of the first hour; None once they are history."""
        started_ms = pour.poured_ms - shift_ms
        if now_ms - started_ms > LOOKS_OVER_MS:
            return None
        looks = [
            Look(row.at_ms - shift_ms, row.by, LookResult(row.facts["finding"]), row.text)
            for row in events.of_kind(tx, pour.id, "look")
        ]
        summary = summarize_looks(started_ms, self._rhythm, looks, now_ms)
        # Once the first hour was called over, no more looks are asked for.
        return replace(summary, overdue_since_ms=None, over=True) if pour.stage == Stage.CURING else summary

    def _answer(self, tx: Connection, pour: JudgedPour, shift_ms: int) -> ForecastAnswer | None:
        """Return the newest forecast's answer, from the cache where it can: its body is large."""
        newest = forecasts.latest_id(tx, pour.id)
        if newest is None:
            return None
        cached = self._answers.get(pour.id)
        if cached is None or cached[0] != newest:
            row = forecasts.latest(tx, pour.id)
            assert row is not None
            cached = self._answers[pour.id] = (newest, answer_of(row.body, pour.poured_ms - shift_ms))
        return cached[1]


def contacts_in(rows: Sequence[NewReading], shift_ms: int) -> Iterator[WetContact]:
    """Yield the changes of contacts under the form, in the order in which they came."""
    for row in rows:
        if row.place.startswith("under-form"):
            yield WetContact(row.probe, row.raw == "1", row.at_ms - shift_ms)


def sweeps_in(rows: Sequence[NewReading], shift_ms: int) -> Iterator[list[LiveReading]]:
    """Yield rows in the order of their arrival, gathered into sweeps; contacts, which have no temperature, left out."""
    temperatures = [row for row in rows if row.milli_c is not None or row.fault is not None]
    first_ms = 0

    def sweep_of(row: NewReading) -> tuple[int, int, bool]:
        nonlocal first_ms
        if not 0 <= row.at_ms - first_ms <= SWEEP_MS:
            first_ms = row.at_ms
        return row.station_id, first_ms, row.late

    for (station_id, _first, _late), sweep in groupby(temperatures, sweep_of):
        yield [
            LiveReading(
                place=row.place,
                probe=row.probe,
                at_ms=row.at_ms - shift_ms,
                celsius=None if row.milli_c is None else row.milli_c / 1000,
                fault=row.fault,
                late=row.late,
                station=row.station_name,
                note=row.note,
            )
            for row in sweep
            if row.station_id == station_id
        ]
