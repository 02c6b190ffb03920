"""What comes in from a probe: a `Reading` with a temperature, or a `Fault` with the reason why there is none.

A fault never carries a temperature, and a reading always does: no caller can mistake one for the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from hardware.clock import Clock, Stamp


class FaultReason(StrEnum):
    """Why a probe gave no temperature. The value is what the service stores."""

    MISSING = "missing"
    """The probe's file is gone: unplugged, or cut."""
    EMPTY = "empty-read"
    """The kernel gave no bytes: today's form of a failed read."""
    MALFORMED = "malformed"
    """The file does not have the kernel's two lines."""
    BAD_CRC = "bad-crc"
    """The checksum over the nine bytes does not close: noise, or nobody answered."""
    ALL_ZERO = "all-zero"
    """Nine zero bytes, whose checksum is right: the data line is held low."""
    POWER_ON = "power-on-85"
    """The value that the chip wakes up with: it never converted."""
    LOW_POWER = "low-power-127"
    """The value of a conversion that failed for want of power."""
    OUT_OF_RANGE = "out-of-range"
    """Outside what the sensor can measure."""
    IO_ERROR = "io-error"
    """The operating system could not read the file."""
    STUCK = "stuck-read"
    """The read did not come back in time."""
    OPEN_WIRE = "open-wire"
    """The thermocouple's wire is broken."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A temperature (°C, before the probe's offset) and the bytes that it came from.

    `note` says what is doubtful about it, in words; None when nothing is. `rh_percent` is relative humidity where
    the sensor has it.
    """

    probe: str
    celsius: float
    raw: str
    note: str | None = None
    rh_percent: float | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """Why `probe` gave no temperature. `detail` is for a person; `raw` is what was read, if anything was."""

    probe: str
    reason: FaultReason
    detail: str
    raw: str | None = None


@dataclass(frozen=True, slots=True)
class Sample:
    """One outcome of one look at a probe, and when it was looked at."""

    stamp: Stamp
    outcome: Reading | Fault


class Probe(Protocol):
    """Anything that is looked at once a sweep."""

    @property
    def id(self) -> str:
        """Name of the probe, unique in its station."""

    def read(self, clock: Clock) -> list[Sample]:
        """Look once.

        Nearly always one sample. None when the value can only be judged by the next one (it is then held), and
        several when the held ones are let go: over time every look gives exactly one sample.
        """

    def release(self) -> list[Sample]:
        """Let go of what is held, as faults: the station stops, and no next value will come to judge it."""


class Bus(Protocol):
    """Probes that are read one after another, by one thread."""

    @property
    def name(self) -> str:
        """Name of the bus, for the log."""

    @property
    def probes(self) -> tuple[Probe, ...]:
        """What is read on it, in order."""

    def begin_sweep(self, stamp: Stamp) -> None:
        """Prepare for the probes of one sweep to be read."""
