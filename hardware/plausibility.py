"""What one look at a probe cannot tell, and its history can. Pure: time is an argument.

Two lies have good checksums:

- *85.0 °C on a clone* looks the same whether the chip never converted or the resin really is that hot. It is taken
  as true when the readings before it lead there. Otherwise it is held until the next reading: if that one, or the
  line between the two neighbours, agrees, the held one was true.
- *A repeated sample* (the command to convert was lost) is an old temperature. It is recorded with a note when the
  probe was moving and suddenly is not. A value that sticks while the probe rests looks like rest: only the
  comparison with the prediction can find it.

Thresholds are our own choice; no source.
"""

from __future__ import annotations

from collections import deque
from enum import Enum, auto

from hardware.scratchpad import LSB_C, Ambiguous, Good

AMBIGUOUS_C = 85.0
NEAR_C = 2.0
"""An 85.0 is believed when history expects a value this close to it."""
STEEP_SHARE = 0.1
"""Between two neighbours the expectation is looser by this share of the step between them."""
RESTING_C = 0.5
"""A long row of 85.0 is believed when it was entered and left from this close to it."""
RECENT_S = 120.0
"""A reading older than this no longer says what the next one should be."""
HOLD_LONGEST_S = 600.0
"""An 85.0 is not held longer than this: from then on it is silence, and silence is a fault."""

MOVING_STEPS = 6
MOVING_S = 1800.0
MOVING_C = 4 * LSB_C
"""A probe was moving if its last MOVING_STEPS different readings, at most MOVING_S apart, span at least this."""
MISSED_C = 1.0
"""Unchanged bytes are suspect once the movement before would have made this difference."""

GENUINE_READS = 10
GENUINE_KINDS = 3


class Belief(Enum):
    """What to do with an 85.0 that its bytes do not prove."""

    TRUE = auto()
    POWER_ON = auto()
    HOLD = auto()


class PlausibilityCheck:
    """History of one probe, as far as judging needs it."""

    def __init__(self) -> None:
        self._good: deque[tuple[float, float]] = deque(maxlen=2)
        self._moves: deque[tuple[float, float]] = deque(maxlen=MOVING_STEPS)
        self._last: Good | None = None
        self._same_since_s = 0.0
        self._kept = 0
        self._broken = 0
        self._kinds: set[int] = set()

    @property
    def genuine(self) -> bool | None:
        """True or False once at least ten readings show whether the chip keeps the byte-6 rule; None before.

        Breaking it once proves nothing (noise, a short conversion); a clone's fixed byte fits the rule by chance
        in one temperature of sixteen, so a genuine chip must also have shown several values of it.
        """
        if self._broken >= GENUINE_READS:
            return False
        if self._broken == 0 and self._kept >= GENUINE_READS and len(self._kinds) >= GENUINE_KINDS:
            return True
        return None

    @property
    def last_good(self) -> tuple[float, float] | None:
        """Time (s) and temperature (°C) of the last proven reading."""
        return self._good[-1] if self._good else None

    def take(self, good: Good, now_s: float) -> str | None:
        """Take a proven reading into the history; returns a note if it may be a repeated old sample."""
        rule = good.keeps_byte_6_rule
        if rule:
            self._kept += 1
            self._kinds.add(good.raw[6])
        elif rule is not None:
            self._broken += 1
        note = self._note(good, now_s)
        if note is None:
            self._good.append((now_s, good.celsius))
        self._last = good
        return note

    def believe(self, verdict: Ambiguous, now_s: float) -> Belief:
        """Return what the readings so far say about an 85.0 that its bytes do not prove."""
        if verdict.is_power_on_on_a_genuine_chip and self.genuine:
            return Belief.POWER_ON
        if not self._good or now_s - self._good[-1][0] > RECENT_S:
            return Belief.HOLD
        before_s, before_c = self._good[-1]
        if abs(AMBIGUOUS_C - before_c) > NEAR_C:
            return Belief.HOLD
        if len(self._good) == 2 and before_s - self._good[0][0] <= RECENT_S:
            first_s, first_c = self._good[0]
            slope = (before_c - first_c) / max(before_s - first_s, 1e-3)
            if abs(before_c + slope * (now_s - before_s) - AMBIGUOUS_C) > NEAR_C:
                return Belief.HOLD
        return Belief.TRUE

    def _note(self, good: Good, now_s: float) -> str | None:
        if self._last is None or good.raw[:2] != self._last.raw[:2]:
            self._same_since_s = now_s
            self._moves.append((now_s, good.celsius))
            return None
        first_s, first_c = self._moves[0]
        last_s, last_c = self._moves[-1]
        if last_s <= first_s or abs(last_c - first_c) < MOVING_C or last_s - first_s > MOVING_S:
            return None
        slope = (last_c - first_c) / (last_s - first_s)
        missed = slope * (now_s - self._same_since_s)
        if abs(missed) < MISSED_C:
            return None
        return (
            f"unchanged while {missed:+.1f} °C was to be expected: the chip may have repeated an old sample"
        )


def settle(held_s: float, before: tuple[float, float] | None, after: tuple[float, float]) -> Belief:
    """Return what an 85.0 held at `held_s` was, by the proven readings (s, °C) before and after it: TRUE or
    POWER_ON.
    """
    after_s, after_c = after
    if (
        before is not None
        and after_s - before[0] <= HOLD_LONGEST_S
        and abs(before[1] - AMBIGUOUS_C) <= RESTING_C
        and abs(after_c - AMBIGUOUS_C) <= RESTING_C
    ):
        # A long rest at exactly 85.0, entered and left from close by.
        return Belief.TRUE
    if after_s - held_s > RECENT_S:
        return Belief.POWER_ON
    expected, near = after_c, NEAR_C
    if before is not None and held_s - before[0] <= RECENT_S:
        before_s, before_c = before
        expected = before_c + (after_c - before_c) * (held_s - before_s) / max(after_s - before_s, 1e-3)
        near += STEEP_SHARE * abs(after_c - before_c)
    return Belief.TRUE if abs(expected - AMBIGUOUS_C) <= near else Belief.POWER_ON
