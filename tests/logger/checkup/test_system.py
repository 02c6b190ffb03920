"""What surrounds the program: systemd's own answers, and the kernel's files, below a folder of the test's own."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from logger.daemon.station_file import station_from_file
from logger.diagnosis import look as looking
from logger.diagnosis.look import Outside, Places, look
from logger.diagnosis.machine_facts import PinSeen, UnitSeen
from logger.diagnosis.system import SystemPlaces, look_at_system, run, seconds_of, under_the_units_rules

UNITS = Path(__file__).parents[3] / "systemd"
#: As systemd 252 and 257 print it.
SHOWN = """Result=success
NRestarts=0
StatusText=12 sweeps, 0 rows to send
Id=pourlog-station.service
LoadState=loaded
ActiveState=active
UnitFileState=enabled

Result=exit-code
NRestarts=41
Id=pourlog-service.service
LoadState=loaded
ActiveState=activating
UnitFileState=disabled
"""


class Asked:
    """In place of the system's commands: answers by their first words."""

    def __init__(self, **answers: str | None) -> None:
        self.answers = {"systemctl": SHOWN} | answers
        self.commands: list[list[str]] = []

    def __call__(self, command: Sequence[str]) -> str | None:
        self.commands.append(list(command))
        for name in (f"{command[0]} {command[1]}", command[0]):
            if name.replace(" ", "_").replace("-", "_") in self.answers:
                return self.answers[name.replace(" ", "_").replace("-", "_")]
        return None


@pytest.fixture
def places(tmp_path: Path) -> SystemPlaces:
    """A system that runs systemd."""
    (tmp_path / "systemd").mkdir()
    for name in ("dev", "cgroup", "net", "var", "run"):
        (tmp_path / name).mkdir()
    return SystemPlaces(
        tmp_path / "systemd",
        tmp_path / "dev",
        tmp_path / "cgroup",
        tmp_path / "net",
        (tmp_path / "var", tmp_path / "run"),
    )


def test_units_are_as_systemd_says(places: SystemPlaces) -> None:
    """Each with how it stands, how often it was started again, and its own last word."""
    asked = Asked()
    seen = look_at_system(["pourlog-station.service", "pourlog-service.service"], places, asked)
    assert seen.units == (
        UnitSeen("pourlog-station.service", True, True, "active", "success", 0, "12 sweeps, 0 rows to send"),
        UnitSeen("pourlog-service.service", True, False, "activating", "exit-code", 41, ""),
    )
    assert asked.commands[0][-2:] == ["pourlog-station.service", "pourlog-service.service"]


def test_without_systemd_nothing_is_said_of_it(tmp_path: Path) -> None:
    """A developer's container."""
    nothing = SystemPlaces(*[tmp_path / "nothing"] * 4, (tmp_path / "nothing",) * 2)
    seen = look_at_system(["pourlog-station.service"], nothing, Asked())
    assert (seen.units, seen.watchdog_s, seen.memory_limits, seen.journal_kept) == ((), None, None, None)


@pytest.mark.parametrize(
    ("span", "seconds"),
    [
        ("14s", 14.0),
        ("1min", 60.0),
        ("1min 30s", 90.0),
        ("0", 0.0),
        ("500ms", 0.5),
        ("2h 5min", 7500.0),
        ("infinity", float("inf")),
        ("", None),
        ("default", None),
        ("15", None),
    ],
)
def test_the_watchdog_is_systemds_own_answer(places: SystemPlaces, span: str, seconds: float | None) -> None:
    """Not what a settings file says: "1min" and "default" are words there, and a drop-in may count or not."""
    assert seconds_of(span) == seconds
    asked = Asked(systemctl=f"{span}\n")
    assert look_at_system([], places, asked).watchdog_s == seconds
    assert asked.commands[0] == ["systemctl", "show", "--property=RuntimeWatchdogUSec", "--value"]
    (places.device / "watchdog0").touch()
    assert look_at_system([], places, asked).watchdog_chip


@pytest.mark.parametrize(
    ("controllers", "kept"),
    [("cpuset cpu io memory pids\n", True), ("cpuset cpu io pids\n", False), (None, False)],
)
def test_memory_is_limited_where_the_kernel_counts_it(
    places: SystemPlaces, controllers: str | None, kept: bool
) -> None:
    """A Pi's firmware starts it with cgroup_disable=memory: MemoryMax is then a wish."""
    if controllers is not None:
        (places.cgroup / "cgroup.controllers").write_text(controllers)
    assert look_at_system([], places, Asked()).memory_limits is kept
    if controllers is None:
        (places.cgroup / "memory").mkdir()
        assert look_at_system([], places, Asked()).memory_limits


