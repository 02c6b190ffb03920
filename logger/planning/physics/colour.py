"""Colour at depth: a dip reading at one depth and dose, scaled to the pour; the dose that hides the bottom.

A dye that only absorbs: A = −log₁₀ T is proportional to dose times depth (Beer–Lambert).
A pigment that scatters: Kubelka & Munk 1931; contrast ratio 0.98 is "conventionally accepted as complete hiding"
(ASTM D2805). Colour can be added, never taken out.
"""

from __future__ import annotations

import math

from logger.errors import OutOfRange
from logger.planning.finding import COMMON_PRACTICE, PROJECT_CHOICE, Constant, above, plain, within

HIDDEN = Constant("bottom hidden when this part of the light comes back", 0.02, "", PROJECT_CHOICE)
CLEAR_READING = Constant("absorbance below which a dip says little", 0.1, "", COMMON_PRACTICE)
DARK_READING = Constant("absorbance above which a dip says little", 1.5, "", COMMON_PRACTICE)
FARTHEST = Constant("dose × depth may be scaled by", 3.0, "times", PROJECT_CHOICE)
FIRST_PART = Constant("first addition, part of the dose", 0.5, "", COMMON_PRACTICE)
MOST_PIGMENT = Constant("most pigment that a resin usually bears", 5.0, "% by weight", COMMON_PRACTICE)
LIMITS = (
    "The rule holds for dyes that only absorb. It fails with scattering pigment, mica or metal flake, "
    "fluorescence and high doses: make a cup at full depth."
)


def absorbance(transmission: float) -> float:
    """Return a = −log₁₀ T."""
    part = within("transmission", transmission, 1e-6, 1, "", "give the part of the light that passes, 0 to 1")
    return -math.log10(part) + 0.0


def transmission(absorbance_value: float) -> float:
    """T = 10^−A."""
    return float(10 ** -within("absorbance", absorbance_value, 0, 10, "", "give an absorbance of 0 to 10"))


def dose_for_pct(
    dip_absorbance: float, dip_depth_mm: float, dip_dose_pct: float, depth_mm: float, wanted_absorbance: float
) -> float:
    """Return the dose that gives the wanted absorbance at the pour's depth, %."""
    if not (math.isfinite(dip_absorbance) and dip_absorbance > 0):
        raise OutOfRange(
            "dip reading",
            "shows no colour",
            value=dip_absorbance,
            allowed="absorbance above 0",
            remedy="make the dip deeper or stronger and read it again",
        )
    above("wanted absorbance", wanted_absorbance, 0, "", "give the look that is wanted")
    return (
        dip_dose_pct
        * wanted_absorbance
        / dip_absorbance
        * dip_depth_mm
        / above("depth_mm", depth_mm, 0, "mm", "give the depth of the pour")
    )


def hiding_absorbance(returned: float = HIDDEN.value) -> float:
    """Absorbance at which only that part of the light comes back: half of −log₁₀."""
    return absorbance(returned) / 2


def additions_g(dose_pct: float, mix_kg: float) -> list[float]:
    """Return the dose in small additions, g: half, then half of what is left, and so on; the last closes the sum."""
    total = (
        above("dose_pct", dose_pct, 0, "%", "give the dose")
        / 100
        * above("mix", mix_kg, 0, "kg", "give it")
        * 1000
    )
    parts = [total * FIRST_PART.value, total * 0.25, total * 0.125]
    return [*parts, total - sum(parts)]


def dip_doubts(dip_absorbance: float, dip_product: float, pour_product: float, kind: str) -> list[str]:
    """Why the scaling may not hold, in words; the products are dose times depth in % · mm."""
    doubts = []
    if kind != "dye":
        doubts.append(f"a {kind} scatters light: {LIMITS}")
    if not CLEAR_READING.value <= dip_absorbance <= DARK_READING.value:
        doubts.append(
            f"the dip's absorbance {plain(dip_absorbance)} is outside {CLEAR_READING.value} to {DARK_READING.value}: "
            "make it deeper or shallower and read it again"
        )
    ratio = pour_product / above("dose × depth of the dip", dip_product, 0, "% · mm", "give the dip")
    if not 1 / FARTHEST.value <= ratio <= FARTHEST.value:
        doubts.append(
            f"dose × depth is scaled {plain(ratio)} times; trust it within 3 times: make a cup nearer to it"
        )
    return doubts
