"""The curve that was frozen with the pour, and the top of its band: how hot a pour may run and still be as predicted.

A batch that cures a little faster or hotter than its datasheet is early by a part of the time and higher by a part of
the rise, so the band is wide in both directions; near a steep part of the curve the first is what matters.
After the predicted peak, a core that only reaches what was predicted anyway, later, is no news: the top of the band
then stays at the peak.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.errors import BadInput
from logger.facts import fact

#: Project choices, tried on plans with rate and heat of cure 5 % and 30 % off (tests/logger/alarms/test_band.py).
FASTER_PART = 0.12
SLOWER_PART = 0.25
RISE_PART = 0.3
LEAST_C = 3.0
#: 1.645 σ reach p95; 1.4 times that is the 99 % point of a normal spread, so that 1 calm pour in 100 is above it.
BAND_STRETCH = 1.4
GRID_H = 1 / 12
#: No prediction is longer: a year.
MOST_H = 8784.0


@dataclass(frozen=True, slots=True)
class Expected:
    """Predicted core and top of its band on an even grid of GRID_H hours from the start of pouring, °C."""

    core: tuple[float, ...]
    top: tuple[float, ...]

    @property
    def peak_h(self) -> float:
        """When the predicted core is hottest, h."""
        return self.core.index(max(self.core)) * GRID_H

    def core_c(self, hours: float) -> float:
        """Predicted core at an hour; held at both ends."""
        return _along(self.core, hours)

    def top_c(self, hours: float) -> float:
        """Top of the predicted band at an hour; held at both ends."""
        return _along(self.top, hours)


def expect(
    hours: Sequence[float],
    core_c: Sequence[float],
    band_p50_c: Sequence[float] | None = None,
    band_p95_c: Sequence[float] | None = None,
) -> Expected:
    """Return the band of a frozen prediction: `hours` that do not fall, one core temperature each, °C.

    With `band_p50_c` and `band_p95_c` (a forecast's band from before the pour) the top is taken from them, never
    closer than LEAST_C to the curve. Of an hour that is there twice the hotter counts: predictions of earlier versions
    rounded steep hours together. Raises BadInput for lists that are empty, unequal, out of order or years long.
    """
    import numpy as np  # here: a start does not wait for it

    h = np.asarray(hours, dtype=float)
    c = np.asarray(core_c, dtype=float)
    well = (
        h.ndim == c.ndim == 1
        and 0 < h.size == c.size
        and bool(np.all(np.isfinite(c)) and np.all(np.isfinite(h)))
    )
    if not well or np.any(np.diff(h) < 0) or h[-1] > MOST_H:
        raise BadInput(
            fact("predicted-curve"),
            fact("curve-hours-and-temperatures"),
            value=fact("curve-has", hours=h.size, temperatures=c.size),
            remedy=fact("predict-again"),
        )
    h, first = np.unique(h, return_index=True)
    c = np.maximum.reduceat(c, first)
    grid = np.arange(0.0, h[-1] + GRID_H, GRID_H)
    core = np.interp(grid, h, c)
    if band_p50_c is not None and band_p95_c is not None:
        middle = np.interp(grid, h, np.asarray(band_p50_c, dtype=float)[first])
        upper = np.interp(grid, h, np.asarray(band_p95_c, dtype=float)[first])
        top = np.maximum(middle + BAND_STRETCH * (upper - middle), core + LEAST_C)
    else:
        coldest = np.minimum.accumulate(core)
        wide = core + np.maximum(LEAST_C, RISE_PART * (core - coldest))
        top = np.empty_like(core)
        for i in range(grid.size):
            low = int((1 - SLOWER_PART) * i)
            high = min(grid.size, int(np.ceil((1 + FASTER_PART) * i)) + 1)
            top[i] = wide[low:high].max()
    peak = int(np.argmax(core))
    top[peak:] = np.maximum(top[peak:], top[peak])
    return Expected(tuple(core.tolist()), tuple(top.tolist()))


def _along(values: tuple[float, ...], hours: float) -> float:
    place = hours / GRID_H
    if place <= 0:
        return values[0]
    i = int(place)
    if i >= len(values) - 1:
        return values[-1]
    part = place - i
    return values[i] + part * (values[i + 1] - values[i])
