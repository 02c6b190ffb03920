"""What the answer to a batch rests on: fan, stages and the loudest alarm of each station that asks."""

from __future__ import annotations

from typing import Any

from sqlalchemy import insert, update

from logger.pour import Stage
from logger.store import pours, stations
from logger.store.alarms import ALARM
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.station_status import AtStation, at_stations
from logger.store.stations import STATION


def test_each_station_hears_of_its_own_fan_pours_and_loudest_alarm(
    store: Store, timeline: Timeline, station_id: int, pour_id: int, plan_toml: str
) -> None:
    """One asks with a live pour and three alarms, one with a fan and a pour that is only planned, one with nothing."""

    def alarm(priority: str, phase: str = "raised", *, quiet: bool = False) -> dict[str, Any]:
        subject = f"core-hot/{priority}/{phase}/{quiet}"
        return {
            "pour_id": pour_id,
            "kind": "core-hot",
            "subject": subject,
            "priority": priority,
            "phase": phase,
            "activation": 1,
            "raised_ms": 0,
            "reason": "",
            "quiet": quiet,
        }

    with store.write() as tx:
        fan, _token = stations.enrol(tx, "bench-2", 0)
        idle, _token = stations.enrol(tx, "bench-3", 0)
        tx.execute(update(STATION).where(STATION.c.id == fan).values(fan_on=True))
        pours.add_pour(
            tx, PlannedPour(title="Next", client="", plan_toml=plan_toml, station_id=fan), by="Ada", now_ms=0
        )
        tx.execute(
            insert(ALARM),
            [alarm("low"), alarm("medium"), alarm("high", "acknowledged"), alarm("high", quiet=True)],
        )
    with store.read() as connection:
        assert at_stations(connection, [station_id, fan, idle]) == {
            station_id: AtStation(stages=(Stage.POURING,), urgent="medium"),
            fan: AtStation(fan_on=True),
            idle: AtStation(),
        }
