"""What goes from a station to its service (see DEVELOPERS.md): the same classes write it there and read it here.

The bounds stand beside the fields: the service checks them with pydantic, which reads a dataclass field's `metadata`.
The station has no pydantic and needs none; a reading that it made itself is within them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from hardware.clock import Stamp

NAME = {"min_length": 1, "max_length": 64, "pattern": r"^[\w.:-]+$"}
TEXT_LETTERS = 400
"""Longest note on a reading, and longest text about a station's pins."""


@dataclass(frozen=True, slots=True)
class UnnumberedReading:
    """One look at a probe, or one change of a contact, before the spool has given it its number.

    `milli_c` is thousandths of a °C after the probe's offset, `milli_rh` thousandths of a percent of humidity. One
    with neither a temperature nor a fault is a contact: `note` says its state.
    """

    probe: str = field(metadata=NAME)
    place: str = field(metadata=NAME)
    stamp: Stamp
    milli_c: int | None = field(metadata={"ge": -60_000, "le": 1_400_000})
    fault: str | None = field(metadata={"max_length": 32})
    raw: str | None = field(metadata={"max_length": 64})
    note: str | None = field(default=None, metadata={"max_length": TEXT_LETTERS})
    milli_rh: int | None = field(default=None, metadata={"ge": 0, "le": 110_000})


@dataclass(frozen=True, slots=True)
class WireReading(UnnumberedReading):
    """One reading with its number in its spool: what a station sends, and what the service stores."""

    seq: int = field(kw_only=True, metadata={"ge": 1, "le": 2**53})


@dataclass(frozen=True, slots=True)
class StationHealth:
    """What a station says of its supply, its disk and its pins; None where it does not know.

    `pin_faults`: what is wrong with lamp, buzzer, fan and contacts; empty where nothing is, None where none is wired.
    """

    power_low: bool | None = None
    disk_free_mb: float | None = field(default=None, metadata={"ge": 0, "le": 1e12})
    pin_faults: str | None = field(default=None, metadata={"max_length": TEXT_LETTERS})


def stamp_json(stamp: Stamp) -> dict[str, object]:
    """Return a stamp as it is sent."""
    return {
        "wall_ms": stamp.wall_ms,
        "boot_id": stamp.boot_id,
        "boot_ms": stamp.boot_ms,
        "clock_set": stamp.clock_set,
    }


def reading_json(reading: WireReading) -> dict[str, object]:
    """Return a reading as it is sent. Humidity is left out where there is none: older services refuse its name."""
    shown: dict[str, object] = {
        "seq": reading.seq,
        "probe": reading.probe,
        "place": reading.place,
        "stamp": stamp_json(reading.stamp),
        "milli_c": reading.milli_c,
        "fault": reading.fault,
        "raw": reading.raw,
        "note": reading.note,
    }
    if reading.milli_rh is not None:
        shown["milli_rh"] = reading.milli_rh
    return shown


def health_json(health: StationHealth) -> dict[str, object]:
    """Return a station's health as it is sent."""
    faults = health.pin_faults
    return {
        "power_low": health.power_low,
        "disk_free_mb": health.disk_free_mb,
        "pin_faults": None if faults is None else faults[:TEXT_LETTERS],
    }
