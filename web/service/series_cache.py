"""A pour's measured curves for charts: kept in memory, grown as readings arrive, thinned to what a screen can show."""

from __future__ import annotations

import json
import threading
from array import array
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import Connection

from logger.record.downsample import thin
from logger.store.boots import offsets
from logger.store.readings import hottest_core, many_readings, points_after

#: A gap between readings longer than this is drawn as a gap, s.
GAP_S = 180.0
#: Pours kept in memory, as many as a board has room for: 1.3 MB each for 72 h of 6 probes as stations read them (5 s in
#: the first hour, then 30 s), about 7 MB where they go on at 5 s.
MOST_POURS = 16
#: A pour with no more readings than this is taken into memory while a page waits: some 20 ms.
QUICKLY = 10_000
#: Thinned curves kept of each pour: as many widths of screens.
MOST_WIDTHS = 6

#: Last readings of a core that are given as they were taken: a quarter of an hour at 5 s, and some more.
LATELY = 200

Floats = npt.NDArray[np.float64]


@dataclass(slots=True)
class _Trace:
    place: str
    #: Typed arrays: a list of numbers would take five times the memory.
    at_ms: array[int] = field(default_factory=lambda: array("q"))
    milli_c: array[float] = field(default_factory=lambda: array("d"))  # NaN for a fault


@dataclass(slots=True)
class _Series:
    last_id: int = 0
    #: Offset of each boot as it was used; when one is learnt better, every time is worked out anew.
    offsets: dict[int, int] = field(default_factory=dict)
    traces: dict[str, _Trace] = field(default_factory=dict)
    #: (width, when pouring began) → the thinned curves as JSON, until a reading arrives.
    thinned: OrderedDict[tuple[int, int], str] = field(default_factory=OrderedDict)


@dataclass(frozen=True, slots=True)
class CoreCourse:
    """A core since pouring, thinned: hours (N,), celsius (N,), NaN for a gap or fault; and its last readings as they
    were taken: late_ms (M,), late_c (M,)."""

    hours: Floats
    celsius: Floats
    late_ms: npt.NDArray[np.int64]
    late_c: Floats


class Curves:
    """The readings of the pours that somebody looks at. Safe to call from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pours: OrderedDict[int, _Series] = OrderedDict()

    def forget(self, pour_id: int) -> None:
        """Forget a pour that is gone: its number may be another's one day."""
        with self._lock:
            self._pours.pop(pour_id, None)

    def thinned_json(self, connection: Connection, pour_id: int, poured_ms: int, width: int) -> str:
        """One object a probe: probe, place, steps_ds (tenths of a second from one point to the next, the first from
        the moment of pouring) and steps_centi_c (hundredths of a °C from the last temperature, the first from 0; null:
        a gap or fault). Kept until the next reading arrives."""
        with self._lock:
            series = self._grown(connection, pour_id)
            written = series.thinned.get((width, poured_ms))
            if written is None:
                shown = [_shown(probe, trace, poured_ms, width) for probe, trace in series.traces.items()]
                written = json.dumps(shown, separators=(",", ":"), allow_nan=False)
                series.thinned[width, poured_ms] = written
                if len(series.thinned) > MOST_WIDTHS:
                    series.thinned.popitem(last=False)
            return written

    def thinned(
        self, connection: Connection, pour_id: int, poured_ms: int, width: int
    ) -> list[dict[str, Any]]:
        """One dict a probe: probe, place, hours and celsius (None where there is a gap or fault)."""
        shown: list[dict[str, Any]] = json.loads(self.thinned_json(connection, pour_id, poured_ms, width))
        for trace in shown:
            trace["hours"], trace["celsius"] = points(trace)
        return shown

    def hottest(self, connection: Connection, pour_id: int, poured_ms: int) -> tuple[float, float] | None:
        """(°C, hours after pouring) of the hottest core reading so far, or None.

        Asked of the database while the pour is not in memory: a page never waits until it is.
        """
        if pour_id not in self._pours:
            row = hottest_core(connection, pour_id, poured_ms)
            return None if row is None else (row.milli_c / 1000, (row.at_ms - poured_ms) / 3.6e6)
        peaks = []
        with self._lock:
            for trace in self._grown(connection, pour_id).traces.values():
                at_ms, celsius = _arrays(trace)
                after = np.where((at_ms >= poured_ms) & ~np.isnan(celsius), celsius, -np.inf)
                if trace.place.partition("-")[0] == "core" and len(after) and np.isfinite(after.max()):
                    hottest = int(after.argmax())
                    peaks.append((float(celsius[hottest]), float(at_ms[hottest] - poured_ms) / 3.6e6))
        return max(peaks, default=None)

    def core(
        self, connection: Connection, pour_id: int, poured_ms: int, place: str, width: int
    ) -> CoreCourse | None:
        """Return the course of the probe at a place since pouring; None without one.

        None as well while a long pour is not in memory: a page never waits until it is.
        """
        if pour_id not in self._pours and many_readings(connection, pour_id, QUICKLY):
            return None
        with self._lock:
            traces = self._grown(connection, pour_id).traces.values()
            mine = [_in_order(trace) for trace in traces if trace.place == place]
        if not mine:
            return None
        # A probe that was changed goes on where the other one ended.
        at_ms, celsius = (np.concatenate(part) for part in zip(*mine, strict=True))
        order = np.argsort(at_ms, kind="stable")
        at_ms, celsius = at_ms[order], celsius[order]
        after = at_ms >= poured_ms
        hours, kept_c = thin(*_with_gaps((at_ms[after] - poured_ms) / 3.6e6, celsius[after]), width)
        return CoreCourse(hours, kept_c, at_ms[-LATELY:], celsius[-LATELY:])

    def warm(self, connection: Connection, pour_id: int, stop: threading.Event) -> None:
        """Take a pour into memory before anybody asks for it, unless told to stop."""
        with self._lock:
            self._grown(connection, pour_id, stop)

    def _grown(self, connection: Connection, pour_id: int, stop: threading.Event | None = None) -> _Series:
        """Return what is known of a pour, with the readings that have arrived since; with fewer if told to stop."""
        now = offsets(connection, pour_id)
        series = self._pours.pop(pour_id, None) or _Series()
        if any(now.get(boot) != offset for boot, offset in series.offsets.items()):
            series = _Series()
        while rows := points_after(connection, pour_id, series.last_id):
            _grow(series, rows, now)
            if stop is not None and stop.is_set():
                break
        self._pours[pour_id] = series
        if len(self._pours) > MOST_POURS:
            self._pours.popitem(last=False)
        return series


