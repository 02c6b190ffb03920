"""The ice point: crushed ice filled up with water is at 0.00 °C, and whatever a probe shows there is its error.

Ice and water at one atmosphere: 0.00 °C by the old definition of the scale, and within some thousandths today (any
thermometry textbook; from memory). A bath in a workshop's jug, stirred, stays within about 0.1 K (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.facts import fact
from logger.probe_checks.chip_reading import CheckReading
from logger.quantities import difference, seconds, temperature

#: A steady bath: so long, s, at least so many readings, within two steps of the chip (1/16 °C each).
STEADY_S, STEADY_LOOKS, STEADY_K = 120.0, 8, 0.13
#: The chip errs by up to 0.5 K (its data sheet, −10 to 85 °C), a clone by more. Beyond this it is no ice water.
MOST_K = 2.0


@dataclass(frozen=True, slots=True)
class IcePoint:
    """How a probe stands in the bath. `offset_c` is what to add, K; None until it is steady. `says`: in words."""

    offset_c: float | None
    mean_c: float | None
    spread_c: float | None
    looks: int
    says: str


def ice_point(looks: Sequence[CheckReading], now_s: float) -> IcePoint:
    """Judge the readings of the last two minutes."""
    recent = [look for look in looks if now_s - STEADY_S <= look.at_s <= now_s]
    if not recent:
        return IcePoint(None, None, None, 0, fact("ice-no-reading"))
    celsius = [look.celsius for look in recent]
    mean_c, spread_c = sum(celsius) / len(celsius), max(celsius) - min(celsius)
    covered_s = recent[-1].at_s - recent[0].at_s

    def not_yet(says: str) -> IcePoint:
        return IcePoint(None, round(mean_c, 3), round(spread_c, 3), len(recent), says)

    if spread_c > STEADY_K:
        return not_yet(
            fact("ice-still-moving", spread=difference(spread_c, 2), span=seconds(max(covered_s, 1)))
        )
    if abs(mean_c) > MOST_K:
        return not_yet(fact("ice-is-no-ice-water", mean=temperature(mean_c)))
    if len(recent) < STEADY_LOOKS or covered_s < 0.8 * STEADY_S:
        return not_yet(fact("ice-steady-so-far", span=seconds(covered_s), needed=seconds(STEADY_S)))
    offset_c = round(-mean_c, 2) + 0.0
    return IcePoint(
        offset_c,
        round(mean_c, 3),
        round(spread_c, 3),
        len(recent),
        fact("ice-steady", mean=temperature(mean_c, 2)),
    )
