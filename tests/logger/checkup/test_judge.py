"""What was seen becomes plain words, and each word that isn't good says what to do."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from hardware.reading import Fault, FaultReason, Reading
from logger.checkup.facts import (
    ChannelSeen,
    DiskSeen,
    Facts,
    MessagesSeen,
    PowerSeen,
    ProbeSeen,
    ServiceSeen,
    State,
    VersionsSeen,
    WiresSeen,
)
from logger.checkup.judge import REMEDIES, judge, worst

CORE = ProbeSeen("28-0000000000c1", "core", Reading("28-0000000000c1", 21.0, "00"), True, 12)
WIRES = WiresSeen((4,), True, (CORE,), (("lamp", 23),), True)
WELL = Facts(
    is_pi=True,
    bench=False,
    wires=WIRES,
    clock_set=True,
    clock_ms=1_795_593_600_000,
    battery_clock=False,
    disks=(DiskSeen("station", "/var/lib/pourlog-station", 20_000.0, True),),
    power=PowerSeen(False, 0),
    watchdog_s=14.0,
    address="192.0.2.7",
    service=ServiceSeen("http://127.0.0.1:8080", None, True),
    messages=MessagesSeen((ChannelSeen("ntfy://push.invalid", None),), True, True),
    versions=VersionsSeen("0.1.0", (3, 13, 5), 64, (3, 46, 1), "aarch64"),
)


def said(facts: Facts, topic: str) -> list[tuple[State, str, str]]:
    """What is said of one topic."""
    return [(f.state, f.says, f.do) for f in judge(facts) if f.topic == topic]


def test_a_machine_that_is_fit_has_nothing_to_do() -> None:
    """Every topic is named, well, and asks for nothing."""
    found = judge(WELL)
    assert worst(found) is State.GOOD
    assert {f.topic for f in found} == {"probes", "pins", "clock", "disk", "power", "watchdog", "network", "service",
                                        "messages", "versions"}  # fmt: skip
    assert all(f.do == "" for f in found)


PARASITE = replace(CORE, external_power=False)
COARSE = replace(CORE, bits=9)
STRANGER = replace(CORE, id="28-0000000000ff", place=None)


def wires(**change: Any) -> Facts:
    """The fit machine with other wires."""
    return replace(WELL, wires=replace(WIRES, **change))


def room(free_mb: float | None) -> Facts:
    """So much room on the station's disk."""
    return replace(WELL, disks=(DiskSeen("station", "/x", free_mb, free_mb is not None),))


def power(low: bool | None, throttled: int | None) -> Facts:
    """What kernel and firmware say of the supply."""
    return replace(WELL, power=PowerSeen(low, throttled))


def answer(*seen: Any) -> Facts:
    """How the service answered."""
    return replace(WELL, service=ServiceSeen("http://x:1", *seen))


def told(*problems: str | None, second: bool = True, sent: bool = True) -> Facts:
    """Channels, each with what is wrong with it."""
    channels = tuple(ChannelSeen("a://b", problem) for problem in problems)
    return replace(WELL, messages=MessagesSeen(channels, second, sent))


NO_BUS = wires(bus_there=False)
OLD = replace(WELL.versions, python=(3, 9, 2))
NARROW = replace(WELL.versions, bits=32)
BAD, MIND = State.BAD, State.MIND


@pytest.mark.parametrize(
    ("facts", "topic", "state", "says", "do"),
    [
        (wires(bus_there=False, overlay_pins=()), "probes", BAD, "not switched on", "systemd/install"),
        (NO_BUS, "probes", BAD, "shows no bus", "reboot"),
        (replace(NO_BUS, is_pi=False), "probes", BAD, "no Pi", "on the Pi"),
        (wires(probes=()), "probes", BAD, "no probe is plugged in", "4.7 kΩ"),
        (wires(probes=(PARASITE,)), "probes", MIND, "from the data wire", "third wire"),
        (wires(probes=(COARSE,)), "probes", MIND, "9 bit", "12"),
        (wires(probes=(CORE, STRANGER)), "probes", MIND, "does not name it (21.0 °C)", "place-probes"),
        (replace(WELL, bench=True, wires=None), "probes", MIND, "invented", 'hardware = "pi"'),
        (wires(pins=(("fan", 4),)), "pins", BAD, "the probes' data pin", "another pin"),
        (wires(chip_there=False), "pins", BAD, "no pins", "on the Pi"),
        (replace(WELL, clock_set=False), "clock", MIND, "nothing has set", "battery"),
        (replace(WELL, clock_ms=0), "clock", BAD, "in the past", "connect the network"),
        (room(300.0), "disk", MIND, "0.3 GB", "make room"),
        (room(50.0), "disk", BAD, "0.1 GB", "make room now"),
        (room(None), "disk", BAD, "cannot be written", "read-only"),
        (power(True, None), "power", BAD, "too weak now", "supply"),
        (power(None, 0x50005), "power", BAD, "too weak now", "supply"),
        (power(False, 0x50000), "power", MIND, "since the start", "supply"),
        (power(False, 0xE0008), "power", MIND, "too hot", "air"),
        (replace(WELL, watchdog_s=None), "watchdog", MIND, "stays hung", "README"),
        (replace(WELL, address=None), "network", MIND, "no network", "cable"),
        (answer("does not answer"), "service", BAD, "does not answer", "systemctl"),
        (answer(None, False, "not known"), "service", BAD, "not known", "enrol"),
        (told(), "messages", BAD, "nobody is told", "[messages]"),
        (told(None, sent=False), "messages", MIND, "not yet proven", "--message"),
        (told("refused"), "messages", BAD, "refused", "[messages]"),
        (told(None, second=False), "messages", MIND, "first one does not answer", "second_urls"),
        (replace(WELL, versions=OLD), "versions", BAD, "Python 3.9.2", "3.11"),
        (replace(WELL, versions=NARROW), "versions", BAD, "aarch64", "64-bit"),
    ],
)
def test_each_thing_that_is_wrong_is_said_with_its_remedy(
    facts: Facts, topic: str, state: State, says: str, do: str
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
    assert (state, do) == (State.BAD, REMEDIES[reason])
    assert says == "core (28-0000000000c1): what was seen"


def test_a_machine_that_tells_nothing_of_its_supply_is_not_praised_for_it() -> None:
    """On a Pi that is odd; on an office computer it is no matter."""
    silent = replace(WELL, power=PowerSeen(None, None))
    assert said(silent, "power")[0][0] is State.MIND
    assert said(replace(silent, is_pi=False), "power") == []
