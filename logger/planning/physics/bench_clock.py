"""The clock of one batch at the bench: how long to stir, by when to pour, when it sets in its pail.

The working time runs from the moment the parts meet, in a pail that keeps its own heat; the mixing time from when
stirring begins. Times are milliseconds since 1970, UTC.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from logger.planning.physics.batches import SAFE_PART, SECOND_PAIL

_MS_PER_MIN = 60_000


class BenchState(StrEnum):
    """What is to be done with the batch now."""

    MEET = "meet"  #: the parts have met, and nobody stirs yet
    STIR = "stir"  #: stir until the datasheet's mixing time is over
    SECOND_PAIL = "second-pail"  #: in a clean pail, stir on
    POUR = "pour"  #: mixed; pour it out in time
    LATE = "late"  #: more than half of its working time is over: it thickens
    SET = "set"  #: its working time is over: it is not poured any more


@dataclass(frozen=True, slots=True)
class BenchClock:
    """One batch's times: when its parts met, when stirring began (None: not yet), minutes of mixing and working."""

    met_ms: int
    stirred_ms: int | None
    mix_min: float
    working_min: float

    @property
    def stir_until_ms(self) -> int | None:
        """When the mixing time in the first pail is over."""
        return None if self.stirred_ms is None else self.stirred_ms + round(self.mix_min * _MS_PER_MIN)

    @property
    def mixed_ms(self) -> int | None:
        """When it is mixed in the second pail, too."""
        until = self.stir_until_ms
        return None if until is None else until + round(SECOND_PAIL.value * _MS_PER_MIN)

    @property
    def pour_by_ms(self) -> int:
        """By when it is poured out: half of its working time."""
        return self.met_ms + round(SAFE_PART.value * self.working_min * _MS_PER_MIN)

    @property
    def sets_ms(self) -> int:
        """When it is too thick to be worked."""
        return self.met_ms + round(self.working_min * _MS_PER_MIN)

    def state(self, now_ms: int) -> BenchState:
        """Return what is to be done at that time; the working time rules over the mixing time."""
        if now_ms >= self.sets_ms:
            return BenchState.SET
        if now_ms >= self.pour_by_ms:
            return BenchState.LATE
        until, mixed = self.stir_until_ms, self.mixed_ms
        if until is None or mixed is None:
            return BenchState.MEET
        if now_ms < until:
            return BenchState.STIR
        return BenchState.SECOND_PAIL if now_ms < mixed else BenchState.POUR

    def next_ms(self, now_ms: int) -> int:
        """Return when that state ends; of a set batch, when it set."""
        ends = {
            BenchState.STIR: self.stir_until_ms,
            BenchState.SECOND_PAIL: self.mixed_ms,
            BenchState.LATE: self.sets_ms,
            BenchState.SET: self.sets_ms,
        }
        end = ends.get(self.state(now_ms))
        return self.pour_by_ms if end is None else min(end, self.sets_ms)
