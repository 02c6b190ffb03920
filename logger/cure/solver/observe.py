"""The readings of a march: where they are taken, and how they are kept along the way."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace

import numpy as np

from logger.arrays import Floats, Indices

#: Columns of a reading, see `march.read`.
CORE, HOTTEST, SURFACE, UNDERSIDE, MEAN, CORE_CURE, HOT_CELL, HEAT_OUT = range(8)
#: Behind them, until a interval ends: the four cells around the hottest, above, below, outward, inward.
AROUND = slice(8, 12)


@dataclass(frozen=True)
class Observer:
    """Where the readings are taken: weights on the flat fields of each member.

    warm (M, 4, cells) on temperatures for CORE, SURFACE, UNDERSIDE and HEAT_OUT, of_room and fixed (M, 4) what the
    room's temperature and absorbed heat add; the last three hold where all coefficients are given. cure
    (M, 2, resin cells) on conversions for MEAN and CORE_CURE; centre (columns,) for the centre line.
    """

    warm: Floats
    of_room: Floats
    fixed: Floats
    cure: Floats
    centre: Floats
    resin_rows: slice
    resin_columns: slice
    poured_rows: int
    #: Steps in the flat resin block to the cells above, below, outward and inward (4,).
    around: Indices
    #: Heat capacity of all the poured depth under a square metre, J/(m²·K).
    heat_capacity_m2: float

    def take(self, members: Indices) -> Observer:
        """Return the same observer for the members that `members` picks."""
        return replace(
            self,
            warm=self.warm[members],
            of_room=self.of_room[members],
            fixed=self.fixed[members],
            cure=self.cure[members],
        )


@dataclass
class History:
    """Readings along the march, an entry a step: who (m,), time s (m,), reading (m, 12); (m, 8) once finished."""

    who: list[Indices] = field(default_factory=list)
    time_s: list[Floats] = field(default_factory=list)
    reading: list[Floats] = field(default_factory=list)

    def add(self, who: Indices, time_s: Floats, reading: Floats) -> None:
        """Append the readings of some members."""
        self.who.append(who)
        self.time_s.append(time_s)
        self.reading.append(reading)

    def finish(self, first: int, rows: int, columns: int) -> None:
        """Join the entries from `first` on, and put the hottest place in the place of the hottest cell."""
        who, time_s = np.concatenate(self.who[first:]), np.concatenate(self.time_s[first:])
        reading = np.concatenate(self.reading[first:])
        reading[:, HOTTEST] = _summit(reading, rows, columns)
        self.who[first:], self.time_s[first:] = [who], [time_s]
        self.reading[first:] = [reading[:, :8]]

    def by_member(self, members: int) -> list[tuple[Floats, Floats]]:
        """For each member its times (s, rising) and readings (k, 8)."""
        who, time_s = np.concatenate(self.who), np.concatenate(self.time_s)
        reading = np.concatenate(self.reading)
        order = np.lexsort((time_s, who))
        cuts = np.searchsorted(who[order], np.arange(members + 1))
        time_s, reading = time_s[order], reading[order]
        return [(time_s[a:b], reading[a:b]) for a, b in itertools.pairwise(cuts)]


def _summit(reading: Floats, rows: int, columns: int) -> Floats:
    """Return the hottest place itself, from the means of the hottest cell and its neighbours by a parabola each way.

    A mean lies under its middle by a twenty-fourth of the second difference. reading (k, 12); returns (k,).
    """
    top = reading[:, HOTTEST]
    summit = top.copy()
    row, column = np.divmod(reading[:, HOT_CELL].astype(np.intp), columns)
    for at, count, pair in ((row, rows, reading[:, 8:10]), (column, columns, reading[:, 10:12])):
        inside = (at > 0) & (at < count - 1)
        up, down = pair[:, 0] - top, pair[:, 1] - top
        bend, tilt = np.minimum(up + down, -1e-12), 0.5 * (up - down)
        summit -= np.where(inside, bend / 24.0 + tilt * tilt / (2.0 * bend), 0.0)
    return np.asarray(summit)
