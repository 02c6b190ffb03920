"""When a forecast is due, and when its chances of passing the limit make a call. Pure."""

from __future__ import annotations

from collections.abc import Sequence

#: A new forecast is due after this long, or this part of the pour's age if that is more, h.
DUE_H, DUE_PART = 5.0 / 60.0, 0.06

#: core-will-overheat: raised when the chance is at least RAISE in RAISE_OF[0] of the last RAISE_OF[1] forecasts,
#: cleared when it is below CLEAR in all of the last CLEAR_AFTER.
RAISE, RAISE_OF = 0.5, (2, 3)
CLEAR, CLEAR_AFTER = 0.15, 3


def will_overheat(chances: Sequence[float]) -> bool:
    """Whether core-will-overheat stands after these chances of successive forecasts, oldest first.

    Between RAISE and CLEAR it stays as it was, so that a chance that hovers makes no chatter.
    """
    standing = False
    for i in range(len(chances)):
        needed, of = RAISE_OF
        recent = chances[max(0, i - of + 1) : i + 1]
        if not standing:
            standing = sum(c >= RAISE for c in recent) >= needed
        elif i + 1 >= CLEAR_AFTER:
            standing = not all(c < CLEAR for c in chances[i + 1 - CLEAR_AFTER : i + 1])
    return standing


def due_hours(until_h: float, from_h: float = 0.0) -> list[float]:
    """When forecasts are due after from_h and before until_h: every five minutes of a young pour, less often later."""
    due: list[float] = []
    at = from_h
    while True:
        at += max(DUE_H, DUE_PART * at)
        if at >= until_h:
            return due
        due.append(at)
