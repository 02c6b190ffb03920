"""What the pour is made of: how a material conducts and stores heat."""

from __future__ import annotations

from dataclasses import dataclass

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


def resin_material(resin: Resin) -> Material:
    """Return the mixed resin of a plan."""
    return Material(resin.conductivity_w_mk, resin.density_kg_m3, resin.specific_heat_j_kgk)


def panel_material(panel: Panel) -> Material:
    """Return a panel, slab or wall of a plan."""
    return Material(panel.conductivity_w_mk, panel.density_kg_m3, panel.specific_heat_j_kgk)
