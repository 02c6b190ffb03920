"""Contacts that close: a wet floor under the form, the acknowledge button, the proof that the fan turns.

The driver's thread only puts changes into a queue; the station's own loop takes them out.
"""

from __future__ import annotations

import queue
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from hardware.clock import Clock, Stamp
from hardware.pins import INPUT_PINS, Pins

BOUNCE_S = 0.05

MEANING = {
    "wet": ("wet", "dry"),
    "acknowledge": ("pressed", "released"),
    "fan_proof": ("turning", "stopped"),
}
"""What closed and open mean, in words."""


@dataclass(frozen=True, slots=True)
class Change:
    """A contact that closed or opened, or its state at the start."""

    stamp: Stamp
    contact: str
    closed: bool

    @property
    def meaning(self) -> str:
        """The state in words: wet or dry, pressed or released, turning or stopped."""
        return MEANING[self.contact][0 if self.closed else 1]


class Contacts:
    """All contacts that are wired. Their state at the start counts as a first change."""

    def __init__(self, pins: Pins, factory: Any, clock: Clock) -> None:
        from gpiozero import DigitalInputDevice  # late: a station without pins need not load it

        self._clock = clock
        self._changes: queue.SimpleQueue[Change] = queue.SimpleQueue()
        self._devices: dict[str, Any] = {}
        try:
            for name in INPUT_PINS:
                pin = getattr(pins, name)
                if pin is None:
                    continue
                # The pull holds an open contact in its open state, so a cut wire reads as open, never as random.
                device = DigitalInputDevice(
                    pin,
                    pull_up=not getattr(pins, f"{name}_active_high"),
                    bounce_time=BOUNCE_S,
                    pin_factory=factory,
                )
                self._devices[name] = device
                device.when_activated = self._note(name, True)
                device.when_deactivated = self._note(name, False)
                if name != "acknowledge":
                    self._changes.put(Change(clock.stamp(), name, bool(device.is_active)))
        except BaseException:
            self.close()
            raise

    def changes(self) -> list[Change]:
        """What changed since the last call, in order. Never waits."""
        taken = []
        while True:
            try:
                taken.append(self._changes.get_nowait())
            except queue.Empty:
                return taken

    def close(self) -> None:
        """Let the pins go."""
        for device in self._devices.values():
            device.close()
        self._devices.clear()

    def _note(self, name: str, closed: bool) -> Callable[[], None]:
        def note() -> None:
            self._changes.put(Change(self._clock.stamp(), name, closed))

        return note
