"""What was seen becomes plain words, and each word that isn't good says what to do."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from hardware.reading import Fault, FaultReason, Reading
from logger.diagnosis.judge import REMEDIES, judge, worst
from logger.diagnosis.machine_facts import (
    ChannelSeen,
    CheckState,
    DiskSeen,
    MachineFacts,
    MessagesSeen,
    NameSeen,
    PinSeen,
    PowerSeen,
    ProbeSeen,
    ServiceSeen,
    SystemSeen,
    UnitSeen,
    VersionsSeen,
    WiresSeen,
)
from logger.words.reader import METRIC
from logger.words.render import say

CORE = ProbeSeen("28-0000000000c1", "core", Reading("28-0000000000c1", 21.0, "00"), True, 12)
WIRES = WiresSeen((4,), True, (CORE,), (PinSeen("lamp", 23, "pourlog"),), True)
WELL = MachineFacts(
    is_pi=True,
    bench=False,
    wires=WIRES,
    clock_set=True,
    clock_ms=1_795_593_600_000,
    battery_clock=False,
    disks=(DiskSeen("station", "/var/lib/pourlog-station", 20_000.0, True),),
    power=PowerSeen(False, 0),
    system=SystemSeen(
        (
            UnitSeen(
                "pourlog-station.service", True, True, "active", "success", 0, "9 sweeps, 0 rows to send"
            ),
            UnitSeen("pourlog-service.service", True, True, "active", "success", 0, "watching"),
            UnitSeen("pourlog-backup.timer", True, True, "active", "success", 0, ""),
            UnitSeen("pourlog-backup.service", True, True, "inactive", "success", 0, ""),
        ),
        memory_limits=True,
        watchdog_s=14.0,
        watchdog_chip=True,
        journal_kept=True,
    ),
    address="192.0.2.7",
    name=NameSeen("pour.local", ("192.0.2.7",)),
    service=ServiceSeen("http://127.0.0.1:8080", None, True),
    messages=MessagesSeen((ChannelSeen("ntfy://push.invalid", None),), True, True, True),
    versions=VersionsSeen("0.1.0", (3, 13, 5), 64, (3, 46, 1), "aarch64"),
)


def said(facts: MachineFacts, topic: str) -> list[tuple[CheckState, str, str]]:
    """What is said of one topic."""
    return [(f.state, say(f.says, METRIC), say(f.do, METRIC)) for f in judge(facts) if f.topic == topic]


def test_a_machine_that_is_fit_has_nothing_to_do() -> None:
    """Every topic is named, OK, and asks for nothing."""
    found = judge(WELL)
    assert worst(found) is CheckState.OK
    assert {f.topic for f in found} == {
        "probes",
        "pins",
        "clock",
        "disk",
        "power",
        "units",
        "watchdog",
        "memory",
        "journal",
        "network",
        "name",
        "service",
        "messages",
        "versions",
    }
    assert all(f.do == "" for f in found)


PARASITE = replace(CORE, external_power=False)
COARSE = replace(CORE, bits=9)
STRANGER = replace(CORE, id="28-0000000000ff", place=None)


def wires(**change: Any) -> MachineFacts:
    """The fit machine with other wires."""
    return replace(WELL, wires=replace(WIRES, **change))


def room(free_mb: float | None) -> MachineFacts:
    """So much room on the station's disk."""
    return replace(WELL, disks=(DiskSeen("station", "/x", free_mb, free_mb is not None),))


def power(low: bool | None, throttled: int | None) -> MachineFacts:
    """What kernel and firmware say of the supply."""
    return replace(WELL, power=PowerSeen(low, throttled))


def answer(*seen: Any) -> MachineFacts:
    """How the service answered."""
    return replace(WELL, service=ServiceSeen("http://x:1", *seen))


def told(
    *problems: str | None, second: bool = True, sent: bool = True, heartbeat: bool = True
) -> MachineFacts:
    """Channels, each with what is wrong with it."""
    channels = tuple(ChannelSeen("a://b", problem) for problem in problems)
    return replace(WELL, messages=MessagesSeen(channels, second, sent, heartbeat))


def pin(**seen: Any) -> MachineFacts:
    """A fan's pin beside a station that runs."""
    return wires(pins=(PinSeen("fan", 25, **seen),))


def system(**change: Any) -> MachineFacts:
    """The fit machine with something else around the program."""
    return replace(WELL, system=replace(WELL.system, **change))


def unit(number: int = 0, **change: Any) -> MachineFacts:
    """One of its units, the station's by default, stands otherwise."""
    units = list(WELL.system.units)
    units[number] = replace(units[number], **change)
    return system(units=tuple(units))


NO_BUS = wires(bus_there=False)
OLD = replace(WELL.versions, python=(3, 9, 2))
NARROW = replace(WELL.versions, bits=32)
FAIL, WARN = CheckState.FAIL, CheckState.WARN


