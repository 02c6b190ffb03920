"""Wood floats in resin: how hard a slab pulls up, at what depth it lifts, and how many clamps hold it.

Archimedes. It applies once resin gets under the slab; until then a glued and caulked slab only carries weight.
"""

from __future__ import annotations

import math

from logger.facts import fact
from logger.planning.finding import PROJECT_CHOICE, Constant, above, not_negative
from logger.units import GRAVITY_M_S2

HOLD = Constant(fact("constant.hold-down"), 2.0, "", PROJECT_CHOICE)


def float_up_n(volume_m3: float, wood_kg_m3: float, resin_kg_m3: float, covered: float = 1.0) -> float:
    """Force with which a slab rises, N, when that part of it is under resin; below 0 it stays down by its weight."""
    above(fact("quantity.slab-volume"), volume_m3, 0, "m³", fact("mend.measure-slab"))
    above(fact("quantity.wood-density"), wood_kg_m3, 0, "kg/m³", fact("mend.weigh-slab"))
    above(fact("quantity.resin-density"), resin_kg_m3, 0, "kg/m³", fact("take-from-datasheet"))
    part = min(
        max(not_negative(fact("quantity.part-under-resin"), covered, "", fact("mend.give-part")), 0.0), 1.0
    )
    return (resin_kg_m3 * part - wood_kg_m3) * GRAVITY_M_S2 * volume_m3


def clamps_needed(up_n: float, force_each_n: float, hold: float = HOLD.value) -> int:
    """Clamps that hold a slab down with that margin; 0 when it does not rise, else at least 2."""
    above(fact("quantity.force-clamp"), force_each_n, 0, "N", fact("mend.give-one-clamp-presses"))
    if not math.isfinite(up_n):
        above(fact("quantity.float-up-force"), up_n, 0, "N", fact("mend.check-slab-densities"))
    return 0 if up_n <= 0 else max(2, math.ceil(hold * up_n / force_each_n - 1e-9))
