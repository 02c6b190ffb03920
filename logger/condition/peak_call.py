"""What may be said of the peak that is to come. Pure.

One reading of chance, band and middle, so that they cannot contradict one another: as long as the band has the limit
inside, no single number is given, and it is said by when the readings will tell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from logger.condition.evidence import Evidence, ExpectedPeak
from logger.units import HOUR_MS

#: The band holds nine of ten cases: this much chance lies beyond either of its ends.
TAIL = 0.05
#: "More likely than not".
HALF = 0.5
#: A reading this far above a forecast's 95 % point is outside it, °C: what a probe may be off.
OUTSIDE_C = 1.0
#: A core has come down from its hottest once it reads so much less, °C: more than a probe's noise.
FALLEN_C = 0.3
#: A plan's peak is one number with no band of its own: this far above it a reading is outside (project choice), °C.
OUTSIDE_PLAN_C = 5.0
#: A plan's peak is taken as past a quarter later than planned, and not before so many hours, as for the alarms.
LATER_PART, LEAST_H = 0.25, 6.0


class Call(StrEnum):
    """What is said of the peak."""

    UNKNOWN = "unknown"  #: neither a forecast nor a plan says anything
    BELOW = "below"  #: it stays below the limit
    OPEN = "open"  #: too early to know
    LIKELY_OVER = "likely-over"  #: more likely than not it passes the limit; how far is not known
    OVER = "over"  #: it will pass the limit
    REFUTED = "refuted"  #: the core has read more than the forecast allows
    PASSED = "passed"  #: the core has been over the limit, and may rise again
    PAST = "past"  #: it is behind


@dataclass(frozen=True, slots=True)
class PeakCall:
    """The call, and the peak that it is about. hottest: what the core has read so far (°C, hour)."""

    call: Call
    peak: ExpectedPeak | None
    hottest: tuple[float, float] | None
    planned: bool = False  #: from the plan: there is no forecast yet

    @property
    def over(self) -> bool:
        """Whether it is over the limit or will pass it, more likely than not, and the peak is not past."""
        return self.call in (Call.LIKELY_OVER, Call.OVER, Call.PASSED)

    def went_over(self, limit_c: float | None) -> bool:
        """Whether the core has been over the limit."""
        return limit_c is not None and self.hottest is not None and self.hottest[0] > limit_c


def call_of(evidence: Evidence, now_ms: int) -> PeakCall:
    """Return what may be said of the peak at `now_ms` (true time).

    What the probes read now counts as well as what was read before. A peak is past only once the core is seen to have
    come down from it, or is not seen at all.
    """
    hour = None if evidence.started_ms is None else (now_ms - evidence.started_ms) / HOUR_MS
    core_c = max(
        (p.celsius for p in evidence.thermometers if p.kind == "core" and evidence.present(p, now_ms)),
        key=lambda celsius: celsius or 0.0,
        default=None,
    )
    hottest = evidence.hottest
    if core_c is not None and hour is not None and (hottest is None or core_c > hottest[0]):
        hottest = core_c, hour
    came_down = core_c is None or hottest is None or core_c < hottest[0] - FALLEN_C
    limit_c, forecast = evidence.limit_c, evidence.forecast
    if forecast is None:
        return _of_plan(evidence.planned, limit_c, hottest, hour, came_down)
    # What has been read since the forecast was made is part of the peak.
    peak = forecast if hottest is None else _at_least(forecast, hottest[0])

    if hottest is not None and hottest[0] > forecast.high_c + OUTSIDE_C:
        return PeakCall(Call.REFUTED, forecast, hottest)
    if forecast.made_h is not None and forecast.last_at_h <= forecast.made_h and came_down:
        return PeakCall(Call.PAST, peak, hottest)
    if limit_c is not None and hottest is not None and hottest[0] > limit_c:
        return PeakCall(Call.PASSED, peak, hottest)
    if limit_c is not None and peak.low_c > limit_c:
        return PeakCall(Call.OVER, peak, hottest)
    if forecast.chance > HALF:
        return PeakCall(Call.LIKELY_OVER, peak, hottest)
    open_still = forecast.chance >= TAIL or (limit_c is not None and peak.high_c > limit_c)
    return PeakCall(Call.OPEN if open_still else Call.BELOW, peak, hottest)


def _at_least(peak: ExpectedPeak, celsius: float) -> ExpectedPeak:
    return replace(
        peak,
        low_c=max(peak.low_c, celsius),
        middle_c=max(peak.middle_c, celsius),
        high_c=max(peak.high_c, celsius),
    )


def _of_plan(
    planned: ExpectedPeak | None,
    limit_c: float | None,
    hottest: tuple[float, float] | None,
    hour: float | None,
    came_down: bool,
) -> PeakCall:
    if planned is None or limit_c is None:
        return PeakCall(Call.UNKNOWN, None, hottest)
    over = planned.middle_c > limit_c
    if came_down and hour is not None and hour >= max((1 + LATER_PART) * planned.at_h, LEAST_H):
        return PeakCall(Call.PAST, planned, hottest, planned=True)
    if hottest is not None and hottest[0] > limit_c:
        return PeakCall(Call.PASSED, planned, hottest, planned=True)
    if hottest is not None and hottest[0] > planned.middle_c + OUTSIDE_PLAN_C:
        return PeakCall(Call.REFUTED, planned, hottest, planned=True)
    return PeakCall(Call.OVER if over else Call.BELOW, planned, hottest, planned=True)
