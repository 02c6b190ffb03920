"""Colour at depth: a dip reading at one depth and dose, scaled to the pour; the dose that hides the bottom.

A dye that only absorbs: A = −log₁₀ T is proportional to dose times depth (Beer–Lambert).
A pigment that scatters: Kubelka & Munk 1931; contrast ratio 0.98 is "conventionally accepted as complete hiding"
(ASTM D2805). Colour can be added, never taken out.
"""

from __future__ import annotations

import math

from logger.errors import OutOfRange
from logger.facts import Fact, fact
from logger.planning.finding import COMMON_PRACTICE, PROJECT_CHOICE, Constant, above, within
from logger.quantities import number

HIDDEN = Constant(fact("constant.bottom-hidden"), 0.02, "", PROJECT_CHOICE)
CLEAR_READING = Constant(fact("constant.dip-too-clear"), 0.1, "", COMMON_PRACTICE)
DARK_READING = Constant(fact("constant.dip-too-dark"), 1.5, "", COMMON_PRACTICE)
FARTHEST = Constant(fact("constant.dose-scaled-by"), 3.0, fact("unit.times"), PROJECT_CHOICE)
FIRST_PART = Constant(fact("constant.first-addition"), 0.5, "", COMMON_PRACTICE)
MOST_PIGMENT = Constant(fact("constant.most-pigment"), 5.0, fact("unit.percent-by-weight"), COMMON_PRACTICE)


#: What scatters light, and so does not follow the rule.
SCATTERS = {"pigment": fact("pigment-scatters"), "flake": fact("flake-scatters")}


def absorbance(transmission: float) -> float:
    """Return a = −log₁₀ T."""
    part = within(fact("quantity.transmission"), transmission, 1e-6, 1, "", fact("mend.give-transmission"))
    return -math.log10(part) + 0.0


def transmission(absorbance_value: float) -> float:
    """T = 10^−A."""
    return float(
        10 ** -within(fact("quantity.absorbance"), absorbance_value, 0, 10, "", fact("mend.give-absorbance"))
    )


def dose_for_pct(
    dip_absorbance: float, dip_depth_mm: float, dip_dose_pct: float, depth_mm: float, wanted_absorbance: float
) -> float:
    """Return the dose that gives the wanted absorbance at the pour's depth, %."""
    if not (math.isfinite(dip_absorbance) and dip_absorbance > 0):
        raise OutOfRange(
            fact("quantity.dip-reading"),
            fact("shows-no-colour"),
            value=dip_absorbance,
            allowed=fact("absorbance-above-0"),
            remedy=fact("mend.make-dip-stronger"),
        )
    above(fact("quantity.wanted-absorbance"), wanted_absorbance, 0, "", fact("mend.give-look-wanted"))
    return (
        dip_dose_pct
        * wanted_absorbance
        / dip_absorbance
        * dip_depth_mm
        / above("depth_mm", depth_mm, 0, "mm", fact("mend.give-depth-pour"))
    )


def hiding_absorbance(returned: float = HIDDEN.value) -> float:
    """Absorbance at which only that part of the light comes back: half of −log₁₀."""
    return absorbance(returned) / 2


def additions_g(dose_pct: float, mix_kg: float) -> list[float]:
    """Return the dose in small additions, g: half, then half of what is left, and so on; the last closes the sum."""
    total = (
        above("dose_pct", dose_pct, 0, "%", fact("mend.give-dose"))
        / 100
        * above(fact("quantity.mix"), mix_kg, 0, "kg", fact("mend.give-weight-mix"))
        * 1000
    )
    parts = [total * FIRST_PART.value, total * 0.25, total * 0.125]
    return [*parts, total - sum(parts)]


def dip_doubts(dip_absorbance: float, dip_product: float, pour_product: float, kind: str) -> list[Fact]:
    """Why the scaling may not hold; the products are dose times depth in % · mm."""
    doubts = []
    if kind in SCATTERS:
        doubts.append(SCATTERS[kind])
    if not CLEAR_READING.value <= dip_absorbance <= DARK_READING.value:
        doubts.append(
            fact(
                "dip-says-little",
                absorbance=number(dip_absorbance),
                low=number(CLEAR_READING.value),
                high=number(DARK_READING.value),
            )
        )
    ratio = pour_product / above(
        fact("quantity.dose-times-depth-dip"), dip_product, 0, "% · mm", fact("mend.give-dip")
    )
    if not 1 / FARTHEST.value <= ratio <= FARTHEST.value:
        doubts.append(fact("dip-scaled-far", times=number(ratio), most=number(FARTHEST.value)))
    return doubts
