"""The chip's own temperatures, which checks look at: before any offset is added."""

from __future__ import annotations

from dataclasses import dataclass

#: Nine bytes in hexadecimal digits; the first two are the temperature.
_DIGITS = 18


@dataclass(frozen=True, slots=True)
class CheckReading:
    """One reading: seconds on one timeline, and what the chip itself measured, °C."""

    at_s: float
    celsius: float


def chip_celsius(raw: str | None) -> float | None:
    """Return the temperature in a digital probe's nine bytes, °C, None for other bytes.

    In sixteenths of a degree (the kernel's w1_therm driver).
    """
    if raw is None or len(raw) != _DIGITS:
        return None
    try:
        return int.from_bytes(bytes.fromhex(raw[:4]), "little", signed=True) / 16
    except ValueError:
        return None


def applied_c(raw: str | None, milli_c: int | None) -> float | None:
    """Return the offset that the station added to a reading, K; None where the bytes do not show it."""
    chip = chip_celsius(raw)
    return None if chip is None or milli_c is None else round(milli_c / 1000 - chip, 3)