def test_a_journal_in_memory_is_seen(places: SystemPlaces) -> None:
    """By where its file is, whatever its settings say."""
    assert look_at_system([], places, Asked()).journal_kept is None
    for folder, kept in ((places.journals[1], False), (places.journals[0], True)):
        (folder / "0123").mkdir()
        (folder / "0123" / "system.journal").touch()
        assert look_at_system([], places, Asked()).journal_kept is kept


def test_wifi_that_sleeps_is_seen(places: SystemPlaces) -> None:
    """Of devices that are up; a cable is no WiFi."""
    for name, wifi, state in (("eth0", False, "up"), ("wlan0", True, "up"), ("wlan1", True, "down")):
        device = places.network / name
        device.mkdir()
        (device / "operstate").write_text(f"{state}\n")
        if wifi:
            (device / "phy80211").mkdir()
    asked = Asked(iw="Power save: on\n")
    assert look_at_system([], places, asked).wifi_saving == ("wlan0",)
    assert [command for command in asked.commands if command[0] == "iw"] == [
        ["iw", "dev", "wlan0", "get", "power_save"]
    ]
    assert look_at_system([], places, Asked(iw="Power save: off\n")).wifi_saving == ()
    assert look_at_system([], places, Asked()).wifi_saving == ()


def test_a_command_that_cannot_be_had_or_fails_is_no_answer() -> None:
    """None, never an exception: the other findings are still wanted."""
    assert run([sys.executable, "-c", "print('x')"]) == "x\n"
    assert run([sys.executable, "-c", "raise SystemExit(3)"]) is None
    assert run(["no-such-command-here"]) is None


def test_pins_are_looked_at_by_the_units_user_under_its_rules() -> None:
    """Every rule of the shipped unit and its drop-ins, and none that belongs to its running program."""
    text = (UNITS / "pourlog-station.service").read_text()
    text += "\n# a drop-in\n[Service]\nMemoryMax=150M\n[Install]\nX=y\n"
    asked = Asked(systemctl_cat=text, systemd_run="[]")
    assert under_the_units_rules("pourlog-station.service", ["python", "x"], asked) == "[]"
    command = asked.commands[-1]
    assert command[:5] == ["systemd-run", "--quiet", "--wait", "--pipe", "--collect"]
    assert command[-2:] == ["python", "x"]
    rules = [word.removeprefix("--property=") for word in command[5:-2]]
    for wanted in (
        "User=pourlog-station",
        "SupplementaryGroups=gpio",
        "DeviceAllow=char-gpiochip rw",
        "ProtectSystem=strict",
        "CapabilityBoundingSet=",
        "SystemCallFilter=~@privileged @resources",
        "MemoryMax=150M",
    ):
        assert wanted in rules
    names = [rule.partition("=")[0] for rule in rules]
    assert not {"ExecStart", "ExecStopPost", "Type", "Restart", "WatchdogSec", "StateDirectory", "X"} & set(
        names
    )
    # The running station's folder would be taken away with the check's end.
    assert [rule for rule in rules if "/run/" in rule or "Directory" in rule] == [
        "RuntimeDirectory=pourlog-check",
        "WorkingDirectory=/run/pourlog-check",
    ]


@pytest.mark.parametrize(("root", "as_unit"), [(True, True), (False, False)])
def test_the_check_takes_the_units_word_where_it_may_ask_for_it(
    tmp_path: Path,
    places: SystemPlaces,
    clock: Any,
    monkeypatch: pytest.MonkeyPatch,
    root: bool,
    as_unit: bool,
) -> None:
    """As root on a machine with the unit; else it looks for itself, and says so."""
    monkeypatch.setattr(looking, "is_root", lambda: root)
    (tmp_path / "station.toml").write_text(
        'name = "b"\nservice_url = "http://127.0.0.1:9"\nhardware = "pi"\n[pins]\nlamp = 23\n'
        '[[air]]\nname = "sht4x"\nplace = "room"\n'
    )
    told = [{"name": "lamp", "number": 23, "holder": "pourlog", "problem": None}]
    asked = Asked(systemctl_cat="[Service]\nUser=x\n", systemd_run=json.dumps(told))
    facts = look(
        clock,
        station_from_file(tmp_path / "station.toml"),
        None,
        units=["pourlog-station.service"],
        outside=Outside(Places(*[tmp_path / "nothing"] * 6, (), places), run=asked),
    )
    assert facts.wires is not None
    assert facts.wires.as_unit is as_unit
    if root:
        assert facts.wires.pins == (PinSeen("lamp", 23, "pourlog", None),)
        (command,) = [command for command in asked.commands if command[0] == "systemd-run"]
        assert command[-6:] == [
            sys.executable,
            "-P",
            "-m",
            "logger.daemon",
            "pins",
            str(tmp_path / "station.toml"),
        ]
