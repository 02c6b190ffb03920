"""From an empty folder to a station that reports: little to type, nothing twice, and lines that work as printed."""

from __future__ import annotations

import io
import re
import shlex
import subprocess
import sys
from contextlib import redirect_stdout
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from hardware.bench.w1_files import W1Files
from logger.daemon import new_station
from logger.daemon.station_file import station_from_file
from logger.settings import Settings, read_settings
from logger.store import stations
from logger.words.render import say
from tests.web.page_text import words
from web.commands.owner import set_up_words, show_set_up
from web.security.setup_code import new_setup_code
from web.server.app import make_app

PASSWORD = "plane shavings on tuesday"
README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def no_installation(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine on which the program is not installed, with a 1-Wire folder of its own."""
    monkeypatch.setattr(new_station, "INSTALLED", tmp_path / "etc")
    monkeypatch.setattr(new_station.probes_here, "__defaults__", (tmp_path / "w1",))
    return tmp_path / "w1"


def line_of(answer: Any) -> str:
    """The line that the page shows to be run or pasted."""
    found = re.search(r'<code class="token" id="line">(.*?)</code>', answer.text, re.DOTALL)
    assert found is not None, words(answer)
    return unescape(found[1])


def test_the_samples_in_the_readme_are_read_by_the_programs_own_readers(tmp_path: Path) -> None:
    """A sample that does not work is worse than none."""
    settings, station = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    (tmp_path / "settings.toml").write_text(settings, encoding="utf-8")
    (tmp_path / "station.toml").write_text(station, encoding="utf-8")
    read = read_settings(tmp_path / "settings.toml")
    assert read.phones_reach_it
    config = station_from_file(tmp_path / "station.toml")
    assert [probe.place for probe in config.wiring.probes] == ["core", "room"]
    assert config.service_url.endswith(f":{read.port}")


def test_the_link_on_the_terminal_fills_in_the_code_and_two_values_are_typed(
    service: Any, stranger: TestClient
) -> None:
    """Nothing but a name and a password: the code comes with the link, units have a default."""
    code = new_setup_code(service)
    assert code is not None
    link = say(set_up_words(service.settings, code)).rpartition(" ")[2]
    page = stranger.get(link.removeprefix(service.settings.link_base))
    asked = re.findall(r'<input name="(\w+)"(?![^>]*type="hidden")', page.text)
    assert asked == ["name", "password"]
    hidden = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page.text))
    answer = stranger.post("/set-up", data=hidden | {"name": "Ada", "password": PASSWORD})
    assert answer.url.path == "/"
    steps = re.findall(r'<li class="now">\s*<span><a href="([^"]+)">([^<]+)</a>', answer.text)
    assert [words for _path, words in steps] == ["Probes", "Your phone", "The resin", "The pour"]


def test_phones_get_a_picture_of_the_link_and_a_machine_alone_gets_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A picture that leads a phone to itself would be worse than none."""

    def shown(settings: Settings) -> str:
        class Terminal(io.StringIO):
            def isatty(self) -> bool:
                return True

        with redirect_stdout(Terminal()) as terminal:
            show_set_up(settings, "1234-5678")
        return terminal.getvalue()

    monkeypatch.setattr("logger.settings.own_address", lambda: "192.0.2.7")
    network = shown(Settings(host="0.0.0.0"))
    assert "http://192.0.2.7:8080/set-up?code=1234-5678" in network
    assert "▀" in network or "█" in network
    alone = shown(Settings())
    assert "▀" not in alone
    assert "█" not in alone
    assert "On this machine alone" in alone


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"password": "short"}, "too short"),
        ({"name": ""}, "name: is empty"),
        ({"name": "A" * 101}, "at most 100"),
        ({"code": "0000-0000"}, "not the code"),
    ],
)
def test_nothing_typed_at_set_up_is_lost_but_the_password(
    service: Any, stranger: TestClient, given: dict[str, str], said: str
) -> None:
    """Name, code and units are there again."""
    code = new_setup_code(service) or ""
    typed = {"name": "Ada Invented", "password": PASSWORD, "code": code, "temperature": "f"} | given
    answer = stranger.post("/set-up", data=typed)
    assert answer.status_code == 422
    assert said in words(answer)
    assert f'value="{typed["name"]}"' in answer.text
    assert f'value="{typed["code"]}"' in answer.text
    assert re.search(r'value="f" checked', answer.text)
    assert PASSWORD not in answer.text


def test_nothing_typed_is_lost_at_sign_in_joining_people_and_stations(
    service: Any, maker: TestClient
) -> None:
    """A refused field comes back with what was in it."""
    answer = maker.post("/people/invitations", data={"name": "Ben\x07Invented", "role": "viewer"})
    assert answer.status_code == 422
    assert 'value="viewer" selected' in answer.text
    assert "Ben" in answer.text.partition('name="name"')[2][:200]
    answer = maker.post("/stations", data={"name": "two words", "where": "simulated"})
    assert answer.status_code == 422
    assert 'value="two words"' in answer.text
    assert 'value="simulated" checked' in answer.text
    assert maker.post("/stations", data={"name": ""}).status_code == 422
    with service.store.write() as tx:
        stations.enrol(tx, "bench-1", 0)
    answer = maker.post("/stations/bench-1/place", data={"stands": "by the window " * 9})
    assert answer.status_code == 422
    assert f'value="{("by the window " * 9).strip()}"' in answer.text
    with TestClient(make_app(service)) as stranger:
        answer = stranger.post("/sign-in", data={"name": "Ada of the bench", "password": "no"})
        assert 'value="Ada of the bench"' in answer.text
        answer = stranger.post("/join", data={"code": "7-AB2C-D3EF", "password": "x"})
        assert 'value="7-AB2C-D3EF"' in answer.text


