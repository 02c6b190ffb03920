"""The peak to come in figures, for the head of a pour's page: its range, when it is, how likely it passes the limit.

Pure. There is never one number alone: while it is uncertain, that would be taken for the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

from logger.condition.judgement import Condition
from logger.condition.peak_call import Call
from logger.units import HOUR_MS

#: Calls whose figures say it all; of the others the sentence does.
IN_FIGURES = (Call.BELOW, Call.OPEN, Call.LIKELY_OVER, Call.OVER, Call.PASSED)
#: Calls with which it is told when the readings will tell.
NOT_CLEAR = (Call.OPEN, Call.LIKELY_OVER)
#: Calls with which it is said when the limit is passed.
WILL_CROSS = (Call.LIKELY_OVER, Call.OVER)


@dataclass(frozen=True, slots=True)
class PeakFigures:
    """°C of the 5 and 95 % points; true times in ms, None: about now; chance 0–1, None: it has been over already.
    crosses_ms, clear_ms: None as well where there is nothing to say of it (`crosses`, `unclear`)."""

    low_c: int
    high_c: int
    at_ms: int | None
    chance: float | None
    crosses: bool = False
    crosses_ms: int | None = None
    unclear: bool = False
    clear_ms: int | None = None


def peak_figures(condition: Condition, started_ms: int | None) -> PeakFigures | None:
    """Return the figures of the peak to come, or None where a sentence has to say it: past, refuted, planned alone."""
    call, peak = condition.peak.call, condition.peak.peak
    if peak is None or started_ms is None or condition.peak.planned or call not in IN_FIGURES:
        return None

    def at(hours: float | None) -> int | None:
        due_ms = None if hours is None else started_ms + round(hours * HOUR_MS)
        return due_ms if due_ms is not None and due_ms > condition.at_ms else None

    crosses = call in WILL_CROSS and peak.crossing_h is not None
    unclear = call in NOT_CLEAR and peak.clear_h is not None
    return PeakFigures(
        floor(peak.low_c),
        ceil(peak.high_c),
        at(peak.at_h),
        None if call is Call.PASSED else peak.chance,
        crosses,
        at(peak.crossing_h) if crosses else None,
        unclear,
        at(peak.clear_h) if unclear else None,
    )
