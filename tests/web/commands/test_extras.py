"""A station alone has few libraries: what it needs works without the others, and the rest says which are missing."""

from __future__ import annotations

import re
import subprocess
import sys
from importlib.metadata import PackageNotFoundError, packages_distributions, requires
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from web.commands.extras import what_to_install

#: Blocks the libraries named in the first argument, as if they had never been installed, and runs what follows.
WITHOUT = """
import importlib.abc, runpy, sys

class Absent(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in blocked:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)

blocked = set(sys.argv[1].split(","))
sys.meta_path.insert(0, Absent())
sys.argv = sys.argv[2:]
runpy.run_module(sys.argv[0], run_name="__main__", alter_sys=True)
"""
STATION = """
name = "bench-1"
service_url = "http://127.0.0.1:9"
hardware = "bench"
[[probe]]
id = "28-0000000000a1"
place = "core"
bench = "21.5"
"""


def brought_by(*extras: str) -> set[str]:
    """Every package that `pip install pourlog[extras]` brings here, with what those bring."""
    found: set[str] = set()
    waiting = [("pourlog", frozenset(extras))]
    seen = set()
    while waiting:
        package, wanted = waiting.pop()
        if (package, wanted) in seen:
            continue
        seen.add((package, wanted))
        try:
            asked = [Requirement(text) for text in requires(package) or ()]
        except PackageNotFoundError:
            continue
        found.add(package)
        waiting += [
            (canonicalize_name(one.name), frozenset(one.extras))
            for one in asked
            if one.marker is None or any(one.marker.evaluate({"extra": extra}) for extra in (wanted or {""}))
        ]
    return found


@pytest.fixture(scope="module")
def absent() -> str:
    """The libraries that a station alone does not have."""
    there = brought_by()
    whole = brought_by("service", "postgres", "pdf", "pi")
    assert {"httpx", "typer", "gpiozero"} <= there
    assert {"fastapi", "numpy", "sqlmodel", "gpiod", "psycopg"} <= whole - there
    names = {
        module
        for module, packages in packages_distributions().items()
        if {canonicalize_name(package) for package in packages} <= whole - there
    }
    return ",".join(sorted(names))


def run(absent: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """A module and its arguments, in a process of their own without those libraries."""
    return subprocess.run(
        [sys.executable, "-c", WITHOUT, absent, *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.fixture
def station_file(tmp_path: Path) -> Path:
    """A station on the bench, without pins."""
    path = tmp_path / "station.toml"
    path.write_text(STATION, encoding="utf-8")
    (tmp_path / "station.token").write_text("token", encoding="utf-8")
    return path


def test_a_station_and_its_check_work_without_the_services_libraries(absent: str, station_file: Path) -> None:
    """`pip install pourlog`, and no more."""
    assert run(absent, "web.begin", "station", "--help").returncode == 0
    checked = run(absent, "web.begin", "check", "--station", str(station_file))
    assert "its temperatures are invented" in checked.stdout
    assert "ConnectError" in checked.stdout, "the service was asked for"
    assert checked.stderr == ""
    assert run(absent, "web.begin", "relay-safe", str(station_file)).returncode == 0
    assert run(absent, "logger.daemon", "relay-safe", str(station_file)).returncode == 0
    placed = run(absent, "web.begin", "place-probes", str(station_file.with_name("new.toml")))
    assert "extra" not in placed.stderr
    assert "1-Wire" in placed.stderr, "it looked for probes"


def test_a_station_reads_and_keeps_without_the_services_libraries(absent: str, station_file: Path) -> None:
    """Readings go into its spool, though nobody takes them."""
    code = (
        "import sys, threading\n"
        "from pathlib import Path\n"
        "from hardware.clock import SystemClock\n"
        "from logger.daemon.keep import Keeper\n"
        "from logger.daemon.main import open_hardware, run_station, station_from_file\n"
        "from logger.daemon.spool import Spool\n"
        "path = Path(sys.argv[1])\n"
        "config, clock, stop = station_from_file(path), SystemClock(), threading.Event()\n"
        "store = Keeper.store\n"
        "def once(keeper, rows, now_s):\n"
        "    stop.set()\n"
        "    return store(keeper, rows, now_s)\n"
        "Keeper.store = once\n"
        "hardware = open_hardware(config, clock, path.parent)\n"
        "run_station(config, hardware, clock, stop)\n"
        "spool = Spool(config.spool_file)\n"
        "print('kept', spool.pending)\n"
    )
    script = station_file.with_name("station_for_a_moment.py")
    script.write_text(code, encoding="utf-8")
    prefix = WITHOUT.replace("runpy.run_module(sys.argv[0]", "runpy.run_path(sys.argv[0]").replace(
        ", alter_sys=True", ""
    )
    done = subprocess.run(
        [sys.executable, "-c", prefix, absent, str(script), str(station_file)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    kept = re.search(r"kept (\d+)", done.stdout)
    assert kept, done.stderr
    assert int(kept[1]) > 0


@pytest.mark.parametrize(
    "command",
    [
        ("serve",),
        ("demo",),
        ("predict", "plan.toml"),
        ("plan", "plan.toml"),
        ("verify", "3"),
        ("enrol", "settings.toml", "bench-1"),
        ("import", "record.zip"),
    ],
)
def test_another_command_says_in_one_line_which_extra_it_needs(absent: str, command: tuple[str, ...]) -> None:
    """And how to get it; no traceback."""
    done = run(absent, "web.begin", *command)
    assert done.returncode == 1
    assert re.fullmatch(
        r"pourlog: this needs the extra `service` \(\w+ is not installed\): pip install 'pourlog\[service\]'\n",
        done.stderr,
    ), done.stderr


def test_the_self_test_says_it_too(absent: str) -> None:
    """As a finding."""
    done = run(absent, "web.begin", "self-test")
    assert done.returncode == 1
    assert "pip install 'pourlog[service]'" in done.stdout


def test_a_pin_names_the_extra_of_the_pins(absent: str, station_file: Path) -> None:
    """Not `No module named 'gpiod'`."""
    text = station_file.read_text(encoding="utf-8").replace('"bench"', '"pi"').replace('bench = "21.5"', "")
    station_file.write_text(text + "[pins]\nlamp = 23\n", encoding="utf-8")
    done = run(absent, "logger.daemon", "relay-safe", str(station_file))
    assert done.returncode == 1
    assert "pip install 'pourlog[pi]'" in done.stderr


def test_a_module_of_our_own_that_is_missing_is_no_extra() -> None:
    """A broken program is shown as one, with its traceback."""
    assert what_to_install(ModuleNotFoundError("gone", name="logger.store.gone")) is None
    assert what_to_install(ModuleNotFoundError("gone", name="sqlite3")) is None
    assert "pourlog[postgres]" in str(what_to_install(ModuleNotFoundError("gone", name="psycopg.rows")))
