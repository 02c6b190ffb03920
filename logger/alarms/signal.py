"""The signal of one probe: its believed temperature, how often it reports, and how well.

A lone jump is not believed: the core of a pour cannot jump. A reading is believed when it lies where the last ones
lead, or when the next one confirms it. A steep but steady rise is believed at once.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from logger.alarms.inputs import LiveReading
from logger.alarms.state_json import JsonTable

#: A step that is always believed: 3 σ of the step between two readings with 0.2 °C of noise each, rounded up.
STEP_C = 1.0
#: And so much more for each second since the last one, whatever the trend: air and surfaces move this fast.
DRIFT_C_S = 0.02
#: The value that the chip wakes up with (datasheet); two of them alone confirm nothing.
POWER_ON_C = 85.0
#: Beyond what any thermometer of a pour can mean, °C.
LOWEST_C, HIGHEST_C = -55.0, 600.0
#: A longer run without a reading is a lost probe's business, not a doubtful one's.
SHORT_RUN = 4
#: The trail keeps one believed value a minute for so many minutes.
TRAIL = 16
TRAIL_EVERY_MS = 60_000
#: A slope is of so long a stretch, ms, of at least so many points, over at least so long.
SLOPE_MS, SLOPE_POINTS, SLOPE_LEAST_MS = 30 * 60_000, 3, 5 * 60_000


@dataclass(slots=True)
class ProbeSignal:
    """One probe. Times in ms on the steady timeline, temperatures in °C."""

    place: str
    probe: str
    station: str = ""
    first_ms: int = 0
    seen_ms: int = 0  #: last look, good or not; the first one when there has been no other
    good_ms: int | None = None  #: last look that gave a temperature
    missed: int = 0  #: looks without a temperature since then
    period_s: float = 0.0  #: how far apart looks usually are; 0: not known yet
    believed_c: float | None = None
    believed_ms: int = 0
    rate_c_s: float = 0.0
    suspect_c: float | None = None
    suspect_ms: int = 0
    late: bool = False
    jumps: float = 0.0  #: jumps that the next reading took back; forgotten over some 30 readings
    misses: float = 0.0  #: part of the recent looks that gave nothing, 0 to 1, long runs cut to SHORT_RUN
    unmoved_ms: int = 0  #: since when the reading has not changed in its last digit
    last_c: float | None = None
    trail: list[tuple[int, float]] | None = None

    base: str = ""  #: the kind of place: core for core-2

    def __post_init__(self) -> None:
        self.base = self.place.partition("-")[0]

    @property
    def recent_ms(self) -> float:
        """How old a reading may be and still say how it is now, ms."""
        return max(100_000.0, 3000.0 * self.period_s)

    @property
    def credit_s(self) -> float:
        """The longest time that one reading may stand for, s."""
        return max(60.0, 1.5 * self.period_s)

    def take(self, sample: LiveReading) -> bool:
        """Take one reading; return whether there is a newly believed temperature. One out of order is ignored."""
        if sample.at_ms < self.seen_ms:
            return False
        gap_s = (sample.at_ms - self.seen_ms) / 1000
        self._learn_period(gap_s)
        self.seen_ms = sample.at_ms
        self.late = sample.late
        value = sample.celsius
        if sample.note is not None and value is not None:
            self.jumps += 0.5  # the station doubts this temperature; the note of a fault only explains it
        if value is None or not math.isfinite(value) or not LOWEST_C <= value <= HIGHEST_C:
            self.missed += 1
            if self.missed <= SHORT_RUN:
                self.misses += 0.05 * (1 - self.misses)
            return False
        self.missed = 0
        self.misses -= 0.05 * self.misses
        self.good_ms = sample.at_ms
        if value != self.last_c:
            self.last_c, self.unmoved_ms = value, sample.at_ms
        return self._believe(value, sample.at_ms)

    def _learn_period(self, gap_s: float) -> None:
        if gap_s <= 0:
            return
        if self.period_s == 0.0:
            self.period_s = min(gap_s, 600.0)
        else:
            # A long gap is a gap, not a new period: it counts for little.
            self.period_s += 0.3 * (min(gap_s, 2 * self.period_s, 600.0) - self.period_s)

    def _believe(self, value: float, at_ms: int) -> bool:
        if self.believed_c is None:
            # Nothing to compare the first one with: the next one must agree.
            if self.suspect_c is None or not self._near(value, self.suspect_c, at_ms - self.suspect_ms):
                self.suspect_c, self.suspect_ms = value, at_ms
                return False
        elif not self._near(value, self.believed_c, at_ms - self.believed_ms):
            return self._believe_jump(value, at_ms, self.believed_c)
        else:
            self.jumps = self.jumps * 0.97 + (0.0 if self.suspect_c is None else 1.0)
            step_s = (at_ms - self.believed_ms) / 1000
            if step_s > 0:
                self.rate_c_s += 0.3 * ((value - self.believed_c) / step_s - self.rate_c_s)
        self.believed_c, self.believed_ms, self.suspect_c = value, at_ms, None
        self._lay_trail(value, at_ms)
        return True

    def _believe_jump(self, value: float, at_ms: int, believed_c: float) -> bool:
        """Hold a value far from the believed one back until a second one agrees; return whether it does."""
        suspect_c, suspect_ms = self.suspect_c, self.suspect_ms
        self.suspect_c, self.suspect_ms = value, at_ms
        if suspect_c is None or value == suspect_c == POWER_ON_C:
            return False
        if (value - believed_c) * (suspect_c - believed_c) < 0:
            self.jumps += 1.0  # one up, one down: neither is true
            return False
        self.rate_c_s = (value - suspect_c) * 1000 / max(1, at_ms - suspect_ms)
        if abs(value - suspect_c) <= STEP_C + DRIFT_C_S * (at_ms - suspect_ms) / 1000:
            self.believed_c, self.believed_ms, self.suspect_c = value, at_ms, None
        elif abs(value - believed_c) > abs(suspect_c - believed_c):
            # Further the same way: a steep start. The nearer of the two is certainly reached.
            self.believed_c, self.believed_ms = suspect_c, suspect_ms
        else:
            self.believed_c, self.believed_ms, self.suspect_c = value, at_ms, None
        self._lay_trail(self.believed_c, self.believed_ms)
        return True

    def _near(self, value: float, other: float, gap_ms: int) -> bool:
        gap_s = gap_ms / 1000
        return abs(value - other) <= STEP_C + (DRIFT_C_S + 2 * abs(self.rate_c_s)) * gap_s

    def _lay_trail(self, value: float, at_ms: int) -> None:
        if self.trail is None:
            self.trail = []
        if not self.trail or at_ms - self.trail[-1][0] >= TRAIL_EVERY_MS:
            self.trail.append((at_ms, value))
            del self.trail[:-TRAIL]

    def range_c(self) -> float:
        """Return the highest less the lowest value of the trail, K."""
        values = [value for _, value in self.trail or ()]
        return max(values) - min(values) if values else 0.0

    def rise_c(self, over_ms: int) -> float | None:
        """Return the change of the believed value in `over_ms`, K, from the last such stretch; None without one."""
        if not self.trail or self.believed_c is None:
            return None
        since = self.believed_ms - over_ms
        before = None
        for at_ms, value in self.trail:
            if at_ms > since:
                break
            before = (at_ms, value)
        if before is None or since - before[0] > over_ms:
            return None
        return (self.believed_c - before[1]) * over_ms / (self.believed_ms - before[0])

    def slope_c_h(self) -> float | None:
        """Return how fast it has moved over the last half hour, K/h, by least squares; None when that is not known.

        It takes at least three points of the trail, the last believed value among them, over five minutes.
        """
        points = [(at_ms, value) for at_ms, value in self.trail or () if at_ms >= self.believed_ms - SLOPE_MS]
        if self.believed_c is not None and points and points[-1][0] < self.believed_ms:
            points.append((self.believed_ms, self.believed_c))
        if len(points) < SLOPE_POINTS or points[-1][0] - points[0][0] < SLOPE_LEAST_MS:
            return None
        middle_ms = sum(at_ms for at_ms, _ in points) / len(points)
        middle_c = sum(value for _, value in points) / len(points)
        spread = sum((at_ms - middle_ms) ** 2 for at_ms, _ in points)
        return 3.6e6 * sum((at_ms - middle_ms) * (value - middle_c) for at_ms, value in points) / spread

    def to_dict(self) -> JsonTable:
        """Return JSON-safe values."""
        table = {name: getattr(self, name) for name in ProbeSignal.__slots__}
        table["trail"] = [list(pair) for pair in self.trail] if self.trail is not None else None
        return table

    @classmethod
    def from_dict(cls, table: JsonTable) -> ProbeSignal:
        """Return the signal that `to_dict` wrote."""
        values = dict(table)
        if values.get("trail") is not None:
            values["trail"] = [(int(at_ms), float(value)) for at_ms, value in values["trail"]]
        return cls(**values)


def hottest(signals: Iterable[ProbeSignal]) -> float | None:
    """Return the highest believed temperature, °C, however old: a lost hot probe stays hot."""
    return max((signal.believed_c for signal in signals if signal.believed_c is not None), default=None)


def coldest(signals: Iterable[ProbeSignal]) -> float | None:
    """Return the lowest believed temperature, °C, however old."""
    return min((signal.believed_c for signal in signals if signal.believed_c is not None), default=None)


def fresh(signals: Iterable[ProbeSignal], at_ms: int) -> list[ProbeSignal]:
    """Return the signals whose believed temperature is recent enough to say how it is at `at_ms`."""
    return [
        signal
        for signal in signals
        if signal.believed_c is not None and at_ms - signal.believed_ms <= signal.recent_ms
    ]
