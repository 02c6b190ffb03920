"""When a course first reaches a level: the one place that looks for it."""

from __future__ import annotations

import numpy as np

from logger.arrays import Floats


def first_crossings(hours: Floats, values: Floats, level: float) -> Floats:
    """Return the first hour at which each row of values (places, T), joined by straight lines, reaches the level.

    hours (T,), rising. (places,); infinite where a row never does.
    """
    if values.shape[1] == 0:
        return np.full(len(values), np.inf)
    reached = values >= level
    at = reached.argmax(axis=1)
    before = np.maximum(at - 1, 0)
    rows = np.arange(len(values))
    low, high = values[rows, before], values[rows, at]
    part = np.where(at > 0, (level - low) / np.where(high > low, high - low, 1.0), 1.0)
    when = hours[before] + part * (hours[at] - hours[before])
    return np.where(reached.any(axis=1), when, np.inf)


def first_crossing(hours: Floats, values: Floats, level: float) -> float | None:
    """Return the same of one course (T,); None where it never reaches the level."""
    when = float(first_crossings(np.asarray(hours), np.asarray(values)[None], level)[0])
    return when if np.isfinite(when) else None
