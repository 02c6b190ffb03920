"""The two parts: ratio by weight and by volume, density of the mix, and the ratio that the chemistry asks for.

A ratio is never a bare pair of numbers here: it always says what it is measured by.
Stoichiometry: phr = 100 · AHEW / EEW; AHEW = molar mass / active hydrogens; a blend's equivalent weight is its
mass over the sum of mass / equivalent weight (textbook; reproduced from stored handbook examples in the tests).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from logger.errors import BadInput
from logger.facts import Fact, fact
from logger.planning.finding import above, not_negative
from logger.quantities import number

_PART_A, _PART_B = fact("quantity.part-a-of-ratio"), fact("quantity.part-b-of-ratio")
_PARTS, _COPY_RATIO = fact("unit.parts"), fact("mend.copy-ratio-datasheet")
Measure = Literal["weight", "volume"]


@dataclass(frozen=True, slots=True)
class Ratio:
    """Part A to part B, by weight or by volume."""

    a: float
    b: float
    by: Measure

    def __post_init__(self) -> None:
        above(_PART_A, self.a, 0, _PARTS, _COPY_RATIO)
        above(_PART_B, self.b, 0, _PARTS, _COPY_RATIO)

    @property
    def said(self) -> Fact:
        """Both parts, and what they are measured by."""
        code = "ratio-by-weight" if self.by == "weight" else "ratio-by-volume"
        return fact(code, a=number(self.a), b=number(self.b))

    def __str__(self) -> str:
        return self.said

    @property
    def b_over_a(self) -> float:
        """Part B for one of part A, by this ratio's own measure."""
        return self.b / self.a

    def by_weight(self, density_a_kg_m3: float | None, density_b_kg_m3: float | None) -> Ratio:
        """Return the same mix, by weight. By volume times density is weight. Raises BadInput without the densities."""
        if self.by == "weight":
            return self
        a, b = self._densities(density_a_kg_m3, density_b_kg_m3)
        return Ratio(100.0, 100.0 * self.b_over_a * b / a, "weight")

    def by_volume(self, density_a_kg_m3: float | None, density_b_kg_m3: float | None) -> Ratio:
        """Return the same mix, by volume. Weight over density is volume. Raises BadInput without the densities."""
        if self.by == "volume":
            return self
        a, b = self._densities(density_a_kg_m3, density_b_kg_m3)
        return Ratio(100.0, 100.0 * self.b_over_a * a / b, "volume")

    def _densities(self, a: float | None, b: float | None) -> tuple[float, float]:
        """Return both densities, kg/m³. Raises BadInput where one is not known."""
        if a is None or b is None:
            by_weight = self.by == "weight"
            raise BadInput(
                fact("quantity.mixing-ratio"),
                fact("ratio-not-by-volume" if by_weight else "ratio-not-by-weight", ratio=self.said),
                remedy=fact("mend.measure-by-weight" if by_weight else "mend.measure-by-volume"),
            )
        for part, value in (("A", a), ("B", b)):
            above(fact("quantity.density-of-part", part=part), value, 0, "kg/m³", fact("take-from-datasheet"))
        return a, b


@dataclass(frozen=True, slots=True)
class Recipe:
    """The right ratio, and the densities of both parts, which make it one by weight or by volume; None: not known."""

    ratio: Ratio
    density_a_kg_m3: float | None = None
    density_b_kg_m3: float | None = None

    @property
    def by_weight(self) -> Ratio:
        """The right ratio by weight. Raises BadInput for one by volume without densities."""
        return self.ratio.by_weight(self.density_a_kg_m3, self.density_b_kg_m3)


def hardener_error_pct(
    done: Ratio, right: Ratio, density_a_kg_m3: float | None, density_b_kg_m3: float | None
) -> float:
    """How much more (above 0) or less of part B there is than there should be, % of the right amount.

    Raises BadInput where the two are measured differently and a density is not known.
    """
    if done.by == right.by:
        return (done.b_over_a / right.b_over_a - 1) * 100
    actual = done.by_weight(density_a_kg_m3, density_b_kg_m3).b_over_a
    target = right.by_weight(density_a_kg_m3, density_b_kg_m3).b_over_a
    return (actual / target - 1) * 100


