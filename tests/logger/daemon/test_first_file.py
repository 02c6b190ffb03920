"""An installed station's first file: written as root by its unit before there is one, with the probes it has."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardware.bench.w1_files import W1Files
from hardware.errors import HardwareMissing
from logger.daemon import __main__ as daemon
from logger.daemon import new_station
from logger.daemon.new_station import PLACES
from logger.daemon.station_file import station_from_file
from logger.diagnosis.place_probes import ASKED

HEAD = (
    'name = "bench-1"\nservice_url = "http://127.0.0.1:8080"\ntoken_file = "station.token"\n'
    'spool_file = "spool.sqlite3"\nhardware = "pi"\n'
)


@pytest.fixture
def wires(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> W1Files:
    """A 1-Wire folder of the test's own, and no patience."""
    monkeypatch.setattr(new_station.probes_here, "__defaults__", (tmp_path / "w1",))
    monkeypatch.setattr(daemon, "PATIENCE_S", -1.0)
    return W1Files(tmp_path / "w1")


def test_it_takes_the_probes_as_they_hang_there_and_says_that_nobody_placed_them(
    tmp_path: Path, wires: W1Files
) -> None:
    """What the installation knows is in it; the token that is there stays."""
    path = tmp_path / "station.toml"
    (tmp_path / "station.head.toml").write_text(HEAD)
    (tmp_path / "station.token").write_text("kept\n")
    for number in range(1, 7):
        wires.plug(f"28-0000000000d{number}")
    assert daemon.main(["first-file", str(path)]) == 0
    config = station_from_file(path)
    places = [probe.place for probe in config.wiring.probes]
    assert places == ["core", "room", "surface", "underside", "core-2", "core-3"]
    assert (config.name, config.token()) == ("bench-1", "kept")
    assert new_station.as_found(path)


def test_it_never_touches_a_file_that_is_there(tmp_path: Path, wires: W1Files) -> None:
    """Somebody placed those probes."""
    path = tmp_path / "station.toml"
    path.write_text("anything")
    wires.plug("28-0000000000d1")
    assert daemon.main(["first-file", str(path)]) == 0
    assert path.read_text() == "anything"


def test_without_a_probe_it_says_what_to_look_at_and_ends_with_1(
    tmp_path: Path, wires: W1Files, capsys: pytest.CaptureFixture[str]
) -> None:
    """The unit tries again, and the station starts when one is plugged in."""
    path = tmp_path / "station.toml"
    (tmp_path / "station.head.toml").write_text(HEAD)
    assert wires.folder.name == "w1"
    with pytest.raises(HardwareMissing, match="no probe is plugged in"):
        daemon.first_file(path)
    assert daemon.main(["first-file", str(path)]) == 1
    assert "look at plug" in capsys.readouterr().err
    assert not path.exists()


def test_the_places_of_a_new_file_are_those_that_are_asked_for_by_hand() -> None:
    """Played or plugged in, a probe gets no place that `place-probes` does not know."""
    assert set(PLACES) == {place for place, _words in ASKED}
