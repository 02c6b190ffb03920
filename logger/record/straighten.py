"""Fewer points for a drawn line: those that a straight line would pass by less than can be seen.

Douglas & Peucker 1973, Cartographica 10:112.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats

#: So far from a point may the line that leaves it out run, in the drawing's pixels.
UNSEEN_PX = 0.15


def straightened(points: Floats, unseen: float = UNSEEN_PX) -> Floats:
    """Return those of the points (n, 2), in their order, that stand further than `unseen` off the line without them.

    The first and the last stay.
    """
    return points[needed(points, unseen)]


def needed(points: Floats, unseen: float = UNSEEN_PX) -> NDArray[np.bool_]:
    """Return which of the points (n, 2) those are: (n,)."""
    stays = np.zeros(len(points), dtype=bool)
    stays[[0, -1]] = True
    spans = [(0, len(points) - 1)]
    while spans:
        first, last = spans.pop()
        if last - first < 2:
            continue
        start, along = points[first], points[last] - points[first]
        between = points[first + 1 : last] - start
        # To the piece between both ends, not to the line beyond them: one that turns back is off it.
        part = np.clip(between @ along / max(float(along @ along), 1e-12), 0.0, 1.0)
        off = np.hypot(*(between - part[:, None] * along).T)
        furthest = int(off.argmax())
        if off[furthest] > unseen:
            middle = first + 1 + furthest
            stays[middle] = True
            spans += [(first, middle), (middle, last)]
    return stays
