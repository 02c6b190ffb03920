"""`pourlog check`, `enrol`, `place-probes` and `set-offset`, as somebody types them on the Pi."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from hardware.bench.w1_files import W1Files, scratchpad, w1_text
from logger.daemon import new_station
from logger.daemon.station_file import station_from_file
from logger.diagnosis import place_probes
from logger.errors import BadInput, BadSettings
from logger.store import stations
from logger.store.events import EVENT
from web.command import app

CORE, ROOM = "28-0000000000c1", "28-0000000000c4"
HEAD = 'name = "bench-1"\nservice_url = "http://127.0.0.1:9"\nhardware = "pi"\n'


def run(*words: str, answers: str = "") -> tuple[int, str]:
    """(exit code, what was printed). Errors of the program are raised, as `main` wants them."""
    done = CliRunner().invoke(app, list(words), input=answers)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.stdout


def test_a_check_ends_with_1_where_something_is_bad_and_says_what_to_do(tmp_path: Path) -> None:
    """No service answers on this port, no probe hangs on this machine: in words, and for programs."""
    (tmp_path / "station.toml").write_text(HEAD + f'[[probe]]\nid = "{CORE}"\nplace = "core"\n')
    code, told = run("check", "--station", str(tmp_path / "station.toml"), "--json")
    found = json.loads(told)
    assert (code, found["state"]) == (1, "fail")
    by_topic = {finding["topic"]: finding for finding in found["findings"] if finding["state"] == "fail"}
    assert "does not answer" in by_topic["service"]["says"]
    assert by_topic["probes"]["do"] != ""
    code, told = run("check", "--station", str(tmp_path / "station.toml"))
    assert code == 1
    assert "FAIL" in told


def test_a_bench_alone_is_nothing_bad_but_to_be_minded(tmp_path: Path) -> None:
    """The settings file alone, of a service that does not run: the channel is what is missing."""
    (tmp_path / "service.toml").write_text(f'data_dir = "{tmp_path}"\nport = 9\n')
    code, told = run("check", "--settings", str(tmp_path / "service.toml"))
    assert code == 1
    assert "[messages]" in told, "the brackets are no markup"


def test_a_token_that_was_printed_opens_the_door(tmp_path: Path, service: Any) -> None:
    """On the service's own machine; who did it is noted."""
    (tmp_path / "service.toml").write_text(f'data_dir = "{service.settings.data_dir}"\n')
    code, token = run("enrol", str(tmp_path / "service.toml"), "bench-7")
    assert code == 0
    with service.store.read() as connection:
        assert stations.by_token(connection, token.strip()).name == "bench-7"
        event = connection.execute(EVENT.select().order_by(EVENT.c.id.desc()).limit(1)).one()
    assert (event.kind, event.by, event.text) == (
        "station-enrolled",
        "this machine's administrator",
        "bench-7",
    )
    told = json.loads(run("enrol", str(tmp_path / "service.toml"), "bench-8", "--json")[1])
    with service.store.read() as connection:
        assert stations.by_token(connection, told["token"]).name == told["station"] == "bench-8"
    with pytest.raises(BadInput, match="two words"):
        run("enrol", str(tmp_path / "service.toml"), "two words")


@pytest.fixture
def wires(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, clock: Any) -> W1Files:
    """Two probes on a bus; the one that is asked for warms as soon as time passes."""
    files = W1Files(tmp_path / "w1")
    celsius = {CORE: 20.0, ROOM: 20.0}
    for probe in celsius:
        files.plug(probe)
        files.show(probe, w1_text(scratchpad(celsius[probe])))
    in_hand = iter([CORE, ROOM])
    held: list[str] = []
    wait = clock.wait

    def warms(event: Any, seconds: float) -> bool:
        celsius[held[-1]] += 1.0
        files.show(held[-1], w1_text(scratchpad(celsius[held[-1]])))
        return bool(wait(event, seconds))

    def takes(words: str) -> str:
        if any(place in words for place in ("CORE", "ROOM")):
            held.append(next(in_hand))
            return ""
        return "n"

    monkeypatch.setattr(clock, "wait", warms)
    monkeypatch.setattr("builtins.input", takes)
    found = place_probes.probe_temperatures
    monkeypatch.setattr(place_probes, "probe_temperatures", lambda _clock: found(clock, files.folder))
    wait_for = place_probes.wait_for_warmth
    monkeypatch.setattr(
        place_probes, "wait_for_warmth", lambda read, _clock, without: wait_for(read, clock, without)
    )
    return files


