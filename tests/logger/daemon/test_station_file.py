"""A station file: what it says is taken; what it cannot mean is refused with place, value, choice and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.daemon import station_file as module
from logger.daemon.station_file import StationConfig, station_from_file
from logger.errors import BadSettings

GOOD = """
name = "bench-1"
service_url = "http://127.0.0.1:8080"
hardware = "pi"
[[probe]]
id = "28-0000000000a1"
place = "core"
offset_c = -0.25
[pins]
fan = 25
fan_active_high = false
[periods]
first_hour_s = 10
"""


def read(folder: Path, text: str) -> StationConfig:
    """The station of that text."""
    file = folder / "station.toml"
    file.write_text(text)
    return station_from_file(file)


def test_everything_that_is_said_is_taken_and_the_rest_has_defaults(tmp_path: Path) -> None:
    """Paths count from the file's own folder."""
    config = read(tmp_path, GOOD)
    (probe,) = config.wiring.probes
    assert (probe.id, probe.place, probe.offset_c) == ("28-0000000000a1", "core", -0.25)
    assert (config.wiring.pins.fan, config.wiring.pins.fan_active_high, config.wiring.pins.lamp) == (
        25,
        False,
        None,
    )
    assert (config.periods.first_hour_s, config.periods.later_s) == (10.0, 30.0)
    assert config.token_file == tmp_path / "station.token"
    assert config.spool_file == tmp_path / "spool.sqlite3"


def test_a_certificate_of_the_service_is_named_and_must_be_there(tmp_path: Path) -> None:
    """Left out, the machine's own certificates are asked; a wrong path is no silent way back to them."""
    assert read(tmp_path, GOOD).service_certificate is None
    named = 'service_certificate = "service.pem"\n' + GOOD
    with pytest.raises(BadSettings, match=r"service_certificate: is not there.*leave the line out"):
        read(tmp_path, named)
    (tmp_path / "service.pem").write_text("a certificate")
    assert read(tmp_path, named).service_certificate == tmp_path / "service.pem"


def test_the_example_in_the_module_is_a_good_station(tmp_path: Path) -> None:
    """What a maker copies must work."""
    assert module.__doc__ is not None
    example = module.__doc__.split("become a default.\n")[1]
    config = read(tmp_path, example.replace("\n    ", "\n"))
    assert [probe.place for probe in config.wiring.all_probes] == ["core", "room", "core"]
    assert config.wiring.pins.fan_active_high is False


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('hardware = "pi"', 'hardware = "auto"', r"hardware: .*'auto'.*\"pi\" or \"bench\""),
        ('hardware = "pi"\n', "", r"hardware: is missing"),
        (
            'id = "28-0000000000a1"',
            'id = "28-0000000000A1"',
            r"\[\[probe\]\] 1: id.*28-0000000000A1.*twelve digits",
        ),
        ('id = "28-0000000000a1"', 'id = "10-0000000000a1"', r"id.*10-0000000000a1"),
        ('place = "core"', 'place = "In the core"', r"place.*In the core.*small letters"),
        ("offset_c = -0.25", "offset_c = -25", r"offset_c.*-25.*-5 to 5 °C"),
        ("offset_c = -0.25", "offset_c = true", r"offset_c.*True"),
        ("offset_c = -0.25", "offset_c = nan", r"offset_c.*nan"),
        ("offset_c = -0.25", "ofset_c = -0.25", r"\[\[probe\]\] 1: ofset_c: is not a known name.*offset_c"),
        ("[pins]", "[pin]", r"pin: is not a known name"),
        ("fan = 25", "fan = 40", r"fan.*40.*0 to 27"),
        ("fan = 25", "fan = 25\nlamp = 25", r"\[pins\]: fan: is the pin of lamp too.*25|lamp.*25"),
        ("fan_active_high = false", 'fan_active_high = "no"', r"fan_active_high.*'no'.*true or false"),
        ("first_hour_s = 10", "first_hour_s = 0", r"first_hour_s.*0.*1 to 600 s"),
        ("first_hour_s = 10", 'first_hour_s = "10"', r"first_hour_s.*'10'"),
        (
            'service_url = "http://127.0.0.1:8080"',
            'service_url = "127.0.0.1:8080"',
            r"service_url.*http://host:port",
        ),
        ('name = "bench-1"', 'name = ""', r"name.*letters, digits"),
        ("[[probe]]", "[probe]", r"probe.*two brackets"),
        ("[periods]", "periods = 3\n[x]", r"periods"),
        (
            'name = "bench-1"',
            "name = bench-1",
            r"cannot be read: line 2 \(name\); a number, or text in quotes",
        ),
        (
            'hardware = "pi"',
            'hardware = "pi"\nspool_file = "gone/spool.sqlite3"',
            r"spool_file.*gone.*make the folder",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused(tmp_path: Path, old: str, new: str, message: str) -> None:
    """Place, value, what is allowed, remedy."""
    assert old in GOOD
    with pytest.raises(BadSettings, match=rf"(?s){message}"):
        read(tmp_path, GOOD.replace(old, new))


def test_a_probe_twice_is_refused(tmp_path: Path) -> None:
    """One probe cannot be in two places."""
    twice = GOOD + '[[probe]]\nid = "28-0000000000a1"\nplace = "room"\n'
    with pytest.raises(
        BadSettings, match=r"the same probe twice.*28-0000000000a1.*warm one probe in your hand"
    ):
        read(tmp_path, twice)


def test_a_station_without_probes_is_refused(tmp_path: Path) -> None:
    """It would watch nothing."""
    with pytest.raises(BadSettings, match="no probe at all"):
        read(tmp_path, 'name = "a"\nservice_url = "http://a"\nhardware = "pi"\n')


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """The message has the path."""
    with pytest.raises(BadSettings, match=r"missing\.toml.*cannot be read"):
        station_from_file(tmp_path / "missing.toml")
