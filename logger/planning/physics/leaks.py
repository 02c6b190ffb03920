"""How fast resin leaves through a gap or a hole, and how long half the pour would take to go.

Slot: Q = w h³ Δp / (12 μ L) (plane Poiseuille); hole: Q = π r⁴ Δp / (8 μ L) (Hagen–Poiseuille); thin liquids:
Q = Cd A √(2 g H) (Torricelli). Closed forms of the Navier–Stokes and Bernoulli equations. The viscous ones hold for
slow flow (Reynolds number below about 1000), which resin always meets.
"""

from __future__ import annotations

import math

from logger.facts import fact
from logger.planning.finding import above, not_negative
from logger.units import GRAVITY_M_S2


def slot_flow_m3_s(
    gap_m: float, width_m: float, path_m: float, pressure_pa: float, viscosity_pa_s: float
) -> float:
    """Flow through a gap, m³/s: `width_m` along the seam, `path_m` the way through it."""
    not_negative(fact("quantity.gap"), gap_m, "m", fact("mend.measure-gap-feeler-gauges"))
    above("gap_length_mm", width_m, 0, "m", fact("mend.measure-seam"))
    _liquid(path_m, pressure_pa, viscosity_pa_s)
    return width_m * gap_m**3 * pressure_pa / (12 * viscosity_pa_s * path_m)


def emptying_s(
    gap_m: float, width_m: float, path_m: float, viscosity_pa_s: float, area_m2: float, density_kg_m3: float
) -> float:
    """Time constant τ of the level, s: it falls as exp(−t/τ), τ = 12 μ L A / (w h³ ρ g). No gap: infinite."""
    above(fact("quantity.area-pour"), area_m2, 0, "m²", fact("mend.measure-pour"))
    head_1_m = GRAVITY_M_S2 * above(
        fact("quantity.density"), density_kg_m3, 0, "kg/m³", fact("take-from-datasheet")
    )
    flow = slot_flow_m3_s(gap_m, width_m, path_m, head_1_m, viscosity_pa_s)
    return math.inf if flow == 0 else area_m2 / flow


def half_gone_h(tau_s: float) -> float:
    """Hours until half the pour is gone: τ ln 2."""
    if math.isinf(tau_s):
        return math.inf
    return above(fact("quantity.time-constant"), tau_s, 0, "s", fact("mend.check-gap")) * math.log(2) / 3600


def lost_by_gel(tau_s: float, gel_h: float) -> float:
    """Part of the pour that is gone when it gels, 0 to 1, viscosity taken as constant (it rises: an upper bound)."""
    not_negative(fact("quantity.gel-time"), gel_h, "h", fact("mend.take-prediction"))
    return (
        0.0
        if math.isinf(tau_s)
        else 1
        - math.exp(
            -gel_h * 3600 / above(fact("quantity.time-constant"), tau_s, 0, "s", fact("mend.check-gap"))
        )
    )


def _liquid(path_m: float, pressure_pa: float, viscosity_pa_s: float) -> None:
    above(fact("quantity.way-through-gap"), path_m, 0, "m", fact("mend.give-thickness-resin-must-pass"))
    not_negative(fact("quantity.pressure"), pressure_pa, "Pa", fact("mend.give-depth-pour"))
    above("resin_viscosity_pa_s", viscosity_pa_s, 0, "Pa·s", fact("take-from-datasheet"))
