"""Clocks of the bench: one that steps, and one that runs faster than real time."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from hardware.clock import Clock, Stamp

BENCH_BOOT_ID = "be0c0000-0000-4000-8000-000000000001"
SHORTEST_WAIT_S = 0.02
"""Beside a fast clock nobody waits for less real time than this, or the loops would only spin."""


class SteppedClock:
    """Time stands still until it is moved. Waiting on it *is* moving it: lock-step.

    The one loop that owns it (the station's sweeps) gets each simulated moment exactly, however slow the machine
    is. With `speed` (simulated seconds per real second) the wait also takes its share of real time, unless the loop
    is behind. Everyone else uses `beside()`.
    """

    def __init__(
        self,
        wall_ms: int = 1_700_000_000_000,
        *,
        boot_id: str = BENCH_BOOT_ID,
        boot_ms: int = 60_000,
        clock_set: bool = True,
        speed: float | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._lock = threading.Lock()
        self._wall_ms = float(wall_ms)
        self._boot_id = boot_id
        self._boot_ms = float(boot_ms)
        self._clock_set = clock_set
        self.speed = speed
        self._monotonic = monotonic
        self._due = monotonic()

    def stamp(self) -> Stamp:
        """Return the simulated moment."""
        with self._lock:
            return Stamp(round(self._wall_ms), self._boot_id, round(self._boot_ms), self._clock_set)

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Move on by exactly `seconds`, unless `event` is set or gets set meanwhile."""
        if event.is_set():
            return True
        if self.speed is not None:
            self._due = max(self._due, self._monotonic() - 1.0) + seconds / self.speed
            if event.wait(max(0.0, self._due - self._monotonic())):
                return True
        self.advance(seconds)
        return event.is_set()

    def advance(self, seconds: float) -> None:
        """Let `seconds` pass."""
        with self._lock:
            self._wall_ms += seconds * 1000
            self._boot_ms += seconds * 1000

    def step_wall(self, seconds: float, *, clock_set: bool = True) -> None:
        """Let the wall clock jump, as when the network sets it; boot time goes on unmoved."""
        with self._lock:
            self._wall_ms += seconds * 1000
            self._clock_set = clock_set

    def reboot(
        self, boot_id: str, *, gap_s: float = 30.0, lost_s: float = 0.0, clock_set: bool = True
    ) -> None:
        """Start the machine again after `gap_s`. `lost_s` is what a machine without a battery does not know of."""
        with self._lock:
            self._wall_ms += (gap_s - lost_s) * 1000
            self._boot_id = boot_id
            self._boot_ms = 10_000.0
            self._clock_set = clock_set

    def beside(self) -> BesideClock:
        """Return the same time for those who do not move it."""
        return BesideClock(self)


class BesideClock:
    """Tells a stepped clock's time and waits in real time, scaled, without moving it."""

    def __init__(self, clock: SteppedClock) -> None:
        self._clock = clock

    def stamp(self) -> Stamp:
        """Return the simulated moment."""
        return self._clock.stamp()

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait for the share of real time that `seconds` take at the clock's speed."""
        return event.wait(max(SHORTEST_WAIT_S, seconds / (self._clock.speed or 1.0)))


class ScaledClock:
    """Runs `speed` times as fast as real time from a given start.

    Two processes that are given the same `started` (a reading of CLOCK_MONOTONIC, which a machine shares) agree.
    """

    def __init__(
        self,
        speed: float,
        wall_ms: int,
        *,
        boot_id: str = BENCH_BOOT_ID,
        boot_ms: int = 60_000,
        started: float | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        if speed <= 0:
            raise ValueError(f"speed {speed:g} must be above 0 simulated seconds per second")
        self.speed = speed
        self._wall_ms = wall_ms
        self._boot_id = boot_id
        self._boot_ms = boot_ms
        self._monotonic = monotonic
        self._started = monotonic() if started is None else started

    def stamp(self) -> Stamp:
        """Now, in simulated time."""
        passed_ms = round((self._monotonic() - self._started) * self.speed * 1000)
        return Stamp(self._wall_ms + passed_ms, self._boot_id, self._boot_ms + passed_ms, True)

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait for `seconds` of simulated time."""
        return event.wait(max(0.0, seconds) / self.speed)


def beside(clock: Clock) -> Clock:
    """Return a clock for those who wait beside the sweeps: for a stepped clock its `beside()`, else the clock
    itself.
    """
    return clock.beside() if isinstance(clock, SteppedClock) else clock
