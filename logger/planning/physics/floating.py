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
    above("slab volume", volume_m3, 0, "m³", "measure the slab")
    above("wood density", wood_kg_m3, 0, "kg/m³", "weigh the slab or take it from the table")
    above("resin density", resin_kg_m3, 0, "kg/m³", "take it from the datasheet")
    part = min(max(not_negative("part under resin", covered, "", "give a part between 0 and 1"), 0.0), 1.0)
    return (resin_kg_m3 * part - wood_kg_m3) * GRAVITY_M_S2 * volume_m3


def clamps_needed(up_n: float, force_each_n: float, hold: float = HOLD.value) -> int:
    """Clamps that hold a slab down with that margin; 0 when it does not rise, else at least 2."""
    above("force of a clamp", force_each_n, 0, "N", "give what one clamp presses with")
    if not math.isfinite(up_n):
        above("float-up force", up_n, 0, "N", "check the slab and the densities")
    return 0 if up_n <= 0 else max(2, math.ceil(hold * up_n / force_each_n - 1e-9))
