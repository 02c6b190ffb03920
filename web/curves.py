"""A pour's measured curves for charts: kept in memory, grown as readings arrive, thinned to what a screen can show."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import Connection

from logger.record.thin import thin
from logger.store.readings import after

#: A gap between readings longer than this is drawn as a gap, s.
GAP_S = 180.0


@dataclass(slots=True)
class _Trace:
    place: str
    at_ms: list[int] = field(default_factory=list)
    milli_c: list[float] = field(default_factory=list)  # NaN for a fault


@dataclass(slots=True)
class _Known:
    last_id: int = 0
    shift_of: int = 0
    traces: dict[str, _Trace] = field(default_factory=dict)


class Curves:
    """Every watched pour's readings in memory: about 10 MB for 72 h of 6 probes at 5 s."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pours: dict[int, _Known] = {}

    def thinned(
        self, connection: Connection, pour_id: int, poured_ms: int, width: int
    ) -> list[dict[str, Any]]:
        """One dict a probe: probe, place, hours and celsius (None where there is a gap or fault)."""
        with self._lock:
            known = self._pours.setdefault(pour_id, _Known())
            while rows := after(connection, pour_id, known.last_id):
                for row in rows:
                    trace = known.traces.setdefault(row.probe, _Trace(row.place))
                    trace.at_ms.append(row.at_ms)
                    trace.milli_c.append(np.nan if row.milli_c is None else row.milli_c)
                known.last_id = rows[-1].id
            traces = [
                (probe, trace.place, np.array(trace.at_ms, dtype=np.int64), np.array(trace.milli_c))
                for probe, trace in known.traces.items()
            ]
        shown = []
        for probe, place, at_ms, milli_c in traces:
            hours = (at_ms - poured_ms) / 3.6e6
            order = np.argsort(hours, kind="stable")
            kept_hours, kept_c = thin(hours[order], milli_c[order] / 1000.0, width)
            shown.append({"probe": probe, "place": place} | _with_gaps(kept_hours, kept_c))
        return shown

    def forget(self, pour_id: int) -> None:
        """Drops a pour from memory: it is closed, or its times were corrected."""
        with self._lock:
            self._pours.pop(pour_id, None)


def _with_gaps(hours: npt.NDArray[np.float64], celsius: npt.NDArray[np.float64]) -> dict[str, Any]:
    if len(hours) > 1:
        steps = np.diff(hours)
        usual = float(np.median(steps))
        gaps = np.flatnonzero(steps > max(GAP_S / 3600.0, 6.0 * usual)) + 1
        hours = np.insert(hours, gaps, (hours[gaps] + hours[gaps - 1]) / 2)
        celsius = np.insert(celsius, gaps, np.nan)
    return {
        "hours": np.round(hours, 5).tolist(),
        "celsius": [None if value != value else round(value, 3) for value in celsius.tolist()],
    }