def _grow(series: _Series, rows: list[tuple[Any, ...]], offset_of: Mapping[int, int]) -> None:
    """Column by column: three days are a third of a million rows when the service has just been started."""
    ids, boots, boot_ms, probes, places, milli_c = zip(*rows, strict=True)
    series.last_id = ids[-1]
    series.thinned.clear()
    used = {boot: offset_of[boot] for boot in set(boots)}
    series.offsets |= used
    boot_at = np.array(boots, dtype=np.int64)
    at_ms = np.array(boot_ms, dtype=np.int64)
    for boot, offset in used.items():
        at_ms[boot_at == boot] += offset
    value = np.array(milli_c, dtype=np.float64)  # None becomes NaN
    number = {probe: i for i, probe in enumerate(dict.fromkeys(probes))}
    probe_at = np.array([number[probe] for probe in probes])
    for probe, i in number.items():
        mine = np.flatnonzero(probe_at == i)
        trace = series.traces.setdefault(probe, _Trace(places[mine[0]]))
        trace.at_ms.frombytes(at_ms[mine].tobytes())
        trace.milli_c.frombytes(value[mine].tobytes())


def _arrays(trace: _Trace) -> tuple[npt.NDArray[np.int64], Floats]:
    """Return times (ms) and °C: copies, since an array that is looked into cannot grow."""
    return np.array(trace.at_ms, dtype=np.int64), np.array(trace.milli_c) / 1000.0


def _in_order(trace: _Trace) -> tuple[npt.NDArray[np.int64], Floats]:
    """Return times and °C in the order in which they were taken."""
    at_ms, celsius = _arrays(trace)
    if np.any(np.diff(at_ms) < 0):  # caught up later
        order = np.argsort(at_ms, kind="stable")
        at_ms, celsius = at_ms[order], celsius[order]
    return at_ms, celsius


def _shown(probe: str, trace: _Trace, poured_ms: int, width: int) -> dict[str, Any]:
    at_ms, celsius = _in_order(trace)
    # Gaps are found before it is thinned: afterwards points lie minutes apart where a curve is smooth.
    hours, kept_c = thin(*_with_gaps((at_ms - poured_ms) / 3.6e6, celsius), width)
    return {"probe": probe, "place": trace.place} | _as_steps(hours, kept_c)


def _with_gaps(hours: Floats, celsius: Floats) -> tuple[Floats, Floats]:
    """Return a series with an empty point in the middle of each gap between readings."""
    if len(hours) > 1:
        steps = np.diff(hours)
        usual = float(np.median(steps))
        gaps = np.flatnonzero(steps > max(GAP_S / 3600.0, 6.0 * usual)) + 1
        hours = np.insert(hours, gaps, (hours[gaps] + hours[gaps - 1]) / 2)
        celsius = np.insert(celsius, gaps, np.nan)
    return hours, celsius


def _as_steps(hours: Floats, celsius: Floats) -> dict[str, Any]:
    """Return the steps between points instead of the points: a third of the length, which a phone adds up at once."""
    # A probe's step is 1/16 °C and its sweep 5 s: finer steps would only make the answer longer.
    tenths_s, centi_c = np.rint(hours * 36_000).astype(np.int64), np.rint(celsius * 100)
    good = ~np.isnan(centi_c)
    of_c = np.full(len(centi_c), None, dtype=object)
    of_c[good] = np.diff(centi_c[good], prepend=0).astype(np.int64)
    return {"steps_ds": np.diff(tenths_s, prepend=0).tolist(), "steps_centi_c": of_c.tolist()}


def points(trace: Mapping[str, Any]) -> tuple[list[float], list[float | None]]:
    """Hours and °C of a trace that was written as steps."""
    hours = (np.cumsum(trace["steps_ds"]) / 36_000).tolist()
    celsius, last = [], 0
    for step in trace["steps_centi_c"]:
        last += step or 0
        celsius.append(None if step is None else last / 100)
    return hours, celsius
