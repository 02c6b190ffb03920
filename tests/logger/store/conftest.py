"""A station, a poured pour and rows to send; each test runs on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hardware.clock import Stamp
from logger.pour import Stage
from logger.store import pours, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.wire import WireReading


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Both kinds of database."""
    if "database" in metafunc.fixturenames and not hasattr(metafunc.module, "ONLY_SQLITE"):
        metafunc.parametrize("database", ["sqlite", "postgresql"], indirect=True)


@pytest.fixture
def station_id(store: Store) -> int:
    """An enrolled station."""
    with store.write() as tx:
        row_id, _token = stations.enrol(tx, "bench-1", 0)
    return row_id


@pytest.fixture
def pour_id(store: Store, timeline: Timeline, station_id: int, plan_toml: str) -> int:
    """A pour that has just been poured."""
    with store.write() as tx:
        made = pours.add_pour(
            tx,
            PlannedPour(title="Table", client="", plan_toml=plan_toml, station_id=station_id),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        pours.freeze_prediction(tx, made, {"peak_c": 40.0, "peak_at_h": 20.0}, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, made, stage, "Ada", timeline)
    return made


@pytest.fixture
def rows_of(clock: Any) -> Callable[..., list[WireReading]]:
    """Makes rows of one probe, a second apart, from a sequence number on."""

    def make(first_seq: int, count: int, milli_c: int = 21_000) -> list[WireReading]:
        now = clock.stamp()
        return [
            WireReading(
                "28-000000000001",
                "core",
                Stamp(now.wall_ms + i * 1000, now.boot_id, now.boot_ms + i * 1000, now.clock_set),
                milli_c + i,
                None,
                "00",
                None,
                seq=seq,
            )
            for i, seq in enumerate(range(first_seq, first_seq + count))
        ]

    return make
