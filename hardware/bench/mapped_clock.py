"""One simulated time for several processes: the station's process moves it, the others read it from a small file."""

from __future__ import annotations

import mmap
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from hardware.bench.clock import BENCH_BOOT_ID, SHORTEST_WAIT_S, SteppedClock
from hardware.clock import Stamp

_LAYOUT = struct.Struct("<qqd")  # wall ms, boot ms, speed
#: Behind them: until when the time is asked to stand, s of the machine's own monotonic clock, which all share.
_HOLD = struct.Struct("<d")
#: Behind that: the moment that the time does not pass until somebody has done what is due then, ms since the boot.
_STOP = struct.Struct("<q")
_HOLD_AT, _STOP_AT = _LAYOUT.size, _LAYOUT.size + _HOLD.size
_SIZE = _STOP_AT + _STOP.size
_NEVER_MS = 2**62
#: Nobody can make the time stand for longer than this without asking again: whoever asked may have been killed.
HOLD_S = 60.0


def start_mapped_clock(path: Path, wall_ms: int, boot_ms: int, speed: float) -> None:
    """Make the file: time stands at its start."""
    path.write_bytes(_LAYOUT.pack(wall_ms, boot_ms, speed) + _HOLD.pack(0.0) + _STOP.pack(_NEVER_MS))


class MappedClock:
    """Reads the simulated time; waiting takes its share of real time and moves nothing."""

    def __init__(self, path: Path) -> None:
        with path.open("r+b") as file:
            self._map = mmap.mmap(file.fileno(), _SIZE)

    def stamp(self) -> Stamp:
        """Return the simulated moment."""
        wall_ms, boot_ms, _speed = self._read()
        return Stamp(wall_ms, BENCH_BOOT_ID, boot_ms, True)

    @property
    def speed(self) -> float:
        """Simulated seconds in a real one."""
        return self._read()[2]

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait for the share of real time that `seconds` take."""
        return event.wait(max(SHORTEST_WAIT_S, seconds / self.speed))

    def let_go(self) -> None:
        """Let the time go on, whoever asked for it to stand."""
        self._map[_HOLD_AT:_STOP_AT] = _HOLD.pack(0.0)

    @contextmanager
    def hold(self, monotonic: Callable[[], float] = time.monotonic) -> Iterator[None]:
        """Ask the process that moves the time to let it stand meanwhile."""
        self._map[_HOLD_AT:_STOP_AT] = _HOLD.pack(monotonic() + HOLD_S)
        try:
            yield
        finally:
            self.let_go()

    def stop_at(self, boot_ms: int | None) -> None:
        """Ask the process that moves the time not to pass a moment until the next one is given; None: no more."""
        self._map[_STOP_AT:] = _STOP.pack(_NEVER_MS if boot_ms is None else boot_ms)

    def close(self) -> None:
        """Let go of the file."""
        self._map.close()

    def _read(self) -> tuple[int, int, float]:
        # Eight-byte stores are whole on the machines this runs on, but the pair is not: read until it holds still.
        while True:
            first = self._map[: _LAYOUT.size]
            if first == self._map[: _LAYOUT.size]:
                wall_ms, boot_ms, speed = _LAYOUT.unpack(first)
                return wall_ms, boot_ms, speed


class MovingClock(SteppedClock):
    """The stepped clock of the station, which writes its moves into the file."""

    def __init__(self, path: Path) -> None:
        with path.open("r+b") as file:
            self._map = mmap.mmap(file.fileno(), _SIZE)
        wall_ms, boot_ms, speed = _LAYOUT.unpack(self._map[: _LAYOUT.size])
        super().__init__(wall_ms, boot_ms=boot_ms, speed=speed, monotonic=time.monotonic)

        #: Whether everybody sees each move at once; else only what `publish` is told.
        self.open = True

    def advance(self, seconds: float) -> None:
        """Let `seconds` pass."""
        super().advance(seconds)
        if self.open:
            self.publish(self.stamp())

    def publish(self, now: Stamp) -> None:
        """Let everybody see this moment."""
        self._map[: _LAYOUT.size] = _LAYOUT.pack(now.wall_ms, now.boot_ms, self.speed or 1.0)

    def held(self, monotonic: Callable[[], float] = time.monotonic) -> bool:
        """Whether somebody asks for the time to stand."""
        until: float = _HOLD.unpack(self._map[_HOLD_AT:_STOP_AT])[0]
        return monotonic() < until

    def stopped(self) -> bool:
        """Whether it has come to a moment that it is not to pass yet."""
        until: int = _STOP.unpack(self._map[_STOP_AT:])[0]
        return self.stamp().boot_ms >= until
