"""When a forecast is due, and when its chances of passing the limit make a call. Pure."""

from __future__ import annotations

from collections.abc import Sequence

#: A new forecast is due after this long, or this part of the pour's age if that is more, h; sooner where the limit is
#: expected to be passed soon: after this part of the time left, and this long at least.
DUE_H, DUE_PART, DUE_PART_LEFT, DUE_NEAR_H = 5.0 / 60.0, 0.06, 0.15, 2.0 / 60.0
#: While the core keeps to the last forecast, hours of readings say little new: the next one waits for this part of the
#: time in which the peak may come at the earliest, and so many times as long while the pour is calm.
DUE_PART_AHEAD, DUE_CALM_TIMES = 0.05, 2.0

#: core-will-overheat: the chance that calls long before the limit is expected to be passed, and the chance that calls
#: shortly before; "long" and "shortly" are parts of the time from pouring to the expected crossing. While waiting costs
#: nothing only a near certainty calls: a pour near the cliff often turns away from it, and even a chance that is right
#: at every hour reaches any level in some pours that stay cool, the more often the lower the level is and the earlier
#: it is low (Ville's inequality; tests/logger/cure/test_decision.py). With a later "shortly", pours that pass the limit
#: by little are called minutes before it instead of hours (tests/bench/forecast.py).
NEEDED_EARLY, NEEDED_LATE = 0.9, 0.5
EARLY_PART, LATE_PART = 0.5, 0.85
#: Raised when the chance is what it takes in so many of the last so many forecasts, cleared when it is below CLEAR in
#: all of the last CLEAR_AFTER.
RAISE_OF = (2, 3)
CLEAR, CLEAR_AFTER = 0.15, 3

#: The what-if answer that stands for doing nothing.
NOW = "as it is"


def chance_needed(at_h: float, crossing_h: float | None) -> float:
    """Return the chance to pass the limit that calls at at_h, when the crossing is expected at crossing_h (None:
    hardly).
    """
    if crossing_h is None:
        return NEEDED_EARLY
    part = at_h / max(crossing_h, 1e-9)
    share = min(max((part - EARLY_PART) / (LATE_PART - EARLY_PART), 0.0), 1.0)
    return NEEDED_EARLY + share * (NEEDED_LATE - NEEDED_EARLY)


def will_overheat(chances: Sequence[float], needed: Sequence[float]) -> bool:
    """Whether core-will-overheat stands after these chances of successive forecasts, oldest first.

    needed: what it took at each (chance_needed). Between that and CLEAR it stays as it was, so that a chance that
    hovers makes no chatter.
    """
    standing = False
    least, of = RAISE_OF
    enough = [chance >= need for chance, need in zip(chances, needed, strict=True)]
    for i in range(len(chances)):
        if not standing:
            standing = sum(enough[max(0, i - of + 1) : i + 1]) >= least
        elif i + 1 >= CLEAR_AFTER:
            standing = not all(c < CLEAR for c in chances[i + 1 - CLEAR_AFTER : i + 1])
    return standing


def next_due_h(
    at_h: float, time_left_h: float | None = None, *, ahead_h: float = 0.0, calm: bool = False
) -> float:
    """Return when the next forecast is due, h, after one at at_h that expects the limit to be passed in time_left_h.

    ahead_h: by how much the peak is ahead at least. calm: whether passing the limit is unlikely, or foretold already.
    Both are for a core that keeps to the forecast.
    """
    wait = max(DUE_H, DUE_PART * at_h, DUE_PART_AHEAD * ahead_h) * (DUE_CALM_TIMES if calm else 1.0)
    if time_left_h is not None:
        wait = min(wait, max(DUE_NEAR_H, DUE_PART_LEFT * time_left_h))
    return at_h + wait
