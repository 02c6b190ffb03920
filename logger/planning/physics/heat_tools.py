"""A heat gun or torch over the surface: a light pass against a long one, as heat put into the skin.

Flux q = h (T_jet − T_surface) with a jet's h of 30 to 100 W/(m²·K) (from memory). Surface rise of a thick body
under a steady flux: ΔT = 2 q √(t / (π k ρ cp)) (closed form of the half space; Carslaw & Jaeger).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.cure.model.materials import Material
from logger.facts import fact
from logger.planning.finding import COMMON_PRACTICE, Constant, Light, above, not_negative, within

JET = Constant(fact("constant.transfer-of-gun"), 50.0, "W/(m²·K)", fact("source.jet-range"))
FLAME = Constant(fact("constant.transfer-of-torch"), 60.0, "W/(m²·K)", fact("source.rough-from-memory"))
LIGHT_PASS = Constant(fact("constant.light-pass"), 15.0, "K", COMMON_PRACTICE)
LONG_PASS = Constant(fact("constant.long-pass"), 40.0, "K", COMMON_PRACTICE)
CAUTION = fact("heat-tool-caution")


@dataclass(frozen=True, slots=True)
class Pass:
    """What one pass does, K and m."""

    flux_w_m2: float
    skin_rise_k: float
    warmed_m: float
    whole_rise_k: float
    light: Light


def jet_flux_w_m2(jet_c: float, surface_c: float, transfer_w_m2k: float = JET.value) -> float:
    """Heat into the surface under a jet, W/m²."""
    within("jet_c", jet_c, -40, 2500, "°C", fact("mend.give-temperature-air-at-surface"))
    within(
        fact("quantity.surface-temperature"), surface_c, -40, 300, "°C", fact("mend.give-surface-temperature")
    )
    return max(
        0.0,
        above(fact("quantity.heat-transfer"), transfer_w_m2k, 0, "W/(m²·K)", fact("mend.usual-heat-transfer"))
        * (jet_c - surface_c),
    )


def skin_rise_k(flux_w_m2: float, seconds: float, resin: Material) -> float:
    """Return the warming of the skin after that time, K."""
    not_negative(fact("quantity.flux"), flux_w_m2, "W/m²", fact("mend.check-jet"))
    not_negative(fact("quantity.seconds"), seconds, "s", fact("mend.give-time-one-spot"))
    effusive = above(
        fact("quantity.effusivity"),
        resin.conductivity * resin.density * resin.specific_heat,
        0,
        "",
        fact("mend.give-resins-properties"),
    )
    return 2 * flux_w_m2 * math.sqrt(seconds / (math.pi * effusive))


def warmed_depth_m(seconds: float, resin: Material) -> float:
    """Return the depth that the warmth reaches, m: 2 √(a t)."""
    not_negative(fact("quantity.seconds"), seconds, "s", fact("mend.give-time-one-spot"))
    above(fact("quantity.conductivity"), resin.conductivity, 0, "W/(m·K)", fact("take-from-datasheet"))
    return 2 * math.sqrt(
        resin.conductivity
        / above(
            fact("quantity.heat-capacity"), resin.heat_capacity, 0, "", fact("mend.give-resins-properties")
        )
        * seconds
    )


def one_pass(
    jet_c: float,
    surface_c: float,
    seconds: float,
    depth_m: float,
    resin: Material,
    transfer_w_m2k: float = JET.value,
) -> Pass:
    """Return what one pass over a spot does: flux, skin warming, depth reached, warming of the whole layer."""
    flux = jet_flux_w_m2(jet_c, surface_c, transfer_w_m2k)
    # A steady flux overstates a long pass: the skin cannot grow hotter than the jet.
    rise = min(skin_rise_k(flux, seconds, resin), max(0.0, jet_c - surface_c))
    whole = (
        flux
        * seconds
        / (resin.heat_capacity * above(fact("quantity.depth"), depth_m, 0, "m", fact("mend.give-depth-pour")))
    )
    light = Light.OK if rise <= LIGHT_PASS.value else Light.WATCH if rise <= LONG_PASS.value else Light.STOP
    return Pass(flux, rise, warmed_depth_m(seconds, resin), whole, light)


def longest_pass_s(rise_k: float, flux_w_m2: float, resin: Material) -> float:
    """Return the seconds on one spot that warm the skin by `rise_k`."""
    above(fact("quantity.flux"), flux_w_m2, 0, "W/m²", fact("mend.jet-warmer-than-surface"))
    above(fact("quantity.rise"), rise_k, 0, "K", fact("mend.give-warming-allowed"))
    return (
        math.pi * resin.conductivity * resin.density * resin.specific_heat * (rise_k / (2 * flux_w_m2)) ** 2
    )
