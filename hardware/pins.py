"""Which pin does what, and where its pins come from: gpiozero's devices on the factory of a Pi, or of the bench.

The two factories: gpio.py for a Pi, bench/pins.py for the bench. Each is given by name; no environment chooses it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

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
    """Return what is wrong with a pin, for a person: "fan (GPIO 25): Device or resource busy"."""
    return f"{CALLED.get(name, name)} (GPIO {pin}): {reason_of(error)}"


def reason_of(error: Exception) -> str:
    """Why a driver failed, in its own words."""
    if isinstance(error, ModuleNotFoundError) and error.name == "gpiod":
        return "the library of the pins is not installed: pip install 'pourlog[pi]'"
    return getattr(error, "strerror", None) or str(error) or type(error).__name__


PinFactory = Callable[[], Any]
"""Gives gpiozero's pin factory. Called whenever a pin is opened: what loading a library raises is that pin's fault."""


@cache
def pi_pins() -> Any:
    """Return the pins of a Pi's header, as gpiozero's pin factory. Raises whatever loading the libraries raises."""
    from hardware.gpio import HeaderPins  # late: a station without pins need not load them

    return HeaderPins()
