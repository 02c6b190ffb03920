"""The app over a store in a temporary folder, on a clock moved by hand."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest
from fastapi.testclient import TestClient

from logger.delivery.sender import Sender
from logger.planning.finding import Light
from logger.pour import Stage
from logger.settings import Messages, Settings
from logger.store import people, pours, readings, stations
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from web.actions import ending, readiness
from web.actions import pours as pour_actions
from web.security.access import COOKIE
from web.server.app import make_app
from web.service.service import Service


@pytest.fixture
def messages() -> Messages:
    """To whom messages go: nobody, unless a file's own fixture says so."""
    return Messages()


@pytest.fixture
def service(
    tmp_path: Path, clock: Any, empty_database: Path, database_url: str | None, messages: Messages
) -> Iterator[Service]:
    """A service without its threads."""
    (tmp_path / "data").mkdir()
    if database_url is None:
        shutil.copy(empty_database, tmp_path / "data" / empty_database.name)
    settings = Settings(data_dir=str(tmp_path / "data"), database_url=database_url, messages=messages)
    made = Service.open(settings, clock)
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


#: What is said on the way into a stage that asks for it.
WORDS = {Stage.SPOILED: "given up in a test"}


class Shop:
    """A workshop in a test: plans pours, pours them, and feeds readings while the clock moves."""

    PROBES: ClassVar[dict[str, str]] = {
        "core": "28-0000000000c1",
        "surface": "28-0000000000c2",
        "underside": "28-0000000000c3",
        "room": "28-0000000000c4",
    }

    def __init__(self, service: Service, clock: Any) -> None:
        self.service, self.clock = service, clock
        self.seq = 0
        #: What the room's sensor says beside its temperature, %; None: it has no such sense.
        self.humidity_pct: float | None = None
        with service.store.write() as tx:
            stations.enrol(tx, "bench-1", service.timeline.true_ms())

    def plan(
        self, plan_toml: str, client: str = "A client (invented)", station: str | None = "bench-1"
    ) -> int:
        """A planned pour."""
        return pour_actions.plan_pour(self.service, plan_toml, client, station, "Ada")

    def go(self, pour_id: int, *stages: Stage) -> None:
        """Takes a pour through stages; before it is ready, every point is signed, and before its watch ends, that its
        core is cool, where no probe says so."""
        for stage in stages:
            if stage is Stage.READY:
                self.sign_all(pour_id)
            if stage in ending.CONFIRMED:
                self.sign_cool(pour_id, stage)
            confirm = self.confirmation(pour_id, stage)
            pour_actions.move_on(self.service, pour_id, stage, "Ada", WORDS.get(stage, ""), confirm)

    def confirmation(self, pour_id: int, to: Stage) -> str:
        """What confirms a step now; empty for one that needs none."""
        with self.service.store.read() as connection:
            pour = pours.get_pour(connection, pour_id)
            now_ms = self.service.timeline.true_ms()
            return ending.confirmation(connection, pour, to, now_ms) if to in ending.CONFIRMED else ""

    def sign_all(self, pour_id: int) -> None:
        """Ada and Ben sign every point; what is at stop or has no photo Ada lets pass by name and reason."""
        with self.service.store.read() as connection:
            points = readiness.readiness_of(self.service, connection, pour_id).points
        for point in points:
            for person in ("Ada", "Ben")[: point.people]:
                readiness.sign(self.service, pour_id, point.id, person, "Ada")
            if point.light is Light.STOP or point.unknown or point.needs_photo:
                readiness.let_pass(self.service, pour_id, point.id, "Ada", "a pour of a test", "Ada")

    def sign_cool(self, pour_id: int, to: Stage = Stage.RELEASED) -> None:
        """Ada answers for a core that no probe has shown to be cool and hard, and for looks that nobody made."""
        with self.service.store.read() as connection:
            found = ending.ending_of(self.service, connection, pours.get_pour(connection, pour_id), to)
        if not found.may_end:
            ending.sign_exception(
                self.service, pour_id, "Ada", "a pour of a test, cold to the hand", "Ada", to
            )

    def sweep(self, **celsius: float | str | None) -> None:
        """One sweep now: place=°C, or place="fault-word"."""
        stamp = self.clock.stamp()
        rows = []
        for place, value in celsius.items():
            self.seq += 1
            fault = value if isinstance(value, str) else None
            milli_c = None if value is None or fault else round(1000 * float(value))
            humid = None if place != "room" or self.humidity_pct is None else round(1000 * self.humidity_pct)
            rows.append(
                WireReading(self.PROBES[place], place, stamp, milli_c, fault, "00", None, humid, seq=self.seq)
            )
        with self.service.store.write() as tx:
            station = stations.by_name(tx, "bench-1")
            saved = readings.save_batch(
                tx, ReadingBatch(station.id, "spool-1", stamp, rows), self.service.timeline.true_ms()
            )
        self.service.watch.judge_all()
        for pour_id in saved.pours:
            self.service.news.publish("readings", pour=pour_id)

    def send(self) -> None:
        """Sends what is due, to every address of file and pages."""
        Sender(
            self.service.store,
            self.service.timeline,
            self.service.settings.messages,
            self.service.message_channels(),
            addresses=self.service.addresses,
        ).send_due()

    def feed(self, hours: float, step_s: float, at: Callable[[float], dict[str, float | str | None]]) -> None:
        """Sweeps over a span; `at` gives the places' °C at an hour from the span's start."""
        for number in range(round(hours * 3600 / step_s)):
            self.clock.move(step_s)
            self.sweep(**at((number + 1) * step_s / 3600))


@pytest.fixture
def shop(service: Service, clock: Any) -> Shop:
    """A workshop with a station, bench-1."""
    return Shop(service, clock)