def test_enrolment_writes_the_file_of_this_machines_probes(
    service: Any, maker: TestClient, no_installation: Path
) -> None:
    """Nothing is typed: name and place have defaults. The line that starts it is the program's own."""
    files = W1Files(no_installation)
    for number in (1, 2):
        files.plug(f"28-0000000000d{number}")
    page = maker.get("/stations").text
    assert re.search(r'name="where" value="here" checked', page)
    name = re.search(r'<input name="name"[^>]*value="([^"]+)"', page)
    assert name is not None
    line = shlex.split(line_of(maker.post("/stations", data={"name": name[1], "where": "here"})))
    config = station_from_file(Path(line[-1]))
    assert [(probe.id, probe.place) for probe in config.wiring.probes] == [
        ("28-0000000000d1", "core"),
        ("28-0000000000d2", "room"),
    ]
    assert config.service_url == "http://127.0.0.1:8080"
    assert new_station.as_found(config.path)
    assert config.path.stat().st_mode & 0o077 == 0
    assert config.token_file.stat().st_mode & 0o077 == 0
    with service.store.read() as connection:
        assert stations.by_token(connection, config.token()).name == name[1]
    assert "pourlog" in line[0]


def test_a_new_token_keeps_the_probes_that_somebody_placed(
    service: Any, maker: TestClient, no_installation: Path
) -> None:
    """Enrolling anew is no reason to place probes anew."""
    W1Files(no_installation).plug("28-0000000000d1")
    path = Path(shlex.split(line_of(maker.post("/stations", data={"name": "bench-1", "where": "here"})))[-1])
    path.write_text(path.read_text().replace('"core"', '"surface"'), encoding="utf-8")
    first = station_from_file(path).token()
    maker.post("/stations", data={"name": "bench-1", "where": "here"})
    config = station_from_file(path)
    assert config.wiring.probes[0].place == "surface"
    assert config.token() != first


def test_played_probes_are_never_taken_unless_somebody_chooses_them(
    maker: TestClient, no_installation: Path
) -> None:
    """A station whose probes are not plugged in must not show a calm room."""
    page = maker.get("/stations").text
    assert re.search(r'name="where" value="elsewhere" checked', page)
    assert no_installation.name == "w1"
    refused = maker.post("/stations", data={"name": "bench-1", "where": "here"})
    assert refused.status_code == 422
    assert "no probe is plugged into this machine" in words(refused)
    line = shlex.split(line_of(maker.post("/stations", data={"name": "bench-1", "where": "simulated"})))
    config = station_from_file(Path(line[-1]))
    assert config.wiring.hardware == "bench"
    assert {probe.place for probe in config.wiring.probes} == {"core", "room", "surface", "underside"}


def test_the_line_for_another_machine_works_exactly_as_it_is_printed(
    service: Any, maker: TestClient, no_installation: Path, tmp_path: Path
) -> None:
    """In a shell, in an empty folder of a machine without probes, and with a file that has some."""
    shown = maker.post(
        "/stations",
        data={"name": "bench-1", "where": "elsewhere"},
        headers={"host": "office.local:8080", "origin": "http://office.local:8080"},
    )
    line = line_of(shown)
    assert "http://office.local:8080" in line
    assert no_installation.parent == tmp_path
    programs, there = tmp_path / "bin", tmp_path / "there"
    programs.mkdir()
    there.mkdir()
    # Rights are no part of what is tried here: whoever runs it stays who they are.
    (programs / "sudo").write_text('#!/bin/sh\nexec "$@"\n')
    (programs / "pourlog").write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m web.begin "$@"\n')
    for program in programs.iterdir():
        program.chmod(0o755)
    root = Path(__file__).parents[2]
    path = {"PATH": f"{programs}:/usr/bin:/bin", "PYTHONPATH": str(root), "HOME": str(tmp_path)}
    if (Path("/etc/pourlog")).is_dir():
        pytest.skip("the program is installed here: the line would change it")
    done = subprocess.run(
        ["sh", "-c", line], cwd=there, env=path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    with service.store.read() as connection:
        token = (there / "station.token").read_text().strip()
        assert stations.by_token(connection, token).name == "bench-1"
    if not (there / "station.toml").exists():
        head = (there / "station.head.toml").read_text()
        (there / "station.toml").write_text(
            head.replace("office", "elsewhere") + '[[probe]]\nid = "28-0000000000d1"\nplace = "core"\n'
        )
        subprocess.run(["sh", "-c", line], cwd=there, env=path, capture_output=True, check=True)
    config = station_from_file(there / "station.toml")
    assert (config.name, config.service_url) == ("bench-1", "http://office.local:8080")
    assert config.token() == token


@pytest.mark.parametrize("name", ["a'b; rm -rf ~", "../x", "-n", "x" * 64, "a b"])
def test_no_name_is_taken_that_a_file_or_a_shell_could_take_amiss(
    maker: TestClient, no_installation: Path, name: str
) -> None:
    """Refused before a token is made."""
    assert no_installation.name == "w1"
    assert maker.post("/stations", data={"name": name, "where": "simulated"}).status_code == 422
    assert maker.post("/stations", data={"name": name}).status_code == 422


def test_a_stations_token_never_begins_as_an_option_does(
    service: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One in 64 would: the printed line is then refused on the other machine."""
    monkeypatch.setattr("logger.store.stations.secrets.token_urlsafe", lambda _bytes: "-wLu9-dash")
    with service.store.write() as tx:
        assert not stations.enrol(tx, "bench-9", service.timeline.true_ms())[1].startswith("-")
