"""The app over a store in a temporary folder, on a clock moved by hand."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.settings import Settings
from logger.store import people, stations
from web.access import COOKIE
from web.app import make_app
from web.service import Service


@pytest.fixture
def service(tmp_path: Path, clock: Any) -> Iterator[Service]:
    """A service without its threads."""
    made = Service.open(Settings(data_dir=str(tmp_path / "data")), clock)
    yield made
    made.close()


@pytest.fixture
def stranger(service: Service) -> Iterator[TestClient]:
    """A browser that is not signed in."""
    with TestClient(make_app(service)) as client:
        yield client


@pytest.fixture
def maker(service: Service, stranger: TestClient) -> TestClient:
    """A browser in which an owner is signed in."""
    with service.store.write() as tx:
        person = people.add_person(tx, "Ada", people.Role.OWNER, "not a hash", service.timeline.now_ms())
        token = people.start_sign_in(tx, person, service.timeline.now_ms(), "test")
    stranger.cookies.set(COOKIE, token)
    return stranger


@pytest.fixture
def station_token(service: Service) -> str:
    """The token of an enrolled station, bench-1."""
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, "bench-1", 0)
    return token
