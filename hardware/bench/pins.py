"""Pins without hardware: levels that a test or the demo sets and sees."""

from __future__ import annotations

from dataclasses import dataclass, field

from hardware.clock import Clock
from hardware.pins import Edge


@dataclass(slots=True)
class Line:
    """One pin. `levels`: every level that it was driven to, in order; `level`: the last, or what a hand put on it."""

    driven: bool
    active_high: bool
    level: bool
    levels: list[bool] = field(default_factory=list)
    edges: list[tuple[float, bool]] = field(default_factory=list)


class BenchPins:
    """A driver over pins that are not there. `broken`: what a pin's driver raises, by pin."""

    def __init__(self, clock: Clock) -> None:
        self.broken: dict[int, Exception] = {}
        self._clock = clock
        self._open: dict[int, Line] = {}
        #: Pins that were let go keep their level, as on a Pi.
        self._left: dict[int, Line] = {}

    def output(self, pin: int, *, active_high: bool) -> BenchOutput:
        """Open a pin to drive it. Raises what `broken` says, and OSError where it is in use."""
        line = self._opened(pin, Line(True, active_high, not active_high, [not active_high]))
        return BenchOutput(self, pin, line)

    def input(self, pin: int, *, active_high: bool) -> BenchInput:
        """Open a pin to listen to it. Raises what `broken` says, and OSError where it is in use."""
        # What a hand did before it was opened is still so; else the pull.
        before = self._left.get(pin)
        level = not active_high if before is None or before.driven else before.level
        return BenchInput(self, pin, self._opened(pin, Line(False, active_high, level)))

    def line(self, pin: int) -> Line:
        """What became of a pin, open or let go. Raises KeyError for one that was never touched."""
        return self._open.get(pin) or self._left[pin]

    def is_open(self, pin: int) -> bool:
        """Whether somebody has the pin."""
        return pin in self._open

    def put(self, pin: int, level: bool) -> None:
        """Put a level on an input from outside, closed or open contact alike. Raises KeyError for one not open."""
        line = self._open[pin]
        if line.level is not level:
            line.level = level
            line.edges.append((self._clock.stamp().boot_s, level is line.active_high))

    def check(self, pin: int) -> None:
        """Raise what `broken` says of a pin."""
        if pin in self.broken:
            raise self.broken[pin]

    def now_s(self) -> float:
        """The bench's time since boot."""
        return self._clock.stamp().boot_s

    def let_go(self, pin: int) -> None:
        """Nobody has the pin any more."""
        if pin in self._open:
            self._left[pin] = self._open.pop(pin)

    def _opened(self, pin: int, line: Line) -> Line:
        self.check(pin)
        if pin in self._open:
            raise OSError(16, "Device or resource busy")
        self._open[pin] = line
        return line


class BenchOutput:
    """A pin that is driven."""

    def __init__(self, pins: BenchPins, pin: int, line: Line) -> None:
        self._pins = pins
        self._pin = pin
        self._line = line

    def set(self, on: bool) -> None:
        """Drive it."""
        self._pins.check(self._pin)
        self._line.level = on is self._line.active_high
        self._line.levels.append(self._line.level)

    def release(self) -> None:
        """Let it go."""
        self._pins.let_go(self._pin)


class BenchInput:
    """A pin that is listened to."""

    def __init__(self, pins: BenchPins, pin: int, line: Line) -> None:
        self._pins = pins
        self._pin = pin
        self._line = line

    def closed(self) -> bool:
        """Whether the contact is closed."""
        self._pins.check(self._pin)
        return self._line.level is self._line.active_high

    def edges(self) -> list[Edge]:
        """What happened since the last call."""
        self._pins.check(self._pin)
        now_s = self._pins.now_s()
        found = [Edge(now_s - at_s, closed) for at_s, closed in self._line.edges]
        self._line.edges.clear()
        return found

    def release(self) -> None:
        """Let it go."""
        self._pins.let_go(self._pin)
