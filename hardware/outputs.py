"""Lamp, buzzer and fan relay.

Every output starts off, is driven off before its pin is let go, and never starts in whatever state the pin had
(`initial_value=None`, which switches a relay that works when driven low ON). What Python cannot promise (kill -9, a
hung kernel) is for the unit file (`pourlog relay-safe`), a resistor, and an independent thermal cut-out.
"""

from __future__ import annotations

import logging
from typing import Any

from hardware.pins import OUTPUT_PINS, Pins

log = logging.getLogger(__name__)

BLINK_S = 1.0


class Outputs:
    """What the station can switch. An output that is not wired is silently not switched: ask `has`."""

    def __init__(self, pins: Pins, factory: Any) -> None:
        from gpiozero import DigitalOutputDevice  # late: a station without pins need not load it

        self._devices: dict[str, Any] = {}
        self._state: dict[str, bool | None] = {}
        try:
            for name in OUTPUT_PINS:
                pin = getattr(pins, name)
                if pin is not None:
                    self._devices[name] = DigitalOutputDevice(
                        pin,
                        active_high=getattr(pins, f"{name}_active_high"),
                        initial_value=False,
                        pin_factory=factory,
                    )
                    self._state[name] = False
        except BaseException:
            self.close()
            raise

    def has(self, name: str) -> bool:
        """Whether `name` (lamp, buzzer, fan) is wired."""
        return name in self._devices

    def is_on(self, name: str) -> bool:
        """Whether the pin of `name` is driven to on at this moment."""
        return name in self._devices and bool(self._devices[name].value)

    def switch(self, name: str, on: bool) -> None:
        """Switch `name` on or off. Raises TypeError for anything but True and False."""
        if not isinstance(on, bool):
            raise TypeError(f"{name}: {on!r} is neither True nor False")
        if name not in self._devices or self._state[name] is on:
            return
        self._state[name] = on
        if on:
            self._devices[name].on()
        else:
            self._devices[name].off()

    def blink(self, name: str) -> None:
        """One second on, one off, until switched."""
        if name in self._devices and self._state[name] is not None:
            self._state[name] = None
            self._devices[name].blink(BLINK_S, BLINK_S)

    def close(self) -> None:
        """Drive everything off, then let the pins go: a pin that is let go keeps its level on a Pi."""
        for name, device in self._devices.items():
            try:
                device.off()
            except Exception:  # the others must still be switched off
                log.exception("%s could not be switched off", name)
            device.close()
        self._devices.clear()
        self._state.clear()
