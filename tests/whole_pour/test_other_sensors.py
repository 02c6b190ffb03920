"""Humidity chip and thermocouple, from the kernel's files through the station and the service to the page."""

from __future__ import annotations

import re
import threading
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi.testclient import TestClient

from hardware.bench.clock import SteppedClock
from hardware.bench.station import Bench, FaultWindow, Misbehaviour
from hardware.bench.trace import steady
from hardware.bench.w1_files import Misreading
from logger.daemon.main import RunMode, run_station
from logger.daemon.station_file import station_from_file
from logger.settings import Settings
from logger.store import people, stations
from web.security.access import COOKIE
from web.server.app import make_app
from web.service.service import Service

STATION = """
name = "bench-1"
service_url = "http://service.invalid"
hardware = "bench"
[[air]]
name = "sht4x"
place = "room"
[[thermocouple]]
name = "max31856"
place = "core"
offset_c = -0.5
"""


@pytest.fixture
def page(tmp_path: Path) -> Any:
    """Runs a station for a minute of its clock; then gives what a page of its service says."""
    clock = SteppedClock()
    service = Service.open(Settings(data_dir=str(tmp_path / "data")), clock)
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, "bench-1", service.timeline.true_ms())
        ada = people.add_person(tx, "Ada", people.Role.OWNER, "no hash", service.timeline.now_ms())
        cookie = people.start_sign_in(tx, ada, service.timeline.now_ms(), "test")
    (tmp_path / "station.toml").write_text(STATION)
    (tmp_path / "station.token").write_text(token)
    config = station_from_file(tmp_path / "station.toml")
    with TestClient(make_app(service)) as client:

        def carry(request: httpx.Request) -> httpx.Response:
            headers = {name: value for name, value in request.headers.items() if name != "host"}
            answer = client.post(request.url.path, content=request.read(), headers=headers)
            return httpx.Response(answer.status_code, content=answer.content)

        def run(*faults: FaultWindow) -> Any:
            traces = {"sht4x": steady(19.5), "max31856": steady(131.25)}
            bench = Bench(
                config.wiring,
                clock,
                tmp_path / "bench",
                traces,
                damp={"sht4x": steady(62.0)},
                misbehaviour=Misbehaviour(faults),
            )
            run_station(
                config,
                bench.hardware,
                clock,
                threading.Event(),
                RunMode(
                    transport=httpx.MockTransport(carry), end_after_s=60, obey_period=False, bus_threads=False
                ),
            )
            client.cookies.set(COOKIE, cookie)
            return lambda path: client.get(path).text.replace("\u00a0", " ")

        yield run
    service.close()


def test_a_core_above_a_hundred_degrees_and_the_rooms_humidity_reach_the_page(page: Any) -> None:
    """131.25 °C that the couple reads, less its offset; 62 % in the room."""
    ask = page()
    assert "130.8 °C" in ask("/stations")
    assert re.search(r"<dt>Humidity</dt>\s*<dd>62 %</dd>", ask("/stations/bench-1/probes/sht4x"))
    assert "digital probes" in ask("/stations/bench-1/probes/max31856")


def test_a_torn_thermocouple_is_a_fault_like_any_other(page: Any) -> None:
    """Named in words, counted, and never a number."""
    ask = page(FaultWindow("max31856", 0, 1000, Misreading.EMPTY))
    assert "broken wire" in ask("/stations")
    assert "131" not in ask("/stations").partition("</h1>")[2]
    assert 'broken wire</td><td class="num">' in ask("/stations/bench-1/probes/max31856")
