"""Which pin does what, and what a driver of pins can do.

The two drivers: gpio.py for a Pi, bench/pins.py for the bench.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

PIN_NUMBERS = range(28)
"""GPIO numbers of a Pi's 40-pin header (as its makers number them, not the position on the header)."""


@dataclass(frozen=True, slots=True)
class Pins:
    """GPIO numbers; None for what is not wired. `…_active_high` is False for a part that works when driven low."""

    wet: int | None = None
    acknowledge: int | None = None
    fan_proof: int | None = None
    lamp: int | None = None
    buzzer: int | None = None
    fan: int | None = None
    wet_active_high: bool = False
    acknowledge_active_high: bool = False
    fan_proof_active_high: bool = False
    lamp_active_high: bool = True
    buzzer_active_high: bool = True
    fan_active_high: bool = True

    @property
    def any(self) -> bool:
        """Whether anything at all is wired."""
        return any(getattr(self, name) is not None for name in (*INPUT_PINS, *OUTPUT_PINS))


INPUT_PINS = ("wet", "acknowledge", "fan_proof")
OUTPUT_PINS = ("lamp", "buzzer", "fan")


CALLED = {"wet": "wet contact", "acknowledge": "button", "fan_proof": "fan's contact"}
"""What people call a pin whose name in the station file would not tell them."""


def fault_text(name: str, pin: int, error: Exception) -> str:
    """What is wrong with a pin, for a person: "fan (GPIO 25): Device or resource busy"."""
    return f"{CALLED.get(name, name)} (GPIO {pin}): {reason_of(error)}"


def reason_of(error: Exception) -> str:
    """Why a driver failed, in its own words."""
    return getattr(error, "strerror", None) or str(error) or type(error).__name__


class OutputLine(Protocol):
    """One pin that is driven. Whatever its driver raises is a fault of that pin."""

    def set(self, on: bool) -> None:
        """Drive it on or off."""

    def release(self) -> None:
        """Let it go as it is."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A contact that closed or opened, `age_s` seconds ago."""

    age_s: float
    closed: bool


class InputLine(Protocol):
    """One pin that is listened to. Whatever its driver raises is a fault of that pin."""

    def closed(self) -> bool:
        """Whether the contact is closed at this moment."""

    def edges(self) -> Sequence[Edge]:
        """What happened since the last call, in order. Never waits."""

    def release(self) -> None:
        """Let it go."""


class PinDriver(Protocol):
    """Opens pins by their GPIO numbers. Whatever it raises is a fault of that pin."""

    def output(self, pin: int, *, active_high: bool) -> OutputLine:
        """Open a pin to drive it: off from its first moment."""

    def input(self, pin: int, *, active_high: bool) -> InputLine:
        """Open a pin to listen to it, pulled to the level of an open contact: a cut wire reads as open."""
