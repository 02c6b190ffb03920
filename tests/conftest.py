"""What every test may use: a clock moved by hand and a store in a temporary folder."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from hardware.clock import Stamp
from logger.store.boots import Timeline
from logger.store.database import Store

#: Wed 25 Nov 2026, 08:00 UTC: the day on which tests begin.
START_MS = 1_795_593_600_000


@dataclass
class HandClock:
    """A clock that moves only when a test says so."""

    wall_ms: int = START_MS
    boot_ms: int = 1_000_000
    boot_id: str = "boot-a"
    clock_set: bool = True

    def stamp(self) -> Stamp:
        """Now."""
        return Stamp(self.wall_ms, self.boot_id, self.boot_ms, self.clock_set)

    def move(self, seconds: float) -> None:
        """Time passes."""
        self.wall_ms += round(seconds * 1000)
        self.boot_ms += round(seconds * 1000)

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Waiting moves the clock."""
        if not event.is_set():
            self.move(seconds)
        return event.is_set()


@pytest.fixture
def clock() -> HandClock:
    """A clock moved by hand."""
    return HandClock()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store on disk."""
    made = Store(f"sqlite:///{tmp_path / 'pourlog.sqlite3'}")
    yield made
    made.close()


@pytest.fixture
def timeline(store: Store, clock: HandClock) -> Timeline:
    """The service's time over that store and clock."""
    return Timeline(store, clock)


PLAN_TOML = """
title = "River table for a fictional client"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 330
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[resin.limits]
max_depth_mm = 50
[pour]
shape = "river"
depth_mm = 40
width_mm = 250
length_mm = 1800
[air]
room_c = 21
top_w_m2k = 9
bottom_w_m2k = 7
side_w_m2k = 5
"""


@pytest.fixture
def plan_toml() -> str:
    """A plan that works."""
    return PLAN_TOML
