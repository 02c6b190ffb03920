"""How quick a probe is: taken from air and dipped into stirred water, it goes 63 % of the way in one time constant.

A tube with its probe follows a step nearly as one lump of heat does: what is left of the step shrinks as exp(−t/τ)
(first-order step response; any textbook of heat transfer, lumped capacity). τ comes from the slope of its logarithm
between 90 % and 10 %, so nobody has to press a button at the moment of the dip.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median

from logger.facts import fact
from logger.probe_checks.chip_reading import CheckReading
from logger.quantities import difference, seconds

#: The end of the step: so long, s, and within so much, K. The chip's steps are 1/16 °C.
END_S, END_K = 25.0, 0.3
#: A smaller step drowns in the chip's steps and in the bath's own wandering, K.
LEAST_STEP_K = 5.0
#: What is left of the step between these is on the slope.
SLOPE = (0.1, 0.9)


@dataclass(frozen=True, slots=True)
class Dip:
    """`tau_s`: the time constant, s; `below`: it is less than that, the readings being too far apart. `says`: words."""

    tau_s: float | None
    below: bool
    step_k: float | None
    says: str


def dip(looks: Sequence[CheckReading]) -> Dip:
    """Judge the readings of the last minutes, oldest first."""
    if len(looks) < 6:
        return Dip(None, False, None, fact("dip-too-few-readings"))
    end = [look.celsius for look in looks if look.at_s >= looks[-1].at_s - END_S]
    if max(end) - min(end) > END_K or len(end) < 3:
        return Dip(None, False, None, fact("dip-still-moving"))
    end_c = fmean(end)
    far_k = max(abs(look.celsius - end_c) for look in looks)
    if far_k < LEAST_STEP_K:
        return Dip(None, False, None, fact("dip-no-step", step=difference(LEAST_STEP_K, 0)))
    # The onset: the last reading that is still where it was before.
    onset = max(i for i, look in enumerate(looks) if abs(look.celsius - end_c) >= SLOPE[1] * far_k)
    before = [look.celsius for look in looks[: onset + 1] if abs(look.celsius - end_c) >= SLOPE[1] * far_k]
    step_k = median(before) - end_c
    slope = [
        (look.at_s, math.log(left))
        for look in looks[onset:]
        if SLOPE[0] < (left := (look.celsius - end_c) / step_k) < SLOPE[1]
    ]
    # The first one below 10 % ends the slope: what comes later is noise.
    if len(slope) < 2:
        settled = next(
            look for look in looks[onset + 1 :] if abs(look.celsius - end_c) < SLOPE[1] * abs(step_k)
        )
        gap_s = settled.at_s - looks[onset].at_s
        return Dip(
            round(gap_s, 1), True, round(step_k, 1), fact("dip-quicker-than-readings", gap=seconds(gap_s))
        )
    mean_s, mean_log = fmean(at for at, _ in slope), fmean(log for _, log in slope)
    fall = sum((at - mean_s) * (log - mean_log) for at, log in slope)
    tau_s = -sum((at - mean_s) ** 2 for at, _ in slope) / fall
    return Dip(round(tau_s, 1), False, round(step_k, 1), fact("dip-response", response=seconds(tau_s)))