def test_each_probe_gets_its_place_by_the_hand_that_warms_it(tmp_path: Path, wires: W1Files) -> None:
    """Asked for core, surface, underside, room; those that there are not are skipped."""
    station = tmp_path / "station.toml"
    (tmp_path / "station.head.toml").write_text(HEAD)
    code, told = run("place-probes", str(station))
    assert code == 0
    assert "2 probes are plugged in" in told
    assert f"{CORE} sits at: core" in told
    placed = station_from_file(station).wiring.probes
    assert [(probe.id, probe.place) for probe in placed] == [(CORE, "core"), (ROOM, "room")]
    with pytest.raises(BadSettings, match="--again"):
        run("place-probes", str(station))


def test_an_offset_goes_into_the_file_and_everything_else_stays(tmp_path: Path) -> None:
    """Once more, it is replaced; out of range or for a stranger, nothing is written."""
    station = tmp_path / "station.toml"
    text = HEAD + f'[[probe]]\nid = "{CORE}" # the long one\nplace = "core"\n[pins]\nlamp = 23\n'
    station.write_text(text)
    station.chmod(0o640)
    assert run("set-offset", CORE, "-0.31", "--station", str(station))[0] == 0
    assert station.read_text() == text.replace("long one\n", "long one\noffset_c = -0.31\n")
    assert run("set-offset", CORE, "0.2", "--station", str(station))[0] == 0
    assert station.read_text() == text.replace("long one\n", "long one\noffset_c = 0.2\n")
    assert station.stat().st_mode & 0o777 == 0o640
    told = json.loads(run("set-offset", CORE, "0.1", "--station", str(station), "--json")[1])
    assert told == {"station_file": str(station), "probe": CORE, "offset_k": 0.1}
    before = station.read_text()
    for probe, offset, said in ((CORE, "9", "-5 to 5 °C"), (ROOM, "1", "does not name this probe")):
        with pytest.raises(BadSettings, match=said):
            run("set-offset", probe, offset, "--station", str(station))
    assert station.read_text() == before


def test_a_station_file_that_is_no_toml_is_told_by_its_line(tmp_path: Path, wires: W1Files) -> None:
    """Whoever edited it by hand finds the line; nothing is written over it."""
    path = tmp_path / "station.toml"
    path.write_text(HEAD + f'[[probe]]\nid = "{CORE}"\nplace = "core\n')
    assert wires.is_plugged(CORE)
    with pytest.raises(BadSettings, match=r"text that does not end: line 6 \(place\)"):
        run("set-offset", CORE, "-0.31", "--station", str(path))
    with pytest.raises(BadSettings, match=r"line 6 \(place\)"):
        run("place-probes", str(path), "--again", answers="\nn\nn\n\n")
    assert path.read_text().endswith('"core\n')


def test_probes_that_were_only_found_may_be_placed_without_again(
    tmp_path: Path, wires: W1Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody has said which is which: there is nothing to lose. A file that somebody placed asks for --again."""
    path = tmp_path / "station.toml"
    (tmp_path / "station.head.toml").write_text(HEAD)
    monkeypatch.setattr(new_station.probes_here, "__defaults__", (tmp_path / "w1",))
    assert wires.is_plugged(CORE)
    code, told = run(
        "write-station", "bench-1", "http://office.local:8080", "a-token", "--station", str(path)
    )
    assert code == 0
    assert "2 probes" in told
    assert new_station.as_found(path)
    assert (tmp_path / "station.token").read_text() == "a-token\n"
    run("place-probes", str(path), answers="\nn\nn\n\n")
    assert not new_station.as_found(path)
    assert station_from_file(path).service_url == "http://office.local:8080"
    with pytest.raises(BadSettings, match="--again"):
        run("place-probes", str(path))


def test_a_station_without_probes_gets_its_token_and_waits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`place-probes` finds name and address beside; nothing is invented."""
    monkeypatch.setattr(new_station.probes_here, "__defaults__", (tmp_path / "none",))
    path = tmp_path / "station.toml"
    told = json.loads(
        run("write-station", "bench-1", "http://office.local:8080", "t", "--station", str(path), "--json")[1]
    )
    assert told["probes"] == 0
    assert not path.exists()
    head = (tmp_path / "station.head.toml").read_text()
    assert 'service_url = "http://office.local:8080"' in head
    with pytest.raises(BadInput, match="service_url"):
        run("write-station", "bench-1", "office.local", "t", "--station", str(path))
