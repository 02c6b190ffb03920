"""How fast a core's temperature moves: one number, which a lone wrong reading does not turn. Pure."""

from __future__ import annotations

from statistics import median

import numpy as np
import numpy.typing as npt

#: The rate is that of so long a stretch, ms: long enough for a probe's step of 1/16 °C, short beside a rise to the
#: peak (project choice).
STRETCH_MS = 15 * 60_000
#: At least so many readings, over so long, and the newest not older than that, ms (project choices).
LEAST_POINTS, LEAST_MS, TOO_OLD_MS = 3, 5 * 60_000, 150_000
#: Readings that are compared, each with each; of more only every second, third … is taken.
MOST_POINTS = 60


def rate_k_h(at_ms: npt.NDArray[np.int64], celsius: npt.NDArray[np.float64], now_ms: int) -> float | None:
    """Return how fast the temperature has moved lately, K/h; None where the readings do not tell.

    at_ms (N,): when each was taken, rising; celsius (N,): NaN for a fault. The median of the slopes between each two
    readings: up to 29 % of them may be wrong (Sen, J. Am. Stat. Assoc. 63(324), 1968, p. 1379).
    """
    taken = (at_ms > now_ms - STRETCH_MS) & (at_ms <= now_ms) & ~np.isnan(celsius)
    at, value = at_ms[taken], celsius[taken]
    if len(at) < LEAST_POINTS or at[-1] - at[0] < LEAST_MS or now_ms - at[-1] > TOO_OLD_MS:
        return None
    every = -(-len(at) // MOST_POINTS)
    hours, value = at[::-every][::-1] / 3.6e6, value[::-every][::-1]
    first, then = np.triu_indices(len(hours), 1)
    apart = hours[then] - hours[first]
    slopes = (value[then] - value[first])[apart > 0] / apart[apart > 0]
    return float(median(slopes.tolist()))
