"""What the pour is made of: how a material conducts and stores heat."""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.errors import OutOfRange
from logger.plan.file import Panel, Resin


@dataclass(frozen=True)
class Material:
    """Thermal properties, SI: conductivity W/(m·K), density kg/m³, specific heat J/(kg·K)."""

    conductivity: float
    density: float
    specific_heat: float

    @property
    def heat_capacity(self) -> float:
        """Volumetric heat capacity ρ cp, J/(m³·K)."""
        return self.density * self.specific_heat

    @property
    def diffusivity(self) -> float:
        """k / (ρ cp), m²/s."""
        return self.conductivity / self.heat_capacity

    @property
    def effusivity(self) -> float:
        """sqrt(k ρ cp), W·s^½/(m²·K)."""
        return math.sqrt(self.conductivity * self.heat_capacity)


def resin_material(resin: Resin) -> Material:
    """The mixed resin of a plan."""
    return Material(resin.conductivity_w_mk, resin.density_kg_m3, resin.specific_heat_j_kgk)


def panel_material(panel: Panel) -> Material:
    """A panel, slab or wall of a plan."""
    return Material(panel.conductivity_w_mk, panel.density_kg_m3, panel.specific_heat_j_kgk)


def contact_c(one: Material, one_c: float, other: Material, other_c: float) -> float:
    """Temperature (°C) at the face where two thick bodies touch: the mean weighted by effusivity.

    Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, §2.15 (from memory).
    """
    total = one.effusivity + other.effusivity
    return (one.effusivity * one_c + other.effusivity * other_c) / total


def wood_conductivity_w_mk(specific_gravity: float, moisture_pct: float) -> float:
    """Conductivity of wood across the grain, W/(m·K), ±20 %.

    specific_gravity: oven-dry mass over the volume at this moisture, above 0.3 (water = 1).
    moisture_pct: per cent of the oven-dry mass, below 25. Near 24 °C.
    USDA Wood Handbook, FPL-GTR-190 (2010), equation 4-15. Raises OutOfRange outside those bounds.
    """
    if not 0.3 < specific_gravity < 1.5:
        raise OutOfRange(
            "specific_gravity",
            "is outside the formula",
            value=specific_gravity,
            allowed="0.3 to 1.5",
            remedy="enter the conductivity yourself",
        )
    if not 0 <= moisture_pct < 25:
        raise OutOfRange(
            "moisture_pct",
            "is outside the formula",
            value=moisture_pct,
            allowed="0 to 25 %",
            remedy="dry the slab, or enter the conductivity",
        )
    return specific_gravity * (0.1941 + 0.004064 * moisture_pct) + 0.01864


def wood_specific_heat_j_kgk(moisture_pct: float, wood_c: float) -> float:
    """Specific heat of wood, J/(kg·K), from moisture (% of oven-dry mass, 0–25) and temperature (°C, 7–147).

    USDA Wood Handbook, FPL-GTR-190 (2010), equations 4-16a to 4-17. Raises OutOfRange outside those bounds.
    """
    if not 0 <= moisture_pct < 25:
        raise OutOfRange(
            "moisture_pct",
            "is outside the formula",
            value=moisture_pct,
            allowed="0 to 25 %",
            remedy="dry the slab, or enter the heat",
        )
    kelvin = wood_c + 273.15
    if not 280 <= kelvin <= 420:
        raise OutOfRange(
            "wood_c",
            "is outside the formula",
            value=wood_c,
            allowed="7 to 147 °C",
            remedy="enter the specific heat yourself",
        )
    dry = 0.1031 + 0.003867 * kelvin
    bound = moisture_pct * (-0.06191 + 2.36e-4 * kelvin - 1.33e-4 * moisture_pct)
    wet = 0.0 if moisture_pct == 0 else bound
    return 1000.0 * ((dry + 4.18 * moisture_pct / 100) / (1 + moisture_pct / 100) + wet)
