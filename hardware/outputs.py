"""Lamp, buzzer and fan relay: gpiozero's output devices.

Every output starts off, is driven off before its pin is let go, and never starts in whatever state the pin had (which
switches a relay that works when driven low ON). What Python cannot promise (kill -9, a hung kernel) is for the unit
file (`relay-safe`), a resistor, and an independent thermal cut-out.

Nothing here raises for a driver that fails, whatever it raises: that output is then named in `faults`, and everything
else goes on.
"""

from __future__ import annotations

import logging
import threading
from typing import Any

from hardware.pins import OUTPUT_PINS, PinFactory, Pins, fault_text

log = logging.getLogger(__name__)

BLINK_S = 1.0


class Outputs:
    """What the station can switch. An output that is not wired, or that fails, is not switched.

    `faults`: what is wrong, by the name of the output.
    """

    def __init__(self, pins: Pins, factory: PinFactory) -> None:
        self.faults: dict[str, str] = {}
        self._pins = pins
        self._factory = factory
        # The sweeps' thread, the forwarder's and the blinking one meet here.
        self._lock = threading.RLock()
        self._devices: dict[str, Any] = {}
        self._state: dict[str, bool] = {}
        self._blinking: dict[str, threading.Event] = {}
        self.mend()

    def mend(self) -> None:
        """Open each wired output that is not open: off from its first moment, until it is switched."""
        with self._lock:
            for name in OUTPUT_PINS:
                pin = getattr(self._pins, name)
                if pin is None or name in self._devices:
                    continue
                try:
                    device = self._open(pin, active_high=getattr(self._pins, f"{name}_active_high"))
                except Exception as error:  # noqa: BLE001 - whatever a driver raises is a fault of this pin alone
                    self._fault(name, error)
                    continue
                self._devices[name], self._state[name] = device, False
                if self.faults.pop(name, None) is not None:
                    log.warning("%s works again", name)

    def switch(self, name: str, on: bool) -> None:
        """Switch `name` on or off. Raises TypeError for anything but True and False."""
        if not isinstance(on, bool):
            raise TypeError(f"{name}: {on!r} is neither True nor False")
        with self._lock:
            stop = self._blinking.pop(name, None)
            if stop is not None:
                stop.set()
            if stop is not None or self._state.get(name) is not on:
                self._drive(name, on)

    def blink(self, name: str) -> None:
        """One second on, one off, until switched."""
        with self._lock:
            if name not in self._devices or name in self._blinking:
                return
            stop = self._blinking[name] = threading.Event()
        threading.Thread(target=self._blink, args=(name, stop), name=f"blink {name}", daemon=True).start()

    def close(self) -> None:
        """Drive everything off, then let the pins go: a pin that is let go keeps its level on a Pi."""
        with self._lock:
            for name in list(self._devices):
                self._drive(name, False)
            for name in list(self._devices):
                self._let_go(name)

    def _open(self, pin: int, *, active_high: bool) -> Any:
        from gpiozero import DigitalOutputDevice  # late: a station without pins need not load it

        return DigitalOutputDevice(
            pin, active_high=active_high, initial_value=False, pin_factory=self._factory()
        )

    def _blink(self, name: str, stop: threading.Event) -> None:
        # gpiozero's own blinking ends without a word when its pin fails.
        on = True
        while True:
            with self._lock:
                # Whoever switches it sets this under the same lock: nothing is driven after that.
                if stop.is_set():
                    return
                self._drive(name, on)
            on = not on
            stop.wait(BLINK_S)

    def _drive(self, name: str, on: bool) -> None:
        """Drive a pin that is open. One that fails is let go, until `mend`."""
        device = self._devices.get(name)
        if device is None:
            return
        try:
            device.value = on
        except Exception as error:  # noqa: BLE001 - whatever a driver raises is a fault of this pin alone
            self._fault(name, error)
            self._let_go(name)
        else:
            self._state[name] = on

    def _let_go(self, name: str) -> None:
        stop = self._blinking.pop(name, None)
        if stop is not None:
            stop.set()
        self._state.pop(name, None)
        try:
            self._devices.pop(name).close()
        except Exception as error:  # noqa: BLE001 - whatever a driver raises is a fault of this pin alone
            self._fault(name, error)

    def _fault(self, name: str, error: Exception) -> None:
        text = fault_text(name, getattr(self._pins, name), error)
        if self.faults.get(name) != text:
            log.error("%s", text)
        self.faults[name] = text
