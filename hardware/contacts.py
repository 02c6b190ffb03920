"""Contacts that close: a wet floor under the form, the acknowledge button, the proof that the fan turns.

The driver keeps the edges with their times; the station's own loop takes them out. Nothing here raises for a driver
that fails, whatever it raises: that contact is then named in `faults`, and everything else goes on.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace

from hardware.clock import Clock, Stamp
from hardware.pins import INPUT_PINS, Edge, InputLine, PinDriver, Pins, fault_text

log = logging.getLogger(__name__)

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
    """All contacts that are wired. Their state at the start counts as a first change. Call from one thread.

    `faults`: what is wrong, by the name of the contact.
    """

    def __init__(self, pins: Pins, driver: PinDriver, clock: Clock) -> None:
        self.faults: dict[str, str] = {}
        self._pins = pins
        self._driver = driver
        self._clock = clock
        self._lines: dict[str, InputLine] = {}
        self._first: list[Change] = []
        self.mend()

    def mend(self) -> None:
        """Open each wired contact that is not open. Its state at that moment is a change."""
        for name in INPUT_PINS:
            pin = getattr(self._pins, name)
            if pin is None or name in self._lines:
                continue
            try:
                line = self._driver.input(pin, active_high=getattr(self._pins, f"{name}_active_high"))
            except Exception as error:  # noqa: BLE001 - whatever a driver raises is a fault of this pin alone
                self._fault(name, error)
                continue
            self._lines[name] = line
            try:
                closed = line.closed()
            except Exception as error:  # noqa: BLE001 - the same
                self._fault(name, error)
                self._let_go(name)
                continue
            # A button that nobody presses is no news.
            if name != "acknowledge":
                self._first.append(Change(self._clock.stamp(), name, closed))
            if self.faults.pop(name, None) is not None:
                log.warning("%s works again", name)

    def changes(self) -> list[Change]:
        """What changed since the last call, in order. Never waits."""
        found, self._first = self._first, []
        for name, line in list(self._lines.items()):
            try:
                edges = line.edges()
            except Exception as error:  # noqa: BLE001 - whatever a driver raises is a fault of this pin alone
                self._fault(name, error)
                self._let_go(name)
                continue
            found += [Change(self._moment(edge), name, edge.closed) for edge in edges]
        return sorted(found, key=lambda change: change.stamp.boot_ms)

    def close(self) -> None:
        """Let the pins go."""
        for name in list(self._lines):
            self._let_go(name)

    def _moment(self, edge: Edge) -> Stamp:
        now, age_ms = self._clock.stamp(), round(edge.age_s * 1000)
        return replace(now, wall_ms=now.wall_ms - age_ms, boot_ms=now.boot_ms - age_ms)

    def _let_go(self, name: str) -> None:
        try:
            self._lines.pop(name).release()
        except Exception as error:  # noqa: BLE001 - whatever a driver raises is a fault of this pin alone
            self._fault(name, error)

    def _fault(self, name: str, error: Exception) -> None:
        text = fault_text(name, getattr(self._pins, name), error)
        if self.faults.get(name) != text:
            log.error("%s", text)
        self.faults[name] = text
