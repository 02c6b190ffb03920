"""Contacts that close: a wet floor under the form, the acknowledge button, the proof that the fan turns.

gpiozero's input devices. The kernel keeps the edges with their times; the station's own loop takes them out, by reading
the pins. Nothing here raises for a driver that fails, whatever it raises: that contact is then named in `faults`, and
everything else goes on.
"""

from __future__ import annotations

import logging
from collections import deque
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from hardware.clock import Clock, Stamp
from hardware.pins import INPUT_PINS, PinFactory, Pins, fault_text

log = logging.getLogger(__name__)

BOUNCE_S = 0.05

MEANING = {
    "wet": ("wet", "dry"),
    "acknowledge": ("pressed", "released"),
    "fan_proof": ("turning", "stopped"),
}
"""What closed and open mean, in words."""


@dataclass(frozen=True, slots=True)
class ContactChange:
    """A contact that closed or opened, or its state at the start."""

    stamp: Stamp
    contact: str
    closed: bool

    @property
    def meaning(self) -> str:
        """The state in words: wet or dry, pressed or released, turning or stopped."""
        return MEANING[self.contact][0 if self.closed else 1]


class Contacts:
    """All contacts that are wired. Their state at the start counts as a first change. Call from one thread.

    `faults`: what is wrong, by the name of the contact.
    """

    def __init__(self, pins: Pins, factory: PinFactory, clock: Clock) -> None:
        self.faults: dict[str, str] = {}
        self._pins = pins
        self._factory = factory
        self._clock = clock
        self._devices: dict[str, Any] = {}
        self._changes: deque[ContactChange] = deque()
        self.mend()

    def mend(self) -> None:
        """Open each wired contact that is not open. Its state at that moment is a change."""
        for name in INPUT_PINS:
            pin = getattr(self._pins, name)
            if pin is None or name in self._devices:
                continue
            stamp = self._clock.stamp()
            try:
                device = self._open(pin, active_high=getattr(self._pins, f"{name}_active_high"))
            except Exception as error:  # noqa: BLE001 - whatever a driver raises is a fault of this pin alone
                self._fault(name, error)
                continue
            self._devices[name] = device
            # A button that nobody presses is no news. What it is now was read as it was opened: not again, or an edge
            # since then would pass unheard.
            if name != "acknowledge":
                self._changes.append(ContactChange(stamp, name, device.wait_for_active(0)))
            device.when_activated = partial(self._note, name, True)
            device.when_deactivated = partial(self._note, name, False)
            if self.faults.pop(name, None) is not None:
                log.warning("%s works again", name)

    def changes(self) -> list[ContactChange]:
        """Return what changed since the last call, in order. Never waits."""
        for name, device in list(self._devices.items()):
            try:
                # Reading a pin's state delivers its edges first (gpio.py).
                _ = device.value
            except Exception as error:  # noqa: BLE001 - whatever a driver raises is a fault of this pin alone
                self._fault(name, error)
                self._let_go(name)
        changes = [self._changes.popleft() for _ in range(len(self._changes))]
        return sorted(changes, key=lambda change: change.stamp.boot_ms)

    def close(self) -> None:
        """Let the pins go."""
        for name in list(self._devices):
            self._let_go(name)

    def _open(self, pin: int, *, active_high: bool) -> Any:
        from gpiozero import DigitalInputDevice  # late: a station without pins need not load it

        # The pull holds an open contact in its open state: a cut wire reads as open, never as random.
        return DigitalInputDevice(
            pin, pull_up=not active_high, bounce_time=BOUNCE_S, pin_factory=self._factory()
        )

    def _note(self, name: str, closed: bool, device: Any) -> None:
        now, age_ms = (
            self._clock.stamp(),
            round(1000 * (device.active_time if closed else device.inactive_time)),
        )
        stamp = replace(now, wall_ms=now.wall_ms - age_ms, boot_ms=now.boot_ms - age_ms)
        self._changes.append(ContactChange(stamp, name, closed))

    def _let_go(self, name: str) -> None:
        try:
            self._devices.pop(name).close()
        except Exception as error:  # noqa: BLE001 - whatever a driver raises is a fault of this pin alone
            self._fault(name, error)

    def _fault(self, name: str, error: Exception) -> None:
        text = fault_text(name, getattr(self._pins, name), error)
        if self.faults.get(name) != text:
            log.error("%s", text)
        self.faults[name] = text
