"""Heat conduction along rows and along columns, exact in time: one matrix exponential a line of cells.

The cells of a line obey C dθ/dt = −K θ with K tridiagonal (θ: above the room's temperature). Scaled by √C
the matrix is symmetric, so that θ(τ) = L exp(−λτ) R θ(0) is stable for every step and keeps heat exactly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Picks = NDArray[np.intp] | slice

EVERYONE = slice(None)


class Lines:
    """A block of parallel lines of cells that share one operator per member.

    along "z": the block's columns are the lines; along "x": its rows are. capacity (n,) J/K, links (n − 1,) W/K
    between neighbours, low and high (M,) W/K from the end cells to the air, all for a line of unit size.
    """

    def __init__(
        self,
        along: str,
        rows: slice,
        columns: slice,
        capacity: Floats,
        links: Floats,
        low: Floats,
        high: Floats,
    ) -> None:
        self.along = along
        self.rows, self.columns = rows, columns
        self.capacity, self.links = capacity, links
        members, n = len(low), len(capacity)
        self.low, self.high = low.copy(), high.copy()
        self.root = np.sqrt(capacity)
        self.decay = np.empty((members, n))
        self.left = np.empty((members, n, n))
        self.right = np.empty((members, n, n))
        #: Propagators over a quarter and a half of the current step, transposed for "x".
        self.quarter = np.empty((members, n, n))
        self.half = np.empty((members, n, n))
        #: Rate of change by the links alone, transposed for "x".
        self.generator = np.zeros((n, n))
        at = np.arange(n - 1)
        self.generator[at, at] -= links
        self.generator[at + 1, at + 1] -= links
        self.generator[at, at + 1] += links
        self.generator[at + 1, at] += links
        self.generator /= capacity[:, None]
        if along == "x":
            self.generator = np.ascontiguousarray(self.generator.T)
        self._decompose(EVERYONE)

    def take(self, keep: NDArray[np.intp]) -> Lines:
        """The same block for the members that `keep` picks."""
        other = object.__new__(Lines)
        other.__dict__.update(self.__dict__)
        for name in ("low", "high", "decay", "left", "right", "quarter", "half"):
            setattr(other, name, getattr(self, name)[keep])
        return other

    def set_ends(self, who: Picks, low: Floats | None = None, high: Floats | None = None) -> None:
        """New end conductances for some members; their propagators must be built again."""
        if low is not None:
            self.low[who] = low
        if high is not None:
            self.high[who] = high
        self._decompose(who)

    def _decompose(self, who: Picks) -> None:
        low, high = self.low[who], self.high[who]
        n = len(self.capacity)
        diagonal = np.zeros((len(low), n))
        diagonal[:, :-1] += self.links
        diagonal[:, 1:] += self.links
        diagonal[:, 0] += low
        diagonal[:, -1] += high
        matrix = np.zeros((len(low), n, n))
        at = np.arange(n)
        matrix[:, at, at] = diagonal / self.capacity
        off = -self.links / (self.root[:-1] * self.root[1:])
        matrix[:, at[:-1], at[1:]] = off
        matrix[:, at[1:], at[:-1]] = off
        decay, vectors = np.linalg.eigh(matrix)
        self.decay[who] = np.maximum(decay, 0.0)
        self.left[who] = vectors / self.root[:, None]
        self.right[who] = np.swapaxes(vectors, 1, 2) * self.root

    def build(self, who: Picks, quarter_s: Floats) -> None:
        """Propagators of some members for a quarter step of quarter_s seconds (shape (picked,))."""
        fade = np.exp(self.decay[who] * -quarter_s[:, None])
        quarter = (self.left[who] * fade[:, None, :]) @ self.right[who]
        half = quarter @ quarter
        if self.along == "x":
            quarter, half = np.swapaxes(quarter, 1, 2), np.swapaxes(half, 1, 2)
        self.quarter[who], self.half[who] = quarter, half

    def spread(self, delta: Floats, step: int) -> None:
        """Conduct in place over a quarter (step 0) or a half (step 1); delta has shape (M, rows, columns)."""
        part = delta[:, self.rows, self.columns]
        operator = self.half if step else self.quarter
        delta[:, self.rows, self.columns] = operator @ part if self.along == "z" else part @ operator

    def add_rate(self, t_k: Floats, rate: Floats) -> None:
        """Add the rate of change (K/s) that the links within the block cause."""
        part = t_k[:, self.rows, self.columns]
        flow = self.generator @ part if self.along == "z" else part @ self.generator
        rate[:, self.rows, self.columns] += flow
