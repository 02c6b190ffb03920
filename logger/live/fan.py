"""Switches each station's fan by its rules, from what every pour that it blows on asks for, and records it."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Connection

from logger.alarms.book import AlarmBook
from logger.alarms.fan_rule import By, FanNow, FanRequest, Switch, decide, forecast_request, planned_request
from logger.alarms.inputs import ForecastAnswer
from logger.facts import cut, fact
from logger.store import events, stations
from logger.store.boots import Timeline
from logger.store.database import Store

if TYPE_CHECKING:  # a start does not wait for plans
    from logger.plan.file import Plan

log = logging.getLogger(__name__)

#: The alarms that a fan helps with.
HELPS = ("core-hot", "core-will-overheat")


@dataclass(frozen=True, slots=True)
class _Asked:
    station_id: int
    requests: tuple[FanRequest, ...]


class FanSwitch:
    """What each live pour asks of its station's fan; `switch_due` commands what follows from it."""

    def __init__(self, store: Store, timeline: Timeline, *, on_forecast: bool) -> None:
        self._store, self._timeline, self._on_forecast = store, timeline, on_forecast
        self._asked: dict[int, _Asked] = {}

    def ask(
        self, pour_id: int, station_id: int | None, plan: Plan, book: AlarmBook, answer: ForecastAnswer | None
    ) -> None:
        """Note what a pour asks for now."""
        if station_id is None or not (plan.fan or self._on_forecast):
            self._asked.pop(pour_id, None)
            return
        started_ms = book.setup.started_ms
        requests = []
        if plan.fan:
            times = [
                (started_ms + round(t.from_h * 3.6e6), started_ms + round(t.to_h * 3.6e6)) for t in plan.fan
            ]
            requests.append(planned_request(times, self._timeline.now_ms()))
        if self._on_forecast:
            states = [book.state(kind) for kind in HELPS]
            limit_c = plan.resin.limits.max_core_c
            requests.append(forecast_request(states, answer, book.believed_c("core"), limit_c, started_ms))
        self._asked[pour_id] = _Asked(station_id, tuple(requests))

    def switch_due(
        self, live: Iterable[int], fence: Callable[[Connection], None] = lambda _tx: None
    ) -> list[int]:
        """Command what is due; return the pours whose fan was switched. `live`: pours that are watched.

        `fence` checks in the transaction that this process may still decide.
        """
        watched = set(live)
        self._asked = {pour: asked for pour, asked in self._asked.items() if pour in watched}
        switched: list[int] = []
        for station_id in {asked.station_id for asked in self._asked.values()}:
            mine = [pour for pour, asked in self._asked.items() if asked.station_id == station_id]
            with self._store.read() as connection:
                due = self._due(connection, station_id, mine)
            if due is None:
                continue
            with self._store.write() as tx:
                fence(tx)
                # Decided again under the lock: a person may have switched it meanwhile, and that holds.
                due = self._due(tx, station_id, mine)
                if due is not None:
                    self._command(tx, station_id, mine, due)
                    switched += mine
        return switched

    def _due(self, connection: Connection, station_id: int, mine: Sequence[int]) -> Switch | None:
        row = stations.by_id(connection, station_id)
        fan = FanNow(row.fan_on, None if row.fan_by is None else By(row.fan_by), row.fan_since_ms)
        requests = [request for pour in mine for request in self._asked[pour].requests]
        return decide(fan, requests, self._timeline.now_ms())

    def _command(self, tx: Connection, station_id: int, mine: Sequence[int], due: Switch) -> None:
        was_on = stations.fan_is_on(tx, station_id)
        stations.switch_fan(tx, station_id, on=due.on, by=due.by, now_ms=self._timeline.now_ms())
        text = fact(("fan-stays-on" if was_on else "fan-on") if due.on else "fan-off", why=due.why)
        for pour_id in mine:
            events.add_event(
                tx,
                pour_id,
                self._timeline.true_ms(),
                "fan",
                events.WATCH,
                cut(text, 4000),
                {"on": due.on, "station": station_id, "by": due.by},
            )
        log.info("station %s: %s", station_id, text)