def mix_density_kg_m3(
    ratio: Ratio, density_a_kg_m3: float | None, density_b_kg_m3: float | None
) -> float | None:
    """Density of the liquid mix, kg/m³, volumes taken as additive (the real value is up to 1 % higher); None where a
    part's is not known.
    """
    if density_a_kg_m3 is None or density_b_kg_m3 is None:
        return None
    weights = ratio.by_weight(density_a_kg_m3, density_b_kg_m3)
    total = weights.a + weights.b
    return total / (weights.a / density_a_kg_m3 + weights.b / density_b_kg_m3)


@dataclass(frozen=True, slots=True)
class Portions:
    """What goes into one pail: by weight, by volume, or both; None where no density turns one into the other."""

    a_g: float | None
    b_g: float | None
    a_ml: float | None
    b_ml: float | None


def portions(
    total_kg: float,
    ratio: Ratio,
    density_a_kg_m3: float | None,
    density_b_kg_m3: float | None,
    total_l: float | None = None,
) -> Portions:
    """Return the parts of a mix of that weight, by weight and by volume as far as the densities are known.

    total_l: its volume, for a ratio by volume without densities (volumes taken as additive).
    """
    not_negative(fact("quantity.weight-mix"), total_kg, "kg", fact("mend.give-weight-mix"))
    part_a = ratio.a / (ratio.a + ratio.b)
    if density_a_kg_m3 is None or density_b_kg_m3 is None:
        if ratio.by == "weight":
            return Portions(1000 * total_kg * part_a, 1000 * total_kg * (1 - part_a), None, None)
        litres = None if total_l is None else (1000 * total_l * part_a, 1000 * total_l * (1 - part_a))
        return Portions(None, None, *(litres or (None, None)))
    weights = ratio.by_weight(density_a_kg_m3, density_b_kg_m3)
    a_g = 1000 * total_kg * weights.a / (weights.a + weights.b)
    b_g = 1000 * total_kg - a_g
    return Portions(a_g, b_g, 1000 * a_g / density_a_kg_m3, 1000 * b_g / density_b_kg_m3)


def parts_per_hundred(ahew_g_eq: float, eew_g_eq: float) -> float:
    """Hardener for 100 of resin by weight: 100 · AHEW / EEW."""
    above("ahew_g_eq", ahew_g_eq, 0, "g/eq", fact("take-from-datasheet"))
    return 100 * ahew_g_eq / above("eew_g_eq", eew_g_eq, 0, "g/eq", fact("take-from-datasheet"))


@dataclass(frozen=True, slots=True)
class ScaleError:
    """How far the ratio may be off through the scale's steps alone, %."""

    standard_pct: float
    tared_pct: float
    worst_pct: float


def scale_error(a_g: float, b_g: float, resolution_g: float) -> ScaleError:
    """Error of the ratio from the scale's steps, each reading uniform within ± half a step.

    Standard uncertainty d/√12 for one reading, d/√6 for a tared one (two readings), in quadrature
    (JCGM 100:2008, 4.3.7: a/√3 for a reading within ± a; sums in quadrature, closed form).
    """
    above(fact("quantity.weight-of-part-a"), a_g, 0, "g", fact("mend.weigh-more-at-once"))
    above(fact("quantity.weight-of-part-b"), b_g, 0, "g", fact("mend.weigh-more-at-once"))
    not_negative(fact("quantity.smallest-step-scale"), resolution_g, "g", fact("mend.read-off-scales-plate"))
    spread = math.hypot(resolution_g / a_g, resolution_g / b_g)
    worst = resolution_g / (2 * a_g) + resolution_g / (2 * b_g)
    return ScaleError(100 * spread / math.sqrt(12), 100 * spread / math.sqrt(6), 100 * worst)
