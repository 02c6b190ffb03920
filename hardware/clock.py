"""When: the wall clock may jump, boot time may not, and both are written down with each reading.

A Pi without a battery starts with the wall clock in the past and is set by the network later. Ages and rates
therefore come from boot time (CLOCK_BOOTTIME: steady, goes on through suspend) within one boot (`boot_id`); the
service learns the wall time of a boot once a stamp of that boot says `clock_set`.
"""

from __future__ import annotations

import ctypes
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

BOOT_ID_FILE = Path("/proc/sys/kernel/random/boot_id")

# linux/timex.h: the kernel's own judgement that no time source has set the clock.
STA_UNSYNC = 0x0040
TIME_ERROR = 5

MS = {"ge": 0, "le": 10**13}
"""Milliseconds since 1970 or since boot: up to the year 2286. Checked where a stamp comes in from elsewhere."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """One moment: milliseconds since 1970 by the wall clock, and milliseconds since the boot named `boot_id`."""

    wall_ms: int = field(metadata=MS)
    boot_id: str = field(metadata={"min_length": 1, "max_length": 64})
    boot_ms: int = field(metadata=MS)
    clock_set: bool

    @property
    def boot_s(self) -> float:
        """Seconds since boot: what ages and rates are computed from."""
        return self.boot_ms / 1000


class Clock(Protocol):
    """Tells the time and waits. Injected everywhere: the bench has clocks of its own."""

    def stamp(self) -> Stamp:
        """Now."""

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait until `event` is set or `seconds` have passed; True if it is set."""


class _Timex(ctypes.Structure):
    # The head of struct timex (linux/timex.h), with room for the rest of it.
    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_byte * 512),
    )


class KernelClockState:
    """Asks the kernel (adjtimex, reading only) whether anything has set the wall clock since boot."""

    def __init__(self) -> None:
        self._libc = ctypes.CDLL(None, use_errno=True)

    def __call__(self) -> bool:
        """Return True if the clock has been set; False if not, or if the kernel will not say."""
        timex = _Timex()
        state = self._libc.adjtimex(ctypes.byref(timex))
        return state not in (-1, TIME_ERROR) and not timex.status & STA_UNSYNC


class SystemClock:
    """The machine's own clocks."""

    def __init__(
        self,
        *,
        boot_id_file: Path = BOOT_ID_FILE,
        wall_ns: Callable[[], int] = time.time_ns,
        boot_ns: Callable[[], int] = lambda: time.clock_gettime_ns(time.CLOCK_BOOTTIME),
        clock_set: Callable[[], bool] | None = None,
    ) -> None:
        self._boot_id = boot_id_file.read_text(encoding="ascii").strip()
        self._wall_ns = wall_ns
        self._boot_ns = boot_ns
        self._clock_set = clock_set or KernelClockState()

    def stamp(self) -> Stamp:
        """Now. Wall and boot time are read next to each other, so that their difference dates the boot."""
        boot_ns = self._boot_ns()
        wall_ns = self._wall_ns()
        return Stamp(wall_ns // 1_000_000, self._boot_id, boot_ns // 1_000_000, self._clock_set())

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait in real time."""
        return event.wait(max(0.0, seconds))
