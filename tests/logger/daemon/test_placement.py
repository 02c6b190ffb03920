"""Where a probe sits, as a page was told: from the next row on, after a restart, until the station file says else."""

from __future__ import annotations

import json
import threading
from pathlib import Path
from typing import Any

import httpx
import pytest

from hardware.bench.clock import SteppedClock
from hardware.bench.station import Bench
from hardware.bench.trace import steady
from logger.daemon.forward import read_answer
from logger.daemon.main import RunMode, run_station
from logger.daemon.placement import file_of, keep_places
from logger.daemon.station_file import StationConfig, station_from_file

A, B = "28-0000000000a1", "28-0000000000a2"
FILE = (
    'name = "bench-1"\nservice_url = "http://127.0.0.1:9"\nhardware = "bench"\n'
    f'[[probe]]\nid = "{A}"\nplace = "core"\nbench = "20"\n'
    f'[[probe]]\nid = "{B}"\nplace = "room"\nbench = "21"\n'
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A station file with two probes, and its token."""
    (tmp_path / "station.token").write_text("t")
    (tmp_path / "station.toml").write_text(FILE)
    return tmp_path / "station.toml"


def placed(config: StationConfig) -> dict[str, str]:
    """Probe → place."""
    return {probe.id: probe.place for probe in config.wiring.probes}


def answer(rows: int, last: int, **more: Any) -> bytes:
    """A service's answer."""
    body = {
        "acknowledged_seq": last,
        "stored": rows,
        "repeated": 0,
        "lamp": False,
        "buzzer": False,
        "fan": None,
    }
    return json.dumps(body | {"next_s": 5} | more).encode()


def test_a_running_station_takes_a_place_over_from_its_next_row_on_and_keeps_it(path: Path) -> None:
    """Rows that were written before keep theirs; the file of the station is not touched."""
    clock = SteppedClock()  # its sweeps alone move it: whoever waits beside them takes no sweep away
    sent: list[tuple[str, str]] = []

    def service(request: httpx.Request) -> httpx.Response:
        batch = json.loads(request.content)
        sent.extend((row["probe"], row["place"]) for row in batch["rows"])
        last = batch["rows"][-1]["seq"] if batch["rows"] else 0
        places = {A: "room", B: "core"} if sent else {}
        return httpx.Response(200, content=answer(len(batch["rows"]), last, places=places))

    config = station_from_file(path)
    bench = Bench(config.wiring, clock, path.parent / "bench", {A: steady(20.0), B: steady(21.0)})
    # A sweep waits in real time until its rows have come: so the answer is there before the next one begins.
    arrived = threading.Condition()

    class Counted(httpx.MockTransport):
        def handle_request(self, request: httpx.Request) -> httpx.Response:
            with arrived:
                response = super().handle_request(request)
                arrived.notify_all()
            return response

    def after_sweep(sweeps: int) -> None:
        with arrived:
            assert arrived.wait_for(lambda: len(sent) >= 2 * sweeps, timeout=30)

    mode = RunMode(
        transport=Counted(service), end_after_s=20.0, bus_threads=False, linger_s=0.0, after_sweep=after_sweep
    )
    run_station(config, bench.hardware, clock, threading.Event(), mode)
    assert sent[:2] == [(A, "core"), (B, "room")]
    assert sent[-2:] == [(A, "room"), (B, "core")]
    assert path.read_text() == FILE
    assert placed(station_from_file(path)) == {A: "room", B: "core"}


def test_a_station_file_that_places_its_probes_anew_has_the_last_word(path: Path) -> None:
    """An offset that is written into it changes no place."""
    config = station_from_file(path)
    keep_places(config.filed, config.spool_file, {A: "surface"})
    path.write_text(FILE.replace('bench = "20"', 'bench = "20"\noffset_c = 0.4'))
    assert placed(station_from_file(path)) == {A: "surface", B: "room"}
    path.write_text(FILE.replace('"core"', '"underside"'))
    assert placed(station_from_file(path)) == {A: "underside", B: "room"}


def test_places_that_were_kept_one_after_another_add_up(path: Path) -> None:
    """Each page's word is about its own probe."""
    config = station_from_file(path)
    keep_places(config.filed, config.spool_file, {A: "surface"})
    keep_places(config.filed, config.spool_file, {B: "core"})
    assert placed(station_from_file(path)) == {A: "surface", B: "core"}


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"of": 1}', '{"of": "x", "places": 3}', "\x00"])
def test_a_kept_file_that_is_damaged_is_as_if_it_were_not_there(path: Path, text: str) -> None:
    """A card wears out; the station must start."""
    file_of(station_from_file(path).spool_file).write_text(text)
    assert placed(station_from_file(path)) == {A: "core", B: "room"}


@pytest.mark.parametrize("places", [None, [], "core", {A: 5}, {A: "CORE"}, {A: "../x"}, {A: ""}])
def test_an_answer_with_places_that_are_none_moves_nothing(places: Any) -> None:
    """And the rest of it still counts."""
    read = read_answer(answer(1, 7, places=places), 1)
    assert read.acknowledged_seq == 7
    assert read.places == {}
