"""Pins without hardware: gpiozero's own, on the bench's clock, whose levels a test or the demo sets and sees."""

from __future__ import annotations

from copy import copy

from gpiozero.pins.mock import MockFactory, MockPin
from gpiozero.pins.pi import PiPin

from hardware.clock import Clock


class BenchPins(MockFactory):  # type: ignore[misc] # gpiozero ships no types
    """A pin factory over pins that are not there. `broken`: what a pin's driver raises, by GPIO number."""

    def __init__(self, clock: Clock) -> None:
        # Both are given: no environment chooses them.
        super().__init__(revision="a02082", pin_class=BenchPin)
        self.broken: dict[int, Exception] = {}
        self._clock = clock

    def ticks(self) -> float:
        """Return the bench's time since boot, s."""
        return self._clock.stamp().boot_s


class BenchPin(MockPin):  # type: ignore[misc] # gpiozero ships no types
    """One pin. `states`: its first level and every change of it, in order; `state`: the last."""

    def _get_state(self) -> bool:
        self._check()
        return bool(super()._get_state())

    def _set_state(self, value: bool) -> None:
        self._check()
        super()._set_state(value)

    def _call_when_changed(self) -> None:
        PiPin._call_when_changed(self, self.factory.ticks(), self._state)

    def _check(self) -> None:
        if self._number in self.factory.broken:
            # A fresh one, as a driver's: what is raised again keeps all that it passed through, devices too.
            raise copy(self.factory.broken[self._number])
