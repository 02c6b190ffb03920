"""The plain limit beneath all judging: is a core over its limit? From what has just arrived, with limits in memory.

It needs no plan, no prediction, no forecast and no database at that moment, and believes two readings in a row. It
gets every batch before that is stored, so also one that cannot be. Pure but for its lock.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hardware.clock import Stamp
from logger.wire import WireReading

#: The limit where nothing is known of the plan, °C: what a station watches by itself (see daemon/signals.py).
UNKNOWN_C = 95.0
#: So many readings of one probe in a row must be over the limit: one alone may be a lie.
NEEDED = 2
#: A core is no longer over its limit this far below it, °C: as for the alarm core-hot.
DEADBAND_C = 2.0
#: What a DS18B20 says that has not measured (its datasheet), and how far a true temperature near it may have moved, °C.
POWER_ON_C, NEAR_C = 85.0, 5.0


@dataclass(frozen=True, slots=True)
class Watched:
    """A live pour by its limit alone. `probes`: those chosen for it; empty: all of its station's."""

    pour_id: int
    title: str
    station_id: int
    limit_c: float
    from_plan: bool = True  #: the limit is its plan's
    probes: frozenset[str] = frozenset()
    station: str = ""
    poured_ms: int = 0  #: when pouring began, true time
    units: str | None = None  #: in which its shop reads, "c.mm.l.kg"; None: metric
    ended: bool = False  #: its watch has just been ended, which can still be taken back


@dataclass(frozen=True, slots=True)
class Over:
    """A pour whose core is over its limit."""

    pour: Watched
    celsius: float
    since_ms: int  #: since when that is known, by its arrival
    in_a_row: int  #: readings over the limit, one after the other


@dataclass(slots=True)
class _Core:
    """One core probe of a pour."""

    boot_id: str = ""
    boot_ms: int = -1
    celsius: float | None = None
    arrived_ms: int = 0
    in_a_row: int = 0
    since_ms: int | None = None


class PlainLimit:
    """The cores of all live pours. Safe to call from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pours: dict[int, Watched] = {}
        self._by_station: dict[int, list[Watched]] = {}
        self._cores: dict[tuple[int, str], _Core] = {}

    def set_pours(self, pours: Sequence[Watched]) -> None:
        """Watch these pours from now on, and no others."""
        with self._lock:
            self._pours = {pour.pour_id: pour for pour in pours}
            self._by_station = {}
            for pour in pours:
                self._by_station.setdefault(pour.station_id, []).append(pour)
            self._cores = {key: core for key, core in self._cores.items() if key[0] in self._pours}

    def take(self, station_id: int, rows: Iterable[WireReading], now_ms: int) -> None:
        """Take readings that have arrived from a station, in their order; leave out what was there before."""
        pours = self._by_station.get(station_id)
        if not pours:
            return
        with self._lock:
            for row in rows:
                if row.milli_c is None or not row.place.startswith("core"):
                    continue
                for pour in pours:
                    if not pour.probes or row.probe in pour.probes:
                        core = self._cores.setdefault((pour.pour_id, row.probe), _Core())
                        _take(core, row.stamp, row.milli_c / 1000, pour.limit_c, now_ms)

    def over(self) -> list[Over]:
        """Return the pours whose core is over its limit, each with its hottest probe."""
        with self._lock:
            hottest: dict[int, Over] = {}
            for (pour_id, _probe), core in self._cores.items():
                pour = self._pours.get(pour_id)
                if pour is None or core.since_ms is None or core.celsius is None:
                    continue
                before = hottest.get(pour_id)
                if before is None or core.celsius > before.celsius:
                    hottest[pour_id] = Over(pour, core.celsius, core.since_ms, core.in_a_row)
            return list(hottest.values())

    def limit_at(self, station_id: int) -> float | None:
        """Return the lowest limit of a core that is watched at a station, °C; None where none is."""
        return min((pour.limit_c for pour in self._by_station.get(station_id, ())), default=None)

    def watches(self, pour_id: int) -> bool:
        """Return whether a pour is watched by its limit."""
        return pour_id in self._pours

    def pours(self) -> list[Watched]:
        """Return the pours that are watched."""
        with self._lock:
            return list(self._pours.values())

    def hottest(self, pour_id: int) -> tuple[float, int] | None:
        """Return the hottest of a pour's cores as each last read, °C, and when that arrived, ms; None before there
        is any.
        """
        with self._lock:
            cores = [
                (core.celsius, core.arrived_ms)
                for (mine, _probe), core in self._cores.items()
                if mine == pour_id and core.celsius is not None
            ]
        return max(cores, default=None)


def _take(core: _Core, stamp: Stamp, celsius: float, limit_c: float, now_ms: int) -> None:
    if core.boot_id == stamp.boot_id and stamp.boot_ms <= core.boot_ms:
        return  # sent again, or of a sweep before
    before = core.celsius
    core.boot_id, core.boot_ms = stamp.boot_id, stamp.boot_ms
    if celsius == POWER_ON_C and (before is None or abs(before - celsius) > NEAR_C):
        return
    core.celsius, core.arrived_ms = celsius, now_ms
    if celsius > limit_c:
        core.in_a_row += 1
        if core.in_a_row >= NEEDED and core.since_ms is None:
            core.since_ms = now_ms
    else:
        core.in_a_row = 0
        if celsius < limit_c - DEADBAND_C:
            core.since_ms = None
