"""What was seen of a machine, before it is judged. Plain values; None means that it could not be seen."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from hardware.reading import Fault, Reading

STATION_UNIT = "pourlog-station.service"


class CheckState(StrEnum):
    """How a thing stands."""

    OK = "ok"
    WARN = "warn"
    """It works, and may stop working or mislead."""
    FAIL = "fail"
    """It does not work, or must not be relied on."""


@dataclass(frozen=True, slots=True)
class MachineFinding:
    """One thing, how it stands, and what to do (empty when nothing is)."""

    topic: str
    state: CheckState
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
class PinSeen:
    """One pin of the station file: who has it (None: nobody), and why it cannot be asked (None: it can)."""

    name: str
    number: int
    holder: str | None = None
    problem: str | None = None


@dataclass(frozen=True, slots=True)
class WiresSeen:
    """The 1-Wire bus and the pins. `overlay_pins` None: there is no config.txt.

    `as_unit`: the pins were looked at by the station's user under its unit's rules; None where no unit is installed.
    """

    overlay_pins: tuple[int, ...] | None
    bus_there: bool
    probes: tuple[ProbeSeen, ...]
    pins: tuple[PinSeen, ...] = ()
    as_unit: bool | None = None


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
class UnitSeen:
    """One unit as systemd has it. `restarts`: since it was last started by hand or with the machine."""

    name: str
    installed: bool
    enabled: bool
    active: str
    """systemd's own word: active, activating, inactive, failed, …"""
    result: str
    """How it last ended: success, or systemd's own word for why not."""
    restarts: int
    status: str
    """What the program itself last said."""


@dataclass(frozen=True, slots=True)
class SystemSeen:
    """What surrounds the program on its machine."""

    units: tuple[UnitSeen, ...] = ()
    memory_limits: bool | None = None
    """Whether the kernel keeps units to their MemoryMax."""
    watchdog_s: float | None = None
    """systemd's own answer; 0: off."""
    watchdog_chip: bool = False
    journal_kept: bool | None = None
    """Whether the journal is still there after a restart."""
    wifi_saving: tuple[str, ...] = ()
    """Network devices that sleep between packets."""


@dataclass(frozen=True, slots=True)
class NameSeen:
    """A .local name that phones are given, and who answers for it."""

    host: str
    answers: tuple[str, ...]


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
    """The channels of the settings, and whether a message was really sent. `heartbeat`: an outside watch is called."""

    channels: tuple[ChannelSeen, ...]
    second: bool
    sent: bool
    heartbeat: bool = False


@dataclass(frozen=True, slots=True)
class VersionsSeen:
    """Program and system."""

    program: str
    python: tuple[int, int, int]
    bits: int
    sqlite: tuple[int, int, int]
    machine: str


@dataclass(frozen=True, slots=True)
class MachineFacts:
    """Everything that was seen. A part is None where it does not concern this machine."""

    is_pi: bool
    bench: bool
    wires: WiresSeen | None
    clock_set: bool
    clock_ms: int
    battery_clock: bool
    disks: tuple[DiskSeen, ...]
    power: PowerSeen
    system: SystemSeen
    address: str | None
    name: NameSeen | None
    service: ServiceSeen | None
    messages: MessagesSeen | None
    versions: VersionsSeen
