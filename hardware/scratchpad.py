"""The nine bytes of a DS18B20, from the text of the kernel's `w1_slave` file to a verdict. Pure.

    91 01 4b 46 7f ff 0f 10 25 : crc=25 YES
    91 01 4b 46 7f ff 0f 10 25 t=25062

Only the bytes of line 1 are trusted: line 2 repeats the last good ones, and some kernels printed negative
temperatures wrongly in `t=`. The checksum is computed here, whatever the word at the end of the line says.

Sources: byte layout and 1/16 °C from the kernel's drivers/w1/slaves/w1_therm.c and the chip's data sheet
(REV 042208); byte 6 (0x0C at power-on) from Documentation/w1/slaves/w1_therm.rst; checksum polynomial
x⁸+x⁵+x⁴+1 from Application Note 27.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from hardware.reading import FaultReason

LINE_1 = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)")
LINE_2 = re.compile(r"((?:[0-9a-f]{2} ){9})t=-?\d+")

LSB_C = 1 / 16
LOWEST_C = -55.0
HIGHEST_C = 125.0

POWER_ON_COUNT = 0x0550
LOW_POWER_COUNT = 0x07FF
POWER_ON_BYTE_6 = 0x0C
REAL_85_BYTE_6 = 0x10


@dataclass(frozen=True, slots=True)
class Good:
    """A temperature whose bytes leave nothing to doubt."""

    celsius: float
    raw: bytes

    @property
    def keeps_byte_6_rule(self) -> bool | None:
        """Whether bytes 0 and 6 add up as in a genuine chip; None below 12 bit, where the rule says nothing.

        Rule: (byte 0 + byte 6) & 0x0F == 0 and 0 < byte 6 <= 0x10 after each good 12-bit conversion (an open
        study of counterfeit chips, cpetrich, 2019 onwards).
        """
        if resolution_bits(self.raw) != 12:
            return None
        return (self.raw[0] + self.raw[6]) & 0x0F == 0 and 0 < self.raw[6] <= 0x10


@dataclass(frozen=True, slots=True)
class Ambiguous:
    """Exactly 85.0 °C without the sign that it was measured: power-on value, or a clone that is really that hot."""

    raw: bytes

    @property
    def is_power_on_on_a_genuine_chip(self) -> bool:
        """True if a genuine chip would say by these bytes that it never converted."""
        return self.raw[6] == POWER_ON_BYTE_6


@dataclass(frozen=True, slots=True)
class Bad:
    """No temperature, and why."""

    reason: FaultReason
    detail: str
    raw: str | None = None


Verdict = Good | Ambiguous | Bad


def _table() -> bytes:
    row = []
    for byte in range(256):
        crc = byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
        row.append(crc)
    return bytes(row)


_CRC = _table()


def crc8(data: bytes) -> int:
    """1-Wire checksum: polynomial x⁸+x⁵+x⁴+1, least significant bit first, start 0 (Application Note 27).

    Over data with its checksum appended it is 0.
    """
    crc = 0
    for byte in data:
        crc = _CRC[crc ^ byte]
    return crc


def resolution_bits(raw: bytes) -> int:
    """Bits of the conversion, 9 to 12, from the configuration byte."""
    return 9 + ((raw[4] >> 5) & 3)


def count(raw: bytes) -> int:
    """Signed count of 1/16 °C. Below 12 bit the lowest bits are undefined and read as 0."""
    undefined = (1 << (12 - resolution_bits(raw))) - 1
    return int.from_bytes(raw[:2], "little", signed=True) & ~undefined


def decode(text: str) -> Verdict:
    """Judge the text of one `w1_slave` file, by itself, without history."""
    if not text:
        return Bad(FaultReason.EMPTY, "the kernel gave an empty file: the probe did not answer this time")
    lines = text.splitlines()
    first = LINE_1.fullmatch(lines[0])
    second = LINE_2.fullmatch(lines[1]) if len(lines) == 2 else None
    if first is None or second is None:
        return Bad(FaultReason.MALFORMED, f"not the kernel's two lines: {text[:80]!r}")
    raw = bytes.fromhex(first[1])
    shown = raw.hex()
    if not any(raw):
        # Before the checksum: it is right for nine zeros.
        return Bad(FaultReason.ALL_ZERO, "nine zero bytes: the data line is held low, or shorted", shown)
    crc = crc8(raw[:8])
    if crc != raw[8]:
        return Bad(FaultReason.BAD_CRC, f"checksum of the bytes is {crc:02x}, they say {raw[8]:02x}", shown)
    if first[2] == "NO":
        return Bad(FaultReason.BAD_CRC, "the kernel says NO: it could not read the probe", shown)
    if first[1] != second[1]:
        return Bad(FaultReason.MALFORMED, f"the two lines carry other bytes: {text[:80]!r}", shown)
    return _weigh(raw)


def _weigh(raw: bytes) -> Verdict:
    sixteenths = count(raw)
    if sixteenths == LOW_POWER_COUNT:
        return Bad(
            FaultReason.LOW_POWER,
            "127.94 °C is the chip's sign that power failed during the conversion",
            raw.hex(),
        )
    celsius = sixteenths * LSB_C
    if not LOWEST_C <= celsius <= HIGHEST_C:
        return Bad(
            FaultReason.OUT_OF_RANGE,
            f"{celsius:.2f} °C; the sensor measures {LOWEST_C:g} to {HIGHEST_C:g} °C",
            raw.hex(),
        )
    if sixteenths == POWER_ON_COUNT and raw[6] != REAL_85_BYTE_6:
        return Ambiguous(raw)
    return Good(celsius, raw)
