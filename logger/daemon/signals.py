"""Lamp, buzzer and fan: what the service orders, and a last resort that needs no service.

The station does not know the pour. It knows one limit, and two contacts: a core that is over it, and water under the
form, light the lamp and sound the buzzer even with the network down. Missing data never switches them off.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Sequence
from dataclasses import dataclass

from hardware.contacts import ContactChange
from hardware.outputs import Outputs
from logger.wire import UnnumberedReading

log = logging.getLogger(__name__)

LIMIT_C = 95.0
"""Below boiling water in the wood, and below what a probe's usual cable bears. Our own choice; no source."""
DEADBAND_C = 5.0
SENT_DEADBAND_C = 2.0
"""The same at a limit that the service has sent: as its alarm core-hot has it."""
NEEDED = 2
"""Readings over the limit, in a row or by two probes, before it counts: one alone may be a lie."""
QUIET_S = 600.0
"""The button quiets the station's own buzzer this long."""
SILENT_S = 60.0
"""The lamp blinks when the service has not answered this long."""


@dataclass(frozen=True, slots=True)
class Orders:
    """What the service last said. `fan` None: it has no say."""

    lamp: bool = False
    buzzer: bool = False
    fan: bool | None = None


@dataclass(frozen=True, slots=True)
class Decision:
    """What to switch. `blink` is the lamp's way to say that the service is silent."""

    lamp: bool
    blink: bool
    buzzer: bool
    fan: bool


class LastResort:
    """The station's own limit, for the places that may run hot. Pure."""

    def __init__(
        self,
        limit_c: float = LIMIT_C,
        places: Sequence[str] = ("core", "surface"),
        deadband_c: float = DEADBAND_C,
    ) -> None:
        self.limit_c = limit_c
        self._places = frozenset(places)
        self._deadband_c = deadband_c
        self._streaks: dict[str, int] = {}
        self._hot: set[str] = set()

    @property
    def hot(self) -> bool:
        """Whether a place is over the limit. Faults do not end it: only cool readings do."""
        return bool(self._hot)

    def take(self, rows: Sequence[UnnumberedReading]) -> None:
        """Take the rows of one sweep."""
        for row in rows:
            if row.place.partition("-")[0] not in self._places or row.milli_c is None:
                continue
            if row.milli_c >= self.limit_c * 1000:
                self._streaks[row.probe] = self._streaks.get(row.probe, 0) + 1
            else:
                self._streaks.pop(row.probe, None)
                if row.milli_c < (self.limit_c - self._deadband_c) * 1000:
                    self._hot.discard(row.probe)
        if sum(self._streaks.values()) >= NEEDED:
            self._hot.update(self._streaks)


class Signals:
    """Decides what is switched, and switches it. Called by the sweeps' thread and by the forwarder's."""

    def __init__(self, outputs: Outputs | None, last_resort: LastResort, started_s: float) -> None:
        self._outputs = outputs
        self._last_resort = last_resort
        self._lock = threading.Lock()
        self._orders = Orders()
        self._heard_s = started_s
        #: The lowest limit of the pours at this station, as the service last sent it: used while the service is silent.
        self._sent_limit: LastResort | None = None
        self._wet = False
        self._warned_hot = False
        self._quiet_until_s = started_s

    def take_orders(self, orders: Orders, now_s: float, core_limit_c: float | None = None) -> None:
        """Take the service's answer. `core_limit_c`: the lowest limit of a core that is watched here now, if any is."""
        with self._lock:
            self._orders, self._heard_s = orders, now_s
            if core_limit_c is None:
                self._sent_limit = None
            elif self._sent_limit is None or self._sent_limit.limit_c != core_limit_c:
                self._sent_limit = LastResort(core_limit_c, ("core",), SENT_DEADBAND_C)
            self._apply(now_s)

    def take_warning(self, *, hot: bool, now_s: float) -> None:
        """Take the warning of a service that can store nothing: whether a core is over its limit."""
        with self._lock:
            if hot != self._warned_hot:
                self._warned_hot = hot
                self._apply(now_s)

    def take_sweep(
        self, rows: Sequence[UnnumberedReading], changes: Sequence[ContactChange], now_s: float
    ) -> None:
        """Take a sweep that is done, or a contact that changed."""
        with self._lock:
            was_hot = self._last_resort.hot
            self._last_resort.take(rows)
            if self._sent_limit is not None:
                self._sent_limit.take(rows)
            if self._last_resort.hot and not was_hot:
                log.critical("a probe is over the station's own limit of %g °C", self._last_resort.limit_c)
            for change in changes:
                if change.contact == "wet":
                    self._wet = change.closed
                elif change.contact == "acknowledge" and change.closed:
                    self._quiet_until_s = now_s + QUIET_S
            self._apply(now_s)

    def decide(self, now_s: float) -> Decision:
        """Return what should be switched at `now_s`."""
        silent = now_s - self._heard_s > SILENT_S
        over_sent = silent and self._sent_limit is not None and self._sent_limit.hot
        own = self._last_resort.hot or self._wet or self._warned_hot or over_sent
        lamp = own or self._orders.lamp
        return Decision(
            lamp=lamp,
            blink=not lamp and silent,
            buzzer=self._orders.buzzer or (own and now_s >= self._quiet_until_s),
            fan=bool(self._orders.fan),
        )

    def _apply(self, now_s: float) -> None:
        if self._outputs is None:
            return
        decision = self.decide(now_s)
        if decision.blink:
            self._outputs.blink("lamp")
        else:
            self._outputs.switch("lamp", decision.lamp)
        self._outputs.switch("buzzer", decision.buzzer)
        self._outputs.switch("fan", decision.fan)
