"""People of each role, and a clock for the limits that moves only when a test says so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.store import people, stations
from logger.store.people import Role
from web.security import passwords
from web.security.access import COOKIE
from web.security.throttle import Throttle, unlimited
from web.server.app import make_app
from web.service.service import Service

PASSWORD = "three plain words"


@dataclass
class Seconds:
    """The steady clock of the limits."""

    now_s: float = 1000.0

    def __call__(self) -> float:
        """Now."""
        return self.now_s


@pytest.fixture
def seconds() -> Seconds:
    """A clock moved by hand."""
    return Seconds()


@pytest.fixture(scope="session")
def kept_password() -> str:
    """The slow hash of PASSWORD, made once."""
    return passwords.hash_of(PASSWORD)


#: What stands in a route's path where a test does not care: rows that exist, or names that could.
IN_A_PATH = {
    "pour_id": 1,
    "alarm_id": 1,
    "name": "bench-1",
    "where": "desk",
    "section": "form",
    "invitation_id": 1,
    "person_id": 1,
    "sign_in_id": 1,
    "link_id": 1,
    "channel_id": 1,
    "token": "x",
    "version": "x",
    "rom": "28-0000000000c1",
    "key": 12 * "0",
}


@pytest.fixture
def path_of() -> Callable[..., str]:
    """A route's path, filled in: path_of(route, name="x")."""
    return lambda route, **other: route.path.format(**(IN_A_PATH | other))


@dataclass
class House:
    """A service with an owner, a maker, a viewer and a station, and browsers for each."""

    service: Service
    app: Any
    ids: dict[str, int]
    station_token: str
    hot: int = 0

    def browser(self, role: str | None = None, **options: Any) -> TestClient:
        """A new browser, signed in as that role or as nobody."""
        made = TestClient(self.app, **options)
        if role is not None:
            with self.service.store.write() as tx:
                token = people.start_sign_in(
                    tx, self.ids[role], self.service.timeline.now_ms(), f"{role}'s browser"
                )
            made.cookies.set(COOKIE, token, domain="testserver.local")
        return made


@pytest.fixture
def house(service: Service, kept_password: str, seconds: Seconds) -> House:
    """Ada owns it, Ben makes, Cleo looks; nothing is limited."""
    return _house(service, kept_password, seconds, unlimited())


@pytest.fixture
def guarded(service: Service, kept_password: str, seconds: Seconds) -> House:
    """The same with the limits of a real service."""
    return _house(service, kept_password, seconds, Throttle())


def _house(service: Service, kept: str, seconds: Callable[[], float], throttle: Throttle) -> House:
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        ids = {
            "owner": people.add_person(tx, "Ada", Role.OWNER, kept, now_ms),
            "maker": people.add_person(tx, "Ben", Role.MAKER, kept, now_ms),
            "viewer": people.add_person(tx, "Cleo", Role.VIEWER, kept, now_ms),
        }
        _row, token = stations.enrol(tx, "bench-1", now_ms)
    return House(service, make_app(service, throttle, seconds), ids, token)
