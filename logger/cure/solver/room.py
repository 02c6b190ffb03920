"""The room's temperature over time for M members: a schedule, straight between its points, plus an offset."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats
from logger.units import SECONDS_PER_HOUR, ZERO_CELSIUS_K

_FAR_S = 1e8


class RoomSchedule:
    """hours (K,) rising; celsius (K,) shared or (M, K); offset_c (M,). Held constant before and after."""

    def __init__(self, hours: Floats, celsius: Floats, offset_c: Floats) -> None:
        kelvin = np.atleast_2d(np.asarray(celsius, dtype=float)) + ZERO_CELSIUS_K
        at = np.asarray(hours, dtype=float) * SECONDS_PER_HOUR
        self.offset = np.asarray(offset_c, dtype=float)
        self.constant = bool(np.all(kelvin == kelvin[:, :1]))
        self._shared = kelvin.shape[0] == 1
        self._at = np.concatenate([[at[0] - _FAR_S], at, [at[-1] + _FAR_S]])
        self._k = np.concatenate([kelvin[:, :1], kelvin, kelvin[:, -1:]], axis=1)
        span = np.diff(self._at)
        self._slope = np.diff(self._k, axis=1) / span
        pieces = 0.5 * (self._k[:, 1:] + self._k[:, :-1]) * span
        self._sum = np.concatenate([np.zeros((len(kelvin), 1)), np.cumsum(pieces, axis=1)], axis=1)

    def _find(self, t_s: Floats, who: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats]:
        i = np.searchsorted(self._at[1:-1], t_s, side="right")
        row = np.zeros_like(who) if self._shared else who
        return row, i, t_s - self._at[i]

    def at(self, t_s: Floats, who: NDArray[np.intp]) -> Floats:
        """K at t_s seconds (shape (m,)) for the members `who` (m,)."""
        if self.constant:
            return np.asarray((self._k[0, 0] if self._shared else self._k[who, 0]) + self.offset[who])
        row, i, past = self._find(t_s, who)
        return np.asarray(self._k[row, i] + self._slope[row, i] * past + self.offset[who])

    def mean(self, from_s: Floats, to_s: Floats, who: NDArray[np.intp]) -> Floats:
        """Mean K from one time to the next, exact, shape (m,)."""
        if self.constant:
            return self.at(from_s, who)
        return self.means((from_s, to_s), who)[0]

    def means(self, times_s: Sequence[Floats], who: NDArray[np.intp]) -> list[Floats]:
        """Mean K from each time to the next, and last from the first to the last; exact, shape (m,) each."""
        if self.constant:
            return [self.at(times_s[0], who)] * len(times_s)
        sums = [self._integral(t_s, who) for t_s in times_s]
        ends = [*((i, i + 1) for i in range(len(times_s) - 1)), (0, len(times_s) - 1)]
        return [
            np.asarray((sums[b] - sums[a]) / (times_s[b] - times_s[a]) + self.offset[who]) for a, b in ends
        ]

    def _integral(self, t_s: Floats, who: NDArray[np.intp]) -> Floats:
        row, i, past = self._find(t_s, who)
        return np.asarray(self._sum[row, i] + past * (self._k[row, i] + 0.5 * self._slope[row, i] * past))
