"""Heat conduction along rows and along columns, exact in time: one matrix exponential a line of cells.

The cells of a line obey C dθ/dt = −K θ with K tridiagonal (θ: above the room's temperature). Scaled by √C
the matrix is symmetric, so that θ(τ) = L exp(−λτ) R θ(0) is stable for every step and keeps heat exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats

Picks = NDArray[np.intp] | slice

EVERYONE = slice(None)


_BY_MEMBER = (
    "low",
    "high",
    "operator",
    "decay",
    "left",
    "right",
    "quarter",
    "half",
    "quarter_mean",
    "half_mean",
    "quarter_ramp",
    "half_ramp",
)


@dataclass(frozen=True)
class LineCells:
    """The cells of a line of unit size: capacity (n,) J/K; links (n − 1,) W/K between neighbours; flow (n, n) W/K, the
    heat into each cell (see stencils)."""

    capacity: Floats
    links: Floats
    flow: Floats


@dataclass(frozen=True)
class LineEnds:
    """How lines end: conductance to the air at the low and the high end, W/K (M,), and the weights (2,) of the mean of
    the cells there (see boundary.Boundary.weights)."""

    low: Floats
    high: Floats
    low_weights: Floats
    high_weights: Floats


class LineOperators:
    """A block of parallel lines of cells that share one operator per member.

    along "z": the columns of the block are the lines; along "x": its rows are. cells, ends: of a line of unit size.
    """

    def __init__(self, along: str, rows: slice, columns: slice, cells: LineCells, ends: LineEnds) -> None:
        self.along = along
        self.rows, self.columns = rows, columns
        self.capacity, self.links = cells.capacity, cells.links
        members, n = len(ends.low), len(cells.capacity)
        self.low, self.high = ends.low.copy(), ends.high.copy()
        self.low_weights, self.high_weights = ends.low_weights, ends.high_weights
        self.decay = np.empty((members, n))
        self.left = np.empty((members, n, n))
        self.right = np.empty((members, n, n))
        #: Propagators over a quarter and a half of the current step, transposed for "x".
        self.quarter = np.empty((members, n, n))
        self.half = np.empty((members, n, n))
        #: Mean of the propagator over the same spans: what a constant rate of heating leaves behind per second.
        self.quarter_mean = np.empty((members, n, n))
        self.half_mean = np.empty((members, n, n))
        #: The same for a rate that grows from nothing, over its mean.
        self.quarter_ramp = np.empty((members, n, n))
        self.half_ramp = np.empty((members, n, n))
        #: Rate of change by the flow between the cells, to a higher order than the links; transposed for "x".
        rate = cells.flow / cells.capacity[:, None]
        self.generator = np.ascontiguousarray(rate.T) if along == "x" else rate
        #: What the liquid's motion adds to the links, W/K (M, n − 1); None where nothing moves.
        self.stirred: Floats | None = None
        #: Rate of change of θ by flow and faces together, transposed for "x".
        self.operator = np.empty((members, n, n))
        self._decompose(EVERYONE)

    def take(self, members: NDArray[np.intp]) -> LineOperators:
        """Return the same block for the members that `members` picks."""
        other = object.__new__(LineOperators)
        other.__dict__.update(self.__dict__)
        for name in _BY_MEMBER:
            setattr(other, name, getattr(self, name)[members])
        if self.stirred is not None:
            other.stirred = self.stirred[members]
        return other

    def set_ends(self, who: Picks, low: Floats | None = None, high: Floats | None = None) -> None:
        """Set new end conductances for some members; their propagators must be built again."""
        if low is not None:
            self.low[who] = low
        if high is not None:
            self.high[who] = high
        self._decompose(who)

    def stir(self, who: NDArray[np.intp], more: Floats) -> None:
        """Set what motion adds to the links of some members, W/K (picked, n − 1); propagators must be built again."""
        if self.stirred is None:
            self.stirred = np.zeros((len(self.low), len(self.links)))
        self.stirred[who] = more
        self._decompose(who)

    def _decompose(self, who: Picks) -> None:
        if self.stirred is not None:
            numbers = np.arange(len(self.low))[who]
            moving = self.stirred[numbers].any(axis=1)
            if moving.any():
                self._decompose_stirred(numbers[moving])
                who = numbers[~moving]
                if not len(who):
                    return
        # Members with the same ends share their modes: in a search most of them differ in something else.
        ends, back = np.unique(np.stack([self.low[who], self.high[who]]), axis=1, return_inverse=True)
        low, high = ends
        rate = self.generator.T if self.along == "x" else self.generator
        matrix = np.repeat(-rate[None], len(low), axis=0)
        for i, weight in enumerate(self.low_weights):
            matrix[:, 0, i] += low * weight / self.capacity[0]
        for i, weight in enumerate(self.high_weights):
            matrix[:, -1, -1 - i] += high * weight / self.capacity[-1]
        self.operator[who] = (-np.swapaxes(matrix, 1, 2) if self.along == "x" else -matrix)[back]
        decay, vectors = np.linalg.eig(matrix)
        if np.iscomplexobj(decay):
            decay, vectors = self._symmetric(low, high)
        self.decay[who] = np.maximum(decay, 0.0)[back]
        self.left[who] = vectors[back]
        self.right[who] = np.linalg.inv(vectors)[back]

    def _decompose_stirred(self, who: NDArray[np.intp]) -> None:
        """Decompose for members whose liquid moves: the accurate flow and what the motion adds, each member its own."""
        assert self.stirred is not None
        low, high, more = self.low[who], self.high[who], self.stirred[who]
        rate = self.generator.T if self.along == "x" else self.generator
        matrix = np.repeat(rate[None], len(who), axis=0)
        for i, weight in enumerate(self.low_weights):
            matrix[:, 0, i] -= low * weight / self.capacity[0]
        for i, weight in enumerate(self.high_weights):
            matrix[:, -1, -1 - i] -= high * weight / self.capacity[-1]
        at = np.arange(len(self.links))
        matrix[:, at, at] -= more / self.capacity[:-1]
        matrix[:, at, at + 1] += more / self.capacity[:-1]
        matrix[:, at + 1, at + 1] -= more / self.capacity[1:]
        matrix[:, at + 1, at] += more / self.capacity[1:]
        self.operator[who] = np.swapaxes(matrix, 1, 2) if self.along == "x" else matrix
        decay, vectors = self._symmetric(low, high, more)
        self.decay[who] = np.maximum(decay, 0.0)
        self.left[who] = vectors
        # The modes are orthogonal once scaled by the root of the capacities.
        self.right[who] = np.swapaxes(vectors, 1, 2) * self.capacity

    def _symmetric(self, low: Floats, high: Floats, more: Floats | float = 0.0) -> tuple[Floats, Floats]:
        """Return the plain links between neighbours instead: symmetric once scaled, so that its modes are always real.

        The pull at the start of a step holds the accurate flow in any case; this only damps the change within it.
        """
        n = len(self.capacity)
        links = self.links + more
        diagonal = np.zeros((len(low), n))
        diagonal[:, :-1] += links
        diagonal[:, 1:] += links
        diagonal[:, 0] += low
        diagonal[:, -1] += high
        matrix = np.zeros((len(low), n, n))
        at = np.arange(n)
        matrix[:, at, at] = diagonal / self.capacity
        root = np.sqrt(self.capacity)
        off = -links / (root[:-1] * root[1:])
        matrix[:, at[:-1], at[1:]] = off
        matrix[:, at[1:], at[:-1]] = off
        decay, vectors = np.linalg.eigh(matrix)
        return decay, vectors / root[:, None]

    def build(self, who: Picks, quarter_s: Floats) -> None:
        """Propagators of some members for a quarter step of quarter_s seconds (shape (picked,))."""
        decay = self.decay[who] * quarter_s[:, None]
        fade = np.exp(-decay)
        # (1 − e^−x) / x and 2 (1 − that) / x, both 1 at x = 0.
        mean, ramp = _mean_and_ramp(decay)
        mean_half, ramp_half = _mean_and_ramp(2.0 * decay)
        left, right = self.left[who], self.right[who]
        factors = (fade, fade * fade, mean, mean_half, ramp, ramp_half)
        for name, factor in zip(_BY_MEMBER[6:], factors, strict=True):
            built = (left * factor[:, None, :]) @ right
            getattr(self, name)[who] = np.swapaxes(built, 1, 2) if self.along == "x" else built

    def spread(self, delta: Floats, operator: Floats) -> None:
        """Apply one of this block's operators in place; delta has shape (M, rows, columns)."""
        part = delta[:, self.rows, self.columns]
        delta[:, self.rows, self.columns] = operator @ part if self.along == "z" else part @ operator

    def add_rate(self, theta: Floats, rate: Floats) -> None:
        """Add the rate of change (K/s) by the flow along these lines and through their ends; theta over the room."""
        part = theta[:, self.rows, self.columns]
        flow = self.operator @ part if self.along == "z" else part @ self.operator
        rate[:, self.rows, self.columns] += flow


def _mean_and_ramp(x: Floats) -> tuple[Floats, Floats]:
    safe = np.maximum(x, 1e-3)
    mean = -np.expm1(-safe) / safe
    ramp = 2.0 * (1.0 - mean) / safe
    small = x < 1e-3
    return np.where(small, 1.0 - x / 2.0 + x * x / 6.0, mean), np.where(small, 1.0 - x / 3.0, ramp)