@pytest.mark.parametrize(
    ("facts", "topic", "state", "says", "do"),
    [
        (wires(bus_there=False, overlay_pins=()), "probes", FAIL, "not switched on", "systemd/install"),
        (NO_BUS, "probes", FAIL, "shows no bus", "reboot"),
        (replace(NO_BUS, is_pi=False), "probes", FAIL, "no Pi", "on the Pi"),
        (wires(probes=()), "probes", FAIL, "no probe is plugged in", "4.7 kΩ"),
        (wires(probes=(PARASITE,)), "probes", WARN, "from the data wire", "third wire"),
        (wires(probes=(COARSE,)), "probes", WARN, "9 bit", "12"),
        (wires(probes=(CORE, STRANGER)), "probes", WARN, "does not name it (21.0 °C)", "place-probes"),
        (replace(WELL, bench=True, wires=None), "probes", WARN, "invented", 'hardware = "pi"'),
        (wires(pins=(PinSeen("fan", 4),)), "pins", FAIL, "the probes' data pin", "another pin"),
        (
            pin(problem="Permission denied"),
            "pins",
            FAIL,
            "fan (GPIO 25): Permission denied",
            "systemd/install",
        ),
        (pin(holder="spi0 CS1"), "pins", FAIL, "fan (GPIO 25) is used by spi0 CS1", "another pin"),
        (pin(), "pins", FAIL, "fan (GPIO 25): the station runs without it", "restart pourlog-station"),
        (wires(as_unit=False), "pins", WARN, "not by the station's own user", "sudo pourlog check"),
        (
            unit(active="failed", result="exit-code", restarts=9),
            "units",
            FAIL,
            "pourlog-station does not run (failed: exit-code), and was started again 9 times",
            "journalctl -u pourlog-station",
        ),
        (unit(active="activating", result="watchdog", restarts=1), "units", FAIL, "again once", "restart"),
        (unit(active="inactive"), "units", FAIL, "pourlog-station is not running", "systemctl restart"),
        (unit(restarts=3), "units", WARN, "had to be started again 3 times", "journalctl"),
        (unit(enabled=False), "units", WARN, "does not start with the machine", "systemctl enable"),
        (unit(installed=False), "units", FAIL, "is not installed", "systemd/install"),
        (
            unit(status="9 sweeps, 4 rows to send; lamp (GPIO 23): busy"),
            "units",
            WARN,
            "pourlog-station says: lamp (GPIO 23): busy",
            "journalctl",
        ),
        (
            unit(1, status="the database is locked"),
            "units",
            WARN,
            "pourlog-service says: the database",
            "journalctl",
        ),
        (
            unit(3, active="failed", result="exit-code"),
            "units",
            FAIL,
            "the last backup failed",
            "pourlog-backup",
        ),
        (system(memory_limits=False), "memory", WARN, "MemoryMax does nothing", "cgroup_enable=memory"),
        (system(journal_kept=False), "journal", WARN, "in memory", "Storage=persistent"),
        (system(wifi_saving=("wlan0",)), "wifi", WARN, "wlan0 sleeps", "wifi.powersave=2"),
        (system(watchdog_s=0.0), "watchdog", WARN, "stays hung", "RuntimeWatchdogSec=14"),
        (system(watchdog_chip=False), "watchdog", WARN, "this machine shows none", "dtparam=watchdog=on"),
        (
            replace(WELL, name=NameSeen("pour.local", ())),
            "name",
            WARN,
            "nobody in this network answers for pour.local",
            "avahi-daemon",
        ),
        (
            replace(WELL, name=NameSeen("pour.local", ("192.0.2.9",))),
            "name",
            WARN,
            "another machine here (192.0.2.9)",
            "name of its own",
        ),
        (replace(WELL, clock_set=False), "clock", WARN, "nothing has set", "battery"),
        (replace(WELL, clock_ms=0), "clock", FAIL, "in the past", "connect the network"),
        (room(300.0), "disk", WARN, "0.3 GB", "make room"),
        (room(50.0), "disk", FAIL, "0.1 GB", "make room now"),
        (room(None), "disk", FAIL, "cannot be written", "read-only"),
        (power(True, None), "power", FAIL, "too weak now", "supply"),
        (power(None, 0x50005), "power", FAIL, "too weak now", "supply"),
        (power(False, 0x50000), "power", WARN, "since the start", "supply"),
        (power(False, 0xE0008), "power", WARN, "too hot", "air"),
        (replace(WELL, address=None), "network", WARN, "no network", "cable"),
        (answer("does not answer"), "service", FAIL, "does not answer", "systemctl"),
        (answer(None, False, "not known"), "service", FAIL, "not known", "enrol"),
        (told(), "messages", FAIL, "nobody is told", "Messages to my phone"),
        (told(None, heartbeat=False), "messages", WARN, "when this machine itself stops", "heartbeat_url"),
        (told(None, sent=False), "messages", WARN, "not yet proven", "--message"),
        (told("refused"), "messages", FAIL, "refused", "[messages]"),
        (told(None, second=False), "messages", WARN, "first one does not answer", "second person’s phone"),
        (replace(WELL, versions=OLD), "versions", FAIL, "Python 3.9.2", "3.11"),
        (replace(WELL, versions=NARROW), "versions", FAIL, "aarch64", "64-bit"),
    ],
)
def test_each_thing_that_is_wrong_is_said_with_its_remedy(
    facts: MachineFacts, topic: str, state: CheckState, says: str, do: str
) -> None:
    """In the words of somebody who has never written a unit file."""
    found = [entry for entry in said(facts, topic) if entry[0] is state]
    assert any(says in entry[1] and do in entry[2] for entry in found), said(facts, topic)
    assert worst(judge(facts)) is state


@pytest.mark.parametrize("reason", FaultReason)
def test_every_fault_of_a_probe_has_a_remedy(reason: FaultReason) -> None:
    """Also those that will be added."""
    probe = replace(CORE, outcome=Fault(CORE.id, reason, "what was seen"))
    ((state, says, do),) = said(wires(probes=(probe,)), "probes")
    assert (state, do) == (CheckState.FAIL, say(REMEDIES[reason], METRIC))
    assert says == "core (28-0000000000c1): what was seen"


def test_a_machine_that_tells_nothing_of_its_supply_is_not_praised_for_it() -> None:
    """On a Pi that is odd; on an office computer it is no matter."""
    silent = replace(WELL, power=PowerSeen(None, None))
    assert said(silent, "power")[0][0] is CheckState.WARN
    assert said(replace(silent, is_pi=False), "power") == []
