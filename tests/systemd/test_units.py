"""The unit files, judged by systemd itself, offline.

`systemd-analyze verify` ends with 0 for unknown keys and bad values, which it only warns about: any word on standard
error is a failure here.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from needs import needs_program

UNITS = Path(__file__).parents[2] / "systemd"
SERVICES = sorted(path.name for path in UNITS.glob("*.service"))
HARDENED_TO = 20
"""Tenths: 2.0 of 10 (a bare unit has 9.6)."""

analyze = shutil.which("systemd-analyze")
needs_systemd = needs_program("systemd-analyze", "systemd")


@pytest.fixture
def installed(tmp_path: Path) -> Path:
    """The units as installed, with a program that exists everywhere in place of ours."""
    for path in UNITS.iterdir():
        text = re.sub(r"^(Exec\w+)=\+?/opt/pourlog/.*", r"\1=/bin/true", path.read_text(), flags=re.MULTILINE)
        (tmp_path / path.name).write_text(text)
    return tmp_path


def ask(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """systemd-analyze in a folder of units."""
    assert analyze is not None
    return subprocess.run([analyze, *arguments], cwd=folder, capture_output=True, text=True, check=False)


@needs_systemd
def test_systemd_has_no_word_to_say_against_the_units(installed: Path) -> None:
    """All units at once, since they name each other."""
    names = [
        f"./{path.name}" for path in sorted(installed.iterdir()) if path.suffix in (".service", ".timer")
    ]
    ran = ask("verify", *names, folder=installed)
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "", "")


@needs_systemd
def test_a_typing_mistake_would_be_seen(installed: Path) -> None:
    """The test of the test: verify ends with 0 for it, and only its words tell."""
    unit = installed / "pourlog-station.service"
    unit.write_text(unit.read_text().replace("WatchdogSec=", "WatchDogSecs="))
    assert "WatchDogSecs" in ask("verify", f"./{unit.name}", folder=installed).stderr


@needs_systemd
@pytest.mark.parametrize("name", SERVICES)
def test_a_service_is_hardened(installed: Path, name: str) -> None:
    """The offline score stays at 2.0 or below."""
    ran = ask("security", "--offline=true", f"--threshold={HARDENED_TO}", f"./{name}", folder=installed)
    assert ran.returncode == 0, ran.stdout.splitlines()[-1]


@pytest.mark.parametrize("name", ["pourlog-station.service", "pourlog-service.service"])
def test_a_hung_or_killed_service_is_started_again(name: str) -> None:
    """Ready when it says so, restarted when it falls silent or fails, and never given up."""
    text = (UNITS / name).read_text()
    for line in ("Type=notify", "Restart=on-failure", "StartLimitIntervalSec=0"):
        assert f"\n{line}\n" in text
    assert re.search(r"^WatchdogSec=\d+$", text, re.MULTILINE)


def test_the_relay_is_made_safe_after_any_end_of_the_station() -> None:
    """ExecStopPost runs after a SIGKILL too, with the same station file."""
    text = (UNITS / "pourlog-station.service").read_text()
    start = re.search(r"^ExecStart=(.+) station (\S+)$", text, re.MULTILINE)
    after = re.search(r"^ExecStopPost=(.+) relay-safe (\S+)$", text, re.MULTILINE)
    assert start is not None
    assert after is not None
    assert start.groups() == after.groups()


@pytest.mark.parametrize("name", SERVICES)
def test_the_station_may_still_ask_whether_the_clock_is_set(name: str) -> None:
    """~@privileged takes adjtimex away, and without it no clock ever counts as set: it is given back afterwards."""
    filters = re.findall(r"^SystemCallFilter=(.*)$", (UNITS / name).read_text(), re.MULTILINE)
    assert {"adjtimex", "clock_adjtime"} <= set(filters[-1].split())
    assert filters[-2].startswith("~")


def test_the_services_heavy_work_may_stand_back() -> None:
    """~@resources takes setpriority away, which the processes of forecasts and imports begin with."""
    unit = (UNITS / "pourlog-service.service").read_text()
    assert "setpriority" in re.findall(r"^SystemCallFilter=(.*)$", unit, re.MULTILINE)[-1].split()


@pytest.mark.parametrize("name", SERVICES)
def test_units_wait_for_neither_network_nor_time(name: str) -> None:
    """A workshop without network is watched all the same."""
    for line in (UNITS / name).read_text().splitlines():
        assert not re.match(r"(After|Requires|Wants|BindsTo)=.*(network|time-sync)", line)


def test_tmpfiles_are_well_formed() -> None:
    """Six fields a line: type, path, mode, user, group, age; the token is not for everybody."""
    lines = [
        line.split() for line in (UNITS / "pourlog.tmpfiles.conf").read_text().splitlines() if line[0] != "#"
    ]
    assert all(
        len(line) == 6 and line[0] in ("d", "z") and re.fullmatch(r"0[0-7]{3}", line[2]) for line in lines
    )
    modes = {line[1]: line[2] for line in lines}
    assert modes["/etc/pourlog/station.token"] == "0640"
