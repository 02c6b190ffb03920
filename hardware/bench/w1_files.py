"""Writes a true w1 folder tree: the bytes and checksums that a real chip would give, and each way in which it lies.

Bytes of the failures: hardware facts collected from the kernel's documentation and source, the chip's data sheet and
an open study of counterfeit chips; the same as the driver's tests use.
"""

from __future__ import annotations

import os
import shutil
from enum import StrEnum
from pathlib import Path

from hardware.scratchpad import crc8

# TH, TL, configuration (12 bit), reserved: as chips leave the factory.
_REST = bytes((0x4B, 0x46, 0x7F, 0xFF))
_LAST = 0x10
MASTER = "w1_bus_master1"


class Misreading(StrEnum):
    """What a probe can do instead of telling its temperature."""

    EMPTY = "empty"
    """The kernel gives no bytes."""
    NOT_READY = "no"
    """An old kernel's NO."""
    BAD_CRC = "bad-crc"
    """A bit flipped on the wire; the kernel still says YES."""
    ALL_ZERO = "all-zero"
    ALL_ONES = "all-ones"
    """Nobody answered."""
    POWER_ON = "power-on"
    """The chip restarted and never converted: 85.0."""
    LOW_POWER = "low-power"
    """The conversion starved: 127.94."""
    UNPLUGGED_VALUE = "unplugged-value"
    """About −110 °C with a good checksum, as seen after pulling a plug."""
    TORN = "torn"
    """Half a file."""
    PULLED = "pulled"
    """Pulled from its socket: no bytes for 100 s, then the folder is gone."""
    REPEATED = "repeated"
    """The command to convert was lost: the previous sample again."""
    STUCK = "stuck"
    """The same value for as long as it lasts."""
    WATER = "water"
    """Water in the tube: checksums fail in two reads of three."""


def scratchpad(celsius: float, *, clone: bool = False) -> bytes:
    """Return the nine bytes of a 12-bit conversion at `celsius` (−55 to 125 °C).

    Byte 6 counts down from 0x10 with the low nibble, as in a genuine chip; on a clone it is stuck at 0x0C.
    """
    return scratchpad_of_count(round(celsius * 16), clone=clone)


def scratchpad_of_count(sixteenths: int, *, clone: bool = False) -> bytes:
    """Return the nine bytes of a conversion that gave `sixteenths` of a degree."""
    heat = sixteenths.to_bytes(2, "little", signed=True)
    byte_6 = 0x0C if clone else 0x10 - (heat[0] & 0x0F)
    head = heat + _REST + bytes((byte_6, _LAST))
    return head + bytes((crc8(head),))


def power_on_scratchpad() -> bytes:
    """Return what the chip wakes up with."""
    head = (0x0550).to_bytes(2, "little") + _REST + bytes((0x0C, _LAST))
    return head + bytes((crc8(head),))


def w1_text(raw: bytes, *, says: str | None = None) -> str:
    """Return the kernel's text for nine bytes. It says YES when the checksum closes, unless told what to say."""
    word = says or ("YES" if crc8(raw[:8]) == raw[8] else "NO")
    shown = raw.hex(" ")
    milli_c = int.from_bytes(raw[:2], "little", signed=True) * 1000 // 16
    return f"{shown} : crc={crc8(raw[:8]):02x} {word}\n{shown} t={milli_c}\n"


def lying_text(lie: Misreading, last: bytes) -> str:
    """Text of the file while a probe lies; `last` is what it said before. PULLED here is its first 100 s."""
    if lie in (Misreading.EMPTY, Misreading.PULLED):
        return ""
    if lie is Misreading.NOT_READY:
        # Line 1 has what came over the wire, line 2 the last good bytes, as old kernels print it.
        return f"{bytes(9).hex(' ')} : crc=00 NO\n{last.hex(' ')} t=0\n"
    if lie in (Misreading.BAD_CRC, Misreading.WATER):
        return w1_text(bytes((last[0] ^ 0x40, *last[1:])), says="YES")
    if lie is Misreading.TORN:
        return w1_text(last)[:31]
    if lie in (Misreading.REPEATED, Misreading.STUCK):
        return w1_text(last)
    raw = {
        Misreading.ALL_ZERO: bytes(9),
        Misreading.ALL_ONES: bytes((0xFF,) * 9),
        Misreading.POWER_ON: power_on_scratchpad(),
        Misreading.LOW_POWER: _with_byte_6(0x07FF, 0x0C),
        Misreading.UNPLUGGED_VALUE: scratchpad_of_count(-1759),
    }[lie]
    return w1_text(raw)


def _with_byte_6(sixteenths: int, byte_6: int) -> bytes:
    head = sixteenths.to_bytes(2, "little", signed=True) + _REST + bytes((byte_6, _LAST))
    return head + bytes((crc8(head),))


class W1Files:
    """A w1 folder below `folder`, shaped like /sys/bus/w1/devices."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._master = folder / MASTER
        self._master.mkdir(parents=True, exist_ok=True)
        self._shown: dict[str, str] = {}
        self._list_slaves()

    def plug(self, probe_id: str) -> None:
        """Make the probe's folder."""
        folder = self.folder / probe_id
        folder.mkdir(exist_ok=True)
        (folder / "name").write_text(f"{probe_id}\n", encoding="ascii")
        (folder / "resolution").write_text("12\n", encoding="ascii")
        (folder / "ext_power").write_text("1\n", encoding="ascii")
        self.show(probe_id, "")
        self._list_slaves()

    def unplug(self, probe_id: str) -> None:
        """Remove the probe's folder, as the kernel does about 100 s after the plug was pulled."""
        shutil.rmtree(self.folder / probe_id, ignore_errors=True)
        self._shown.pop(probe_id, None)
        self._list_slaves()

    def is_plugged(self, probe_id: str) -> bool:
        """Whether the probe has a folder."""
        return probe_id in self._shown

    def show(self, probe_id: str, text: str) -> None:
        """Let the probe's `w1_slave` file read `text`."""
        if self._shown.get(probe_id) != text:
            write_in_place(self.folder / probe_id / "w1_slave", text)
            self._shown[probe_id] = text

    def _list_slaves(self) -> None:
        slaves = "".join(f"{probe}\n" for probe in self._shown) or "not found.\n"
        (self._master / "w1_master_slaves").write_text(slaves, encoding="ascii")
        (self._master / "w1_master_slave_count").write_text(f"{len(self._shown)}\n", encoding="ascii")


def write_in_place(path: Path, text: str) -> None:
    """Let the file at `path` hold `text` (ASCII) and nothing else."""
    # Not emptied first: a disk's file system takes an emptied file for a saved document and hurries it to the disk.
    file = os.open(path, os.O_WRONLY | os.O_CREAT, 0o644)
    try:
        os.write(file, text.encode("ascii"))
        os.ftruncate(file, len(text))
    finally:
        os.close(file)
