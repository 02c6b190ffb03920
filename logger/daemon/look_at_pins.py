"""Whether the station's user can use its pins, and who has them. Run under the unit's own rules by `pourlog check`."""

from __future__ import annotations

from pathlib import Path
from typing import TypedDict

from hardware.header import DEVICES, holder
from hardware.pins import INPUT_PINS, OUTPUT_PINS, Pins, reason_of


class Pin(TypedDict):
    """One wired pin: who has it (None: nobody), and why it cannot be asked (None: it can)."""

    name: str
    number: int
    holder: str | None
    problem: str | None


def look_at_pins(pins: Pins, devices: Path = DEVICES) -> list[Pin]:
    """Look at every wired pin without touching it: a running station goes on undisturbed."""
    wired: list[Pin] = []
    for name in (*OUTPUT_PINS, *INPUT_PINS):
        number = getattr(pins, name)
        if number is None:
            continue
        pin = Pin(name=name, number=number, holder=None, problem=None)
        try:
            pin["holder"] = holder(number, devices)
        except Exception as error:  # noqa: BLE001 - whatever a driver raises is what is wrong with this pin
            pin["problem"] = reason_of(error)
        wired.append(pin)
    return wired
