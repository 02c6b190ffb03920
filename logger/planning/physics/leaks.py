"""How fast resin leaves through a gap or a hole, and how long half the pour would take to go.

Slot: Q = w h³ Δp / (12 μ L) (plane Poiseuille); hole: Q = π r⁴ Δp / (8 μ L) (Hagen–Poiseuille); thin liquids:
Q = Cd A √(2 g H) (Torricelli). Textbook fluid mechanics, from memory. The viscous forms hold for slow flow
(Reynolds number below about 1000), which resin always meets.
"""

from __future__ import annotations

import math

from logger.planning.finding import above, not_negative
from logger.units import GRAVITY_M_S2


def slot_flow_m3_s(
    gap_m: float, width_m: float, path_m: float, pressure_pa: float, viscosity_pa_s: float
) -> float:
    """Flow through a gap, m³/s: `width_m` along the seam, `path_m` the way through it."""
    not_negative("gap", gap_m, "m", "measure the gap with feeler gauges")
    above("gap_length_mm", width_m, 0, "m", "measure the seam")
    _liquid(path_m, pressure_pa, viscosity_pa_s)
    return width_m * gap_m**3 * pressure_pa / (12 * viscosity_pa_s * path_m)


def emptying_s(
    gap_m: float, width_m: float, path_m: float, viscosity_pa_s: float, area_m2: float, density_kg_m3: float
) -> float:
    """Time constant τ of the level, s: it falls as exp(−t/τ), τ = 12 μ L A / (w h³ ρ g). No gap: infinite."""
    above("area of the pour", area_m2, 0, "m²", "measure the pour")
    head_1_m = GRAVITY_M_S2 * above("density", density_kg_m3, 0, "kg/m³", "take it from the datasheet")
    flow = slot_flow_m3_s(gap_m, width_m, path_m, head_1_m, viscosity_pa_s)
    return math.inf if flow == 0 else area_m2 / flow


def half_gone_h(tau_s: float) -> float:
    """Hours until half the pour is gone: τ ln 2."""
    if math.isinf(tau_s):
        return math.inf
    return above("time constant", tau_s, 0, "s", "check the gap") * math.log(2) / 3600


def lost_by_gel(tau_s: float, gel_h: float) -> float:
    """Part of the pour that is gone when it gels, 0 to 1, viscosity taken as constant (it rises: an upper bound)."""
    not_negative("gel time", gel_h, "h", "take it from the prediction")
    return (
        0.0
        if math.isinf(tau_s)
        else 1 - math.exp(-gel_h * 3600 / above("time constant", tau_s, 0, "s", "check"))
    )


def _liquid(path_m: float, pressure_pa: float, viscosity_pa_s: float) -> None:
    above("way through the gap", path_m, 0, "m", "give the thickness that the resin must pass")
    not_negative("pressure", pressure_pa, "Pa", "give the depth of the pour")
    above("resin_viscosity_pa_s", viscosity_pa_s, 0, "Pa·s", "take it from the datasheet")
