"""What was seen of a machine, before anybody judges it. Plain values; None means that it could not be told."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from hardware.reading import Fault, Reading


class State(StrEnum):
    """How a thing stands."""

    GOOD = "good"
    MIND = "mind"
    """It works, and may stop working or mislead."""
    BAD = "bad"
    """It does not work, or must not be relied on."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing, how it stands, and what to do (empty when nothing is)."""

    topic: str
    state: State
    says: str
    do: str = ""


@dataclass(frozen=True, slots=True)
class ProbeSeen:
    """One thermometer: `place` is None when the station file does not name it; `outcome` None when it was not read."""

    id: str
    place: str | None
    outcome: Reading | Fault | None
    external_power: bool | None = None
    bits: int | None = None


@dataclass(frozen=True, slots=True)
class WiresSeen:
    """The 1-Wire bus and the pins. `overlay_pins` None: there is no config.txt."""

    overlay_pins: tuple[int, ...] | None
    bus_there: bool
    probes: tuple[ProbeSeen, ...]
    pins: tuple[tuple[str, int], ...] = ()
    chip_there: bool = False


@dataclass(frozen=True, slots=True)
class DiskSeen:
    """Room for one program's data."""

    what: str
    folder: str
    free_mb: float | None
    writable: bool


@dataclass(frozen=True, slots=True)
class PowerSeen:
    """`throttled`: the firmware's bit field; `low`: the kernel's under-voltage alarm."""

    low: bool | None
    throttled: int | None


@dataclass(frozen=True, slots=True)
class ServiceSeen:
    """How the service answered: `problem` None when well. `token`: whether it knew the station's; None: not asked."""

    url: str
    problem: str | None
    token: bool | None = None
    token_problem: str | None = None


@dataclass(frozen=True, slots=True)
class ChannelSeen:
    """One way to a phone, without its secrets. `problem` None: understood, and taken if a message was sent."""

    shown: str
    problem: str | None


@dataclass(frozen=True, slots=True)
class MessagesSeen:
    """The channels of the settings, and whether a message was really sent."""

    channels: tuple[ChannelSeen, ...]
    second: bool
    sent: bool


@dataclass(frozen=True, slots=True)
class VersionsSeen:
    """Program and system."""

    program: str
    python: tuple[int, int, int]
    bits: int
    sqlite: tuple[int, int, int]
    machine: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that was seen. A part is None where it does not concern this machine."""

    is_pi: bool
    bench: bool
    wires: WiresSeen | None
    clock_set: bool
    clock_ms: int
    battery_clock: bool
    disks: tuple[DiskSeen, ...]
    power: PowerSeen
    watchdog_s: float | None
    address: str | None
    service: ServiceSeen | None
    messages: MessagesSeen | None
    versions: VersionsSeen
