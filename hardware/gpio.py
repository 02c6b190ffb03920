"""A Pi's own pins, through the kernel's character device and its library's bindings (gpiod).

Each pin is a request of its own: one that is taken by another driver takes nothing from the others. The kernel does
the rest: the first level of an output comes with the request, contacts are debounced, and their edges are kept with
their times until they are read. No thread, no file of its own.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from hardware.errors import HardwareMissing
from hardware.pins import Edge

if TYPE_CHECKING:
    from gpiod import LineRequest, LineSettings

DEVICES = Path("/dev")
CONSUMER = "pourlog"
BOUNCE = timedelta(milliseconds=50)
HEADER_LABELS = ("pinctrl-bcm2835", "pinctrl-bcm2711", "pinctrl-rp1")
"""The controller behind the 40-pin header: Pi 1 to 3, Pi 4, Pi 5 (labels in the kernel's pinctrl-bcm2835.c and
pinctrl-rp1.c). Its device number differs from kernel to kernel, and other controllers have lines that must not be
touched."""


class GpioPins:
    """The pins of the header. Nothing is opened, and the library not loaded, before a pin is asked for."""

    def __init__(self, devices: Path = DEVICES) -> None:
        self._devices = devices

    def output(self, pin: int, *, active_high: bool) -> _Output:
        """Open a pin to drive it; its first level comes with the request. Raises HardwareMissing, OSError."""
        from gpiod import LineSettings
        from gpiod.line import Direction, Value

        settings = LineSettings(
            direction=Direction.OUTPUT, active_low=not active_high, output_value=Value.INACTIVE
        )
        return _Output(self._request(pin, settings), pin)

    def input(self, pin: int, *, active_high: bool) -> _Input:
        """Open a pin to listen to it. Raises HardwareMissing, OSError."""
        from gpiod import LineSettings
        from gpiod.line import Bias, Direction
        from gpiod.line import Edge as Edges

        settings = LineSettings(
            direction=Direction.INPUT,
            active_low=not active_high,
            bias=Bias.PULL_DOWN if active_high else Bias.PULL_UP,
            edge_detection=Edges.BOTH,
            debounce_period=BOUNCE,
        )
        return _Input(self._request(pin, settings), pin)

    def holder(self, pin: int) -> str | None:
        """Who has a pin, by the name that they gave; None: nobody. Raises HardwareMissing, OSError."""
        import gpiod

        with gpiod.Chip(str(header_chip(self._devices))) as chip:
            line = chip.get_line_info(pin)
        return (line.consumer or "the kernel") if line.used else None

    def _request(self, pin: int, settings: LineSettings) -> LineRequest:
        import gpiod

        return gpiod.request_lines(str(header_chip(self._devices)), {pin: settings}, CONSUMER)


def header_chip(devices: Path = DEVICES) -> Path:
    """The device of the 40-pin header. Raises HardwareMissing where there is none that may be opened."""
    import gpiod

    seen: list[str] = []
    for path in sorted(devices.glob("gpiochip*")):
        try:
            with gpiod.Chip(str(path)) as chip:
                label = chip.get_info().label
        except OSError as error:
            label = f"not opened: {error.strerror}"
        if label in HEADER_LABELS:
            return path
        seen.append(f"{path.name} ({label})")
    if not seen:
        raise HardwareMissing("this machine shows no pins (/dev/gpiochip…): run the station on the Pi")
    raise HardwareMissing(
        f"none of {', '.join(seen)} is a Pi's pin header; allowed: {', '.join(HEADER_LABELS)}; "
        "the station's user must be in the group that owns these devices"
    )


class _Output:
    def __init__(self, request: LineRequest, pin: int) -> None:
        self._request = request
        self._pin = pin

    def set(self, on: bool) -> None:
        from gpiod.line import Value

        self._request.set_value(self._pin, Value.ACTIVE if on else Value.INACTIVE)

    def release(self) -> None:
        self._request.release()


class _Input:
    def __init__(self, request: LineRequest, pin: int, now_ns: Callable[[], int] = time.monotonic_ns) -> None:
        self._request = request
        self._pin = pin
        self._now_ns = now_ns

    def closed(self) -> bool:
        return bool(self._request.get_value(self._pin))

    def edges(self) -> list[Edge]:
        from gpiod import EdgeEvent

        found: list[Edge] = []
        while self._request.wait_edge_events(0):
            # Their times are CLOCK_MONOTONIC, the kernel's default. Rising is towards active: the line knows its sense.
            found += [
                Edge(
                    max(0.0, (self._now_ns() - event.timestamp_ns) / 1e9),
                    event.event_type is EdgeEvent.Type.RISING_EDGE,
                )
                for event in self._request.read_edge_events()
            ]
        return found

    def release(self) -> None:
        self._request.release()
