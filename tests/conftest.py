"""What every test may use: a clock moved by hand, a store in a temporary folder, or on a PostgreSQL server.

POURLOG_TEST_ON=postgresql runs every test that uses these fixtures on the server.
"""

from __future__ import annotations

import gc
import os
import shutil
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

import logger.words.render  # noqa: F401 - what an error says is English wherever words are loaded
from hardware.clock import Stamp
from logger.store.boots import Timeline
from logger.store.database import Store

sys.path.insert(0, str(Path(__file__).resolve().parent))
from needs import check, missing

if TYPE_CHECKING:
    from cluster import Cluster

#: Wed 25 Nov 2026, 08:00 UTC: the day on which tests begin.
START_MS = 1_795_593_600_000


#: Where whole processes run, and tests take long: first, so that no worker is left alone with one in the end.
LONG = (
    "tests/whole_pour",
    "tests/robust",
    "tests/web/test_hand_over",
    "tests/web/browser",
    "tests/logger/delivery",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long ones first."""
    items.sort(key=lambda item: [not item.nodeid.startswith(place) for place in LONG])


def pytest_runtest_setup(item: pytest.Item) -> None:
    """What a test needs and this machine does not have: skipped by name, or failed in .ci/run."""
    check(item)


def pytest_collection_finish() -> None:
    """What is loaded by now stays, and is not looked through for garbage again and again: a tenth of the run."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 100)


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


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """A PostgreSQL server of this run's own."""
    try:
        from cluster import (  # here: tests that ask for no server need neither it nor its library
            PROGRAMS,
            Cluster,
        )
    except ModuleNotFoundError as error:
        missing(f"{error.name} is not installed; pip install 'pourlog[postgres]'")
    if not PROGRAMS:
        missing("no PostgreSQL server is installed; apt install postgresql")
    made = Cluster()
    yield made
    made.close()


@pytest.fixture(scope="session")
def migrated(cluster: Cluster) -> str:
    """An empty database with its schema, to be copied: migrations take longer than most tests."""
    name = cluster.create()
    Store(cluster.address(name)).close()
    return name


@pytest.fixture
def on_server(cluster: Cluster, migrated: str) -> Iterator[str]:
    """The address of a database of this test's own on the server."""
    name = cluster.create(migrated)
    yield cluster.address(name)
    cluster.drop(name)


#: Where tests run that do not say: SQLite, unless the whole run is to be on the server.
DATABASE = os.environ.get("POURLOG_TEST_ON", "sqlite")


@pytest.fixture
def database(request: pytest.FixtureRequest) -> str:
    """The kind of database. A folder's conftest may ask for both kinds."""
    return str(getattr(request, "param", DATABASE))


@pytest.fixture
def database_url(request: pytest.FixtureRequest, database: str) -> str | None:
    """The setting `database_url`: None for the service's own SQLite file."""
    return str(request.getfixturevalue("on_server")) if database == "postgresql" else None


@pytest.fixture(scope="session")
def empty_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty database with its schema: made once, since migrations take longer than most tests."""
    path = tmp_path_factory.mktemp("empty") / "pourlog.sqlite3"
    Store(f"sqlite:///{path}").close()
    return path


@pytest.fixture
def store(tmp_path: Path, database_url: str | None, empty_database: Path) -> Iterator[Store]:
    """An empty store."""
    if database_url is None:
        database_url = f"sqlite:///{shutil.copy(empty_database, tmp_path)}"
    made = Store(database_url)
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
