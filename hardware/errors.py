"""Errors of wires and kernel files. A leaf module.

HardwareError
├── BadWiring             what the station file says about wires cannot be built; place, value, allowed, remedy
├── HardwareMissing       the machine lacks what the wiring needs (no 1-Wire folder, no GPIO driver)
└── BadTrace              a temperature trace for the bench cannot be played

A probe that cannot be read is not an error: it is a `Fault` (reading.py), because the watch goes on.
"""

from __future__ import annotations


class HardwareError(Exception):
    """Root of every error that this package raises on purpose."""


class BadWiring(HardwareError):
    """What the station file says about wires cannot be built."""

    def __init__(self, where: str, problem: str, *, value: object, allowed: str, remedy: str) -> None:
        self.where = where
        self.problem = problem
        self.value = value
        self.allowed = allowed
        self.remedy = remedy
        super().__init__(f"{where}: {problem}; found {value!r}; allowed: {allowed}; {remedy}")


class HardwareMissing(HardwareError):
    """The machine lacks what the wiring needs."""


class BadTrace(HardwareError):
    """A temperature trace for the bench cannot be played."""
