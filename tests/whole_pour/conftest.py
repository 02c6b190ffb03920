"""A whole pour in seconds: the real station over the bench, the real app, the real watch, on a clock moved by hand."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi.testclient import TestClient

from hardware.bench.clock import SteppedClock
from hardware.bench.station import Bench, FaultWindow, Misbehaviour
from hardware.bench.trace import through
from hardware.bench.w1_files import Misreading
from logger.daemon.main import RunMode, run_station
from logger.daemon.station_file import station_from_file
from logger.settings import Settings
from logger.store import people
from web.api import reading_batches
from web.demo.demo import PROBES, Maker, write_station
from web.demo.scenarios import SCENARIOS
from web.security.access import COOKIE
from web.server.app import make_app
from web.service.service import Service


class ToApp(httpx.BaseTransport):
    """Carries the station's requests into the app, without a network; can be cut."""

    def __init__(self, client: TestClient) -> None:
        self._client = client
        self.cut = False
        self._sent = 0
        self._more = threading.Condition()

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        """One request."""
        if self.cut:
            raise httpx.ConnectError("the network is cut", request=request)
        answer = self._client.request(
            request.method,
            str(request.url.raw_path, "ascii"),
            content=request.read(),
            headers={"Authorization": request.headers["authorization"], "Content-Type": "application/json"},
        )
        with self._more:
            self._sent += answer.json().get("stored", 0)
            self._more.notify_all()
        return httpx.Response(answer.status_code, content=answer.content, request=request)

    def wait_for(self, rows: int) -> None:
        """Until so many rows are stored, unless the network is cut: the station's hand does not outrun the service."""
        with self._more:
            self._more.wait_for(lambda: self.cut or self._sent >= rows, timeout=20)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A whole pour goes over both kinds of database."""
    if "database" in metafunc.fixturenames:
        metafunc.parametrize("database", ["sqlite", "postgresql"], indirect=True)


#: Sweeps between two judgements, and between two rounds over everything: the station's hand runs no further ahead of
#: the service, and each takes its time.
JUDGED_EVERY, ROUND_EVERY = 5, 20
#: Seconds between sweeps while somebody is by the form: a third as many as in a shop (the demo's tests have them all).
EARLY_S = 15.0
#: A planned pour of the demo's workshop (invented).
PLAN = SCENARIOS["calm"]


class WholePour:
    """A pour of the calm scenario's plan, watched for some hours while the probes feel a given trace.

    `felt`: place → points (hours, °C); a place that is not named feels what was predicted.
    """

    def __init__(
        self,
        folder: Path,
        felt: dict[str, list[tuple[float, float]]],
        lies: tuple[tuple[str, Misreading, float, float], ...],
        database_url: str | None = None,
    ) -> None:
        self.clock = SteppedClock(1_795_624_200_000, boot_ms=3_600_000)
        folder.mkdir()
        write_station(folder, 8080)
        self.service = Service.open(
            Settings(data_dir=str(folder / "service"), database_url=database_url), self.clock
        )
        self.client = TestClient(make_app(self.service), base_url="http://127.0.0.1:8080").__enter__()
        with self.service.store.write() as tx:
            person = people.add_person(tx, "Ines", people.Role.OWNER, "x", self.service.timeline.now_ms())
            token = people.start_sign_in(tx, person, self.service.timeline.now_ms(), "test")
        self.client.cookies.set(COOKIE, token)
        self.maker = Maker(folder, 8080, self.client)  # type: ignore[arg-type]  # the same calls
        token = self.maker.ask("POST", "/api/stations", {"name": "bench-1"})["token"]
        (folder / "station.token").write_text(token, encoding="ascii")
        self.pour_id = self.maker.plan(PLAN)
        curve = self.maker.ask("GET", f"/api/pours/{self.pour_id}")["prediction"]["curve"]
        self._felt = {
            "core": list(zip(curve["hours"], curve["core_c"], strict=True)),
            "surface": list(zip(curve["hours"], curve["surface_c"], strict=True)),
            "underside": list(zip(curve["hours"], curve["underside_c"], strict=True)),
            "room": [(0.0, 21.0)],
        } | felt
        self._lies = lies
        self.transport = ToApp(self.client)
        self.sweeps = 0
        self._folder = folder

    def watch(
        self, hours: float, each_sweep: Callable[[WholePour, float], None] = lambda _pour, _hour: None
    ) -> None:
        """Lets the station watch for so many hours of simulated time."""
        config = station_from_file(self._folder / "station.toml")
        traces = {
            rom: through([(hour * 3600, c) for hour, c in self._felt[place]]) for place, rom in PROBES.items()
        }
        lies = [
            FaultWindow(PROBES[place], from_h * 3600, until_h * 3600, lie)
            for place, lie, from_h, until_h in self._lies
        ]
        bench = Bench(
            config.wiring, self.clock, self._folder / "bench", traces, misbehaviour=Misbehaviour(lies)
        )
        started = self.clock.stamp().boot_s

        def after_sweep(sweeps: int) -> None:
            self.sweeps = sweeps
            if sweeps % JUDGED_EVERY == 0:
                self.transport.wait_for(sweeps * len(PROBES))
                while self.service.watch.judge(self.pour_id):
                    pass
            if sweeps % ROUND_EVERY == 0:
                self.service.watch.judge_all()
            each_sweep(self, (self.clock.stamp().boot_s - started) / 3600)

        run_station(
            config,
            bench.hardware,
            self.clock,
            threading.Event(),
            RunMode(
                transport=self.transport, end_after_s=hours * 3600, linger_s=0.0, after_sweep=after_sweep
            ),
        )
        self.service.watch.judge_all()

    def record(self) -> Any:
        """The cure record so far."""
        return self.maker.ask("GET", f"/api/pours/{self.pour_id}/record")

    def close(self) -> None:
        """Ends it."""
        self.client.__exit__()
        self.service.close()


@pytest.fixture
def whole_pour(tmp_path: Path, database_url: str | None, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Makes whole pours and ends them."""
    monkeypatch.setattr(reading_batches, "FIRST_HOUR_S", EARLY_S)
    made: list[WholePour] = []

    def make(felt: Any = None, lies: Any = ()) -> WholePour:
        pour = WholePour(tmp_path / f"pour-{len(made)}", felt or {}, lies, database_url)
        made.append(pour)
        return pour

    yield make
    for pour in made:
        pour.close()
