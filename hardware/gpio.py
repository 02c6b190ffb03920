"""A Pi's own pins for gpiozero: a pin factory on the kernel's character device and its library's bindings (gpiod).

gpiozero's own factories need a driver that makes a file where it is loaded, or that some Pythons have not. Each pin is
a request of its own: one that is taken by another driver takes nothing from the others. The kernel does the rest: the
first level of an output comes with the request, contacts are debounced, and their edges are kept with their times
until the pin's state is read, which fires gpiozero's events for them in the reader's thread. No thread, no file.

Loaded late (`pins.pi_pins`): a station without pins loads neither library.
"""

from __future__ import annotations

import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import gpiod
from gpiod.line import Bias, Direction, Edge, Value
from gpiozero import PinFixedPull, PinInvalidFunction, PinSetInput
from gpiozero.pins.pi import PiFactory, PiPin

from hardware.header import CONSUMER, DEVICES, header_chip

ANY_PI = 0xA02082
"""A revision with the 40-pin header (its maker's code). Asked only for names of pins, the same on each of them."""
BIAS = {"floating": Bias.DISABLED, "up": Bias.PULL_UP, "down": Bias.PULL_DOWN}


class HeaderPins(PiFactory):  # type: ignore[misc] # gpiozero ships no types
    """The pins of the header. Nothing is opened before a device is made on a pin."""

    def __init__(self, devices: Path = DEVICES) -> None:
        super().__init__()
        self.devices = devices
        self.pin_class = HeaderPin

    def _get_revision(self) -> int:
        return ANY_PI

    def ticks(self) -> float:
        """CLOCK_MONOTONIC (s), as the kernel's edges have it by default."""
        return time.monotonic()

    def ticks_diff(self, later: float, earlier: float) -> float:
        """Seconds between two ticks."""
        return later - earlier


class HeaderPin(PiPin):  # type: ignore[misc] # gpiozero ships no types
    """One line of the header; levels are the wire's own. Opening it raises HardwareMissing, OSError.

    What an input is set to counts from when its changes are asked for: one request, and the pull is there at once.
    """

    def __init__(self, factory: HeaderPins, info: Any) -> None:
        super().__init__(factory, info)
        self._request: gpiod.LineRequest | None = None
        self._function = "input"
        self._pull = info.pull or "floating"
        self._bounce_s: float | None = None
        self._edges = "both"

    def close(self) -> None:
        """Let the line go; it keeps its level on a Pi."""
        self.when_changed = None
        self._function = "input"
        request, self._request = self._request, None
        if request is not None:
            request.release()

    def output_with_state(self, state: bool) -> None:
        """Become an output whose level comes with the request: there is no moment in which it has another."""
        self._open(gpiod.LineSettings(direction=Direction.OUTPUT, output_value=_value(state)))
        self._function = "output"

    def _open(self, settings: gpiod.LineSettings) -> None:
        chip = str(header_chip(self.factory.devices))
        self._request = gpiod.request_lines(chip, {self._number: settings}, CONSUMER)

    def _get_function(self) -> str:
        return self._function

    def _set_function(self, value: str) -> None:
        if value != "input":
            raise PinInvalidFunction(f"{self!r} becomes an output with its first level only")
        self._function = value

    def _get_state(self) -> bool:
        """Fire the events of all edges that wait, in order and with their times; then give the level."""
        if self._request is None:
            raise PinInvalidFunction(f"{self!r} is not open")
        while self._function == "input" and self._request.wait_edge_events(0):
            for event in self._request.read_edge_events():
                rising = event.event_type is gpiod.EdgeEvent.Type.RISING_EDGE
                self._call_when_changed(event.timestamp_ns / 1e9, rising)
        return self._request.get_value(self._number) is Value.ACTIVE

    def _set_state(self, value: bool) -> None:
        if self._request is None or self._function != "output":
            raise PinSetInput(f"{self!r} is not an output")
        self._request.set_value(self._number, _value(value))

    def _get_pull(self) -> str:
        return self._pull

    def _set_pull(self, value: str) -> None:
        if self.info.pull and value != self.info.pull:
            raise PinFixedPull(f"the board itself pulls {self!r} {self.info.pull}: wire it to another pin")
        self._pull = value

    def _get_bounce(self) -> float | None:
        return self._bounce_s

    def _set_bounce(self, value: float | None) -> None:
        self._bounce_s = value

    def _get_edges(self) -> str:
        return self._edges

    def _set_edges(self, value: str) -> None:
        self._edges = value

    def _enable_event_detect(self) -> None:
        self._open(
            gpiod.LineSettings(
                direction=Direction.INPUT,
                bias=BIAS[self._pull],
                edge_detection=Edge[self._edges.upper()],
                debounce_period=timedelta(seconds=self._bounce_s or 0.0),
            )
        )

    def _disable_event_detect(self) -> None:
        """Nothing to stop: no thread listens, and closing the pin ends the request."""


def _value(level: bool) -> Value:
    return Value.ACTIVE if level else Value.INACTIVE
