"""Which probe is the one in the hand? The one that has warmed, clearly, and clearly more than any other. Pure."""

from __future__ import annotations

from collections.abc import Mapping

LEAST_K = 1.5
"""A hand warms a steel tube by more than this within a minute; a draught does not. Common practice, no source."""
APART_K = 1.0
"""So much more than any other: two that warm together are not told apart."""


def warmed(before_c: Mapping[str, float], now_c: Mapping[str, float]) -> str | None:
    """Id of the probe that has warmed since `before_c` (°C by id); None while it is not clear."""
    rises = sorted(
        ((now_c[probe] - before_c[probe], probe) for probe in now_c if probe in before_c), reverse=True
    )
    if not rises or rises[0][0] < LEAST_K:
        return None
    if len(rises) > 1 and rises[0][0] - rises[1][0] < APART_K:
        return None
    return rises[0][1]
