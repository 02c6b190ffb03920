"""A cup of mix with one probe in it: where it is on its way, and when its peak is past. Pure.

A cup cools slowly and a torn-out probe at once; a mix that was warmer than the room cools before it warms; a probe that
is silent says nothing. Each of these is told apart here, so that no peak is made of what was none. Thresholds are
common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from statistics import fmean, median

#: Medians of so many looks stand for them: one that lies is outvoted.
MEDIAN_OF = 5
#: A smaller rise drowns in the room's own wandering, K, or in so many times the noise.
LEAST_RISE_K, LEAST_RISE_NOISES = 3.0, 8.0
#: The peak is past once it has fallen so far, K, or so many times the noise, or this part of the rise; for so long, s.
FALLEN_K, FALLEN_NOISES, FALLEN_PART, FALLEN_S = 1.0, 6.0, 0.1, 300.0
#: The time of the peak is the middle of where it is within this part of the rise, or so many times the noise.
TOP_PART, TOP_NOISES = 0.02, 2.0
#: The chip's own step leaves at least this much noise, K: 1/16 °C evenly spread.
LEAST_NOISE_K = 0.02
#: No cup cools by this part of its rise, and by so many K, within so many seconds: the probe was pulled or hit.
TORN_PART, TORN_K, TORN_S = 0.25, 3.0, 120.0
#: Without a good reading for so long the probe is silent, s (as a station is).
SILENT_S = 150.0
#: A longer hole around the top may hide it, s, or this part of the time to the peak.
HOLE_S, HOLE_PART = 300.0, 0.08
#: A cup that has not risen by then does not, s.
LONGEST_S = 72 * 3600.0
#: Too hot to hold, and where some systems smoke and a plastic cup gives way, °C.
HOT_C, DANGER_C = 60.0, 100.0
#: The mix's own temperature is that of its first minutes, s; so much from the room's it is another test, K.
FIRST_S, APART_K = 300.0, 3.0


class CupState(StrEnum):
    """Where a cup is on its way."""

    WAITING = "waiting"  #: no reading yet
    BEFORE = "before"  #: its peak is yet to come, or just there
    PAST = "past"  #: its peak is behind, and known
    SILENT = "silent"  #: the probe says nothing, and the peak may come unseen
    MISSED = "missed"  #: its peak fell into a hole in the readings
    TORN = "torn"  #: it fell faster than a cup can cool
    FLAT = "flat"  #: it hardly rose at all


@dataclass(frozen=True, slots=True)
class CupLook:
    """One reading: seconds since the parts were mixed, °C; None for a fault."""

    at_s: float
    celsius: float | None


@dataclass(frozen=True, slots=True)
class CupCourse:
    """A cup so far. now_c, last_s: as it reads now (median of three); hottest_c: of all; peak_c, peak_s: once past.

    start_c: the mix's own temperature at first. end_s: the look that showed the peak to be past.
    """

    state: CupState
    now_c: float | None = None
    last_s: float | None = None
    hottest_c: float | None = None
    start_c: float | None = None
    peak_c: float | None = None
    peak_s: float | None = None
    end_s: float | None = None

    @property
    def danger(self) -> bool:
        """Whether the mix is dangerously hot now, or was when it was last seen and is silent since."""
        return self.state is not CupState.PAST and self.now_c is not None and self.now_c >= DANGER_C

    @property
    def hot(self) -> bool:
        """Whether it is too hot to hold."""
        return self.now_c is not None and self.now_c >= HOT_C


def cup_course(looks: Sequence[CupLook], now_s: float) -> CupCourse:
    """Return where a cup is at `now_s`, seconds since mixing. Looks may come in any order, late or twice."""
    good = sorted(
        {
            (look.at_s, look.celsius)
            for look in looks
            if look.celsius is not None and 0 <= look.at_s <= LONGEST_S
        }
    )
    if not good:
        return CupCourse(CupState.WAITING if now_s < SILENT_S else CupState.SILENT)
    times, values = [at_s for at_s, _ in good], [celsius for _, celsius in good]
    smooth = _smooth(values)
    course = CupCourse(
        CupState.BEFORE,
        # The median of the last looks: a single one that lies must call nobody.
        now_c=smooth[-1],
        last_s=times[-1],
        hottest_c=max(smooth),
        start_c=median(value for at_s, value in good if at_s <= times[0] + FIRST_S),
    )
    torn, noise_k = _torn(times, smooth), _noise_k(values)
    smooth = smooth[:torn]
    fall = _fall(times, smooth, noise_k)
    if fall is not None:
        return _past(course, times, smooth, noise_k, fall)
    if torn is not None:
        return _as(course, CupState.TORN)
    if times[-1] >= LONGEST_S - HOLE_S or now_s > LONGEST_S:
        return _as(course, CupState.FLAT)
    return _as(course, CupState.SILENT) if now_s - times[-1] > SILENT_S else course


def mean_of(looks: Sequence[CupLook], until_s: float) -> float | None:
    """Return the mean of what a probe in the room read until then; None where it read nothing."""
    values = [look.celsius for look in looks if look.celsius is not None and 0 <= look.at_s <= until_s]
    return fmean(values) if values else None


def _as(course: CupCourse, state: CupState) -> CupCourse:
    return CupCourse(state, course.now_c, course.last_s, course.hottest_c, course.start_c)


def _smooth(values: Sequence[float]) -> list[float]:
    half = MEDIAN_OF // 2
    return [median(values[max(0, i - half) : i + half + 1]) for i in range(len(values))]


def _noise_k(values: Sequence[float]) -> float:
    """Return one standard deviation of the noise, K: from the differences of neighbours, robustly."""
    steps = [abs(b - a) for a, b in pairwise(values)]
    # Half of all differences of two normal values are smaller than 0.6745 of √2 standard deviations.
    return max(LEAST_NOISE_K, median(steps) / (0.6745 * math.sqrt(2)) if steps else 0.0)


def _torn(times: Sequence[float], values: Sequence[float]) -> int | None:
    """Return the first look that is colder than a cup can have become since a look before it; None: there is none."""
    first, lowest = 0, math.inf
    for i, (at_s, value) in enumerate(zip(times, values, strict=True)):
        while times[first] < at_s - TORN_S:
            lowest = min(lowest, values[first])
            first += 1
        top = max(values[first : i + 1])
        under = min(lowest, min(values[first : i + 1]))
        if top - value >= max(TORN_K, TORN_PART * (top - under)) and _stays(times, values, i, top):
            return i
    return None


def _stays(times: Sequence[float], values: Sequence[float], i: int, top: float) -> bool:
    """Whether the next looks are as cold: a single one that lies is no torn-out probe."""
    after = values[i : i + 3]
    return len(after) == 3 and all(top - value >= TORN_K for value in after) and times[i + 2] > times[i]


@dataclass(frozen=True, slots=True)
class _Fall:
    """Looks by number: the top, and the first at which it is past; how far it had risen, K."""

    top: int
    end: int
    rise_k: float


def _fall(times: Sequence[float], smooth: Sequence[float], noise_k: float) -> _Fall | None:
    """Return the peak once it is past; None while it is not. What comes later changes nothing."""
    top, lowest = 0, math.inf
    for i, value in enumerate(smooth):
        if value < lowest and (not i or smooth[top] - lowest < LEAST_RISE_K):
            # A mix that was warmer than the room cools first: its beginning is no peak.
            top, lowest = i, value
        elif value >= smooth[top]:
            top = i
        rise_k = smooth[top] - lowest
        if rise_k < max(LEAST_RISE_K, LEAST_RISE_NOISES * noise_k):
            continue
        fallen_k = max(FALLEN_K, FALLEN_NOISES * noise_k, FALLEN_PART * rise_k)
        if smooth[top] - value >= fallen_k and times[i] - times[top] >= FALLEN_S:
            return _Fall(top, i, rise_k)
    return None


def _past(
    course: CupCourse, times: Sequence[float], smooth: Sequence[float], noise_k: float, fall: _Fall
) -> CupCourse:
    """Return the course with its peak, or that its peak fell into a hole."""
    top, end = fall.top, fall.end
    near = smooth[top] - max(TOP_NOISES * noise_k, TOP_PART * fall.rise_k)
    first = top
    while first > 0 and smooth[first - 1] >= near:
        first -= 1
    last = top
    while last < end and smooth[last + 1] >= near:
        last += 1
    peak_s = (times[first] + times[last]) / 2
    around = times[max(0, first - 1) : min(end, last + 1) + 1]
    if max((b - a for a, b in pairwise(around)), default=0.0) > max(HOLE_S, HOLE_PART * peak_s):
        return _as(course, CupState.MISSED)
    return CupCourse(
        CupState.PAST,
        course.now_c,
        course.last_s,
        course.hottest_c,
        course.start_c,
        peak_c=smooth[top],
        peak_s=peak_s,
        end_s=times[end],
    )
