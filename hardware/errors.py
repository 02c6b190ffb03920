"""Errors of wires and kernel files. A leaf module.

HardwareError
├── HardwareMissing       the machine lacks what the wiring needs (no 1-Wire folder, no GPIO driver)
└── BadTrace              a temperature trace for the bench cannot be played

A probe that cannot be read is not an error: it is a `Fault` (reading.py), because the watch goes on. What a station
file says wrongly is refused where it is read (logger/daemon/station_file.py).
"""

from __future__ import annotations


class HardwareError(Exception):
    """Root of every error that this package raises on purpose."""


class HardwareMissing(HardwareError):
    """The machine lacks what the wiring needs."""


class BadTrace(HardwareError):
    """A temperature trace for the bench cannot be played."""
