"""Which pin does what, and the two ways to drive pins: a Pi's own, or the bench's. Never one in place of the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from hardware.errors import HardwareMissing

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


def pi_pins() -> Any:
    """A pin factory of the real machine. Raises HardwareMissing if there is none: nothing else takes its place."""
    try:
        from gpiozero.pins.lgpio import LGPIOFactory  # late: it opens the driver's library
    except ImportError as error:
        raise HardwareMissing(
            f"the GPIO driver lgpio is missing ({error}); install it with: pip install 'lgpio>=0.2.2', or "
            "apt install python3-lgpio"
        ) from error
    try:
        return LGPIOFactory()
    except Exception as error:
        # The driver raises its own classes, which differ by version. Version 0.0.0.2 of lgpio is an empty file:
        # it ends here too.
        raise HardwareMissing(
            f"the GPIO pins cannot be opened ({error}); this must be a Pi, the user in the group gpio, and lgpio "
            "0.2.2 or newer"
        ) from error


def bench_pins() -> Any:
    """A pin factory without any hardware, for the bench."""
    from gpiozero.pins.mock import MockFactory  # late: a station without pins need not load it

    return MockFactory()
