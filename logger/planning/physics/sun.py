"""Sunlight on the form, as heat: how fast it warms the pour.

Irradiance: ASTM G173-03 (AM1.5) integrates to 1000.4 W/m² global, 900.1 direct. Absorptances of surfaces from a
stored table of coatings; those of clear resin over wood are estimates, and say so.
"""

from __future__ import annotations

from logger.facts import fact
from logger.planning import works
from logger.planning.finding import FROM_MEMORY, PROJECT_CHOICE, Constant, above, not_negative, within

G173_GLOBAL = Constant(fact("constant.sun-on-clear-day"), 1000.4, "W/m²", works.G173)
GLASS = Constant(fact("constant.light-through-glass"), 0.8, "", FROM_MEMORY)
SHADED = Constant(fact("constant.warming-worth-shade"), 2.0, "K/h", PROJECT_CHOICE)
MOST = Constant(fact("constant.warming-by-sun-stop"), 20.0, "K", PROJECT_CHOICE)


def absorbed_w_m2(irradiance_w_m2: float, absorptance: float, *, through_glass: bool = False) -> float:
    """Heat that the pour takes from the sun, W/m²."""
    not_negative("irradiance_w_m2", irradiance_w_m2, "W/m²", fact("mend.give-sunlight"))
    part = within("absorptance", absorptance, 0, 1, "", fact("mend.give-part"))
    return irradiance_w_m2 * part * (GLASS.value if through_glass else 1.0)


def warming_k_h(flux_w_m2: float, depth_m: float, density_kg_m3: float, specific_heat_j_kgk: float) -> float:
    """How fast the whole pour would warm if it kept that heat, K/h: q / (ρ cp d)."""
    not_negative(fact("quantity.heat-flux"), flux_w_m2, "W/m²", fact("mend.give-heat-taken-up"))
    above(fact("quantity.depth"), depth_m, 0, "m", fact("mend.give-depth-pour"))
    above(fact("quantity.density"), density_kg_m3, 0, "kg/m³", fact("take-from-datasheet"))
    above(fact("quantity.specific-heat"), specific_heat_j_kgk, 0, "J/(kg·K)", fact("take-from-datasheet"))
    return 3600 * flux_w_m2 / (density_kg_m3 * specific_heat_j_kgk * depth_m)
