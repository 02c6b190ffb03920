"""Thins a curve to what a screen or a sheet of paper can show, without losing a hot sample. Pure.

Thinning keeps first, last, lowest and highest of every pixel column, so that a single hot sample survives
(M4: Jugel et al., PVLDB 7(10), 2014, doi 10.14778/2732951.2732953). Averages would hide it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt


def thin(
    x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], width: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return first, last, lowest and highest of each of `width` equal columns of x (sorted), and NaN rows."""
    if len(x) <= 4 * width:
        return x, y
    column = np.minimum(((x - x[0]) * (width / (x[-1] - x[0]))).astype(np.int64), width - 1)
    starts = np.flatnonzero(np.diff(column, prepend=-1))
    ends = np.append(starts[1:], len(x)) - 1
    missing = np.isnan(y)
    lowest = _first_lowest(np.where(missing, np.inf, y), starts)
    highest = _first_lowest(np.where(missing, np.inf, -y), starts)
    # Two faults in a row say no more than one: only the first of each run is kept.
    first_fault = np.flatnonzero(missing & ~np.append(False, missing[:-1]))
    chosen = np.unique(np.concatenate([starts, ends, lowest, highest, first_fault]))
    return x[chosen], y[chosen]


def _first_lowest(values: npt.NDArray[np.float64], starts: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Return where the first lowest value of each group lies; groups follow each other and begin at `starts`."""
    sizes = np.diff(np.append(starts, len(values)))
    at_lowest = np.flatnonzero(values == np.repeat(np.minimum.reduceat(values, starts), sizes))
    group = np.searchsorted(starts, at_lowest, side="right")
    return at_lowest[np.flatnonzero(np.diff(group, prepend=-1))]
