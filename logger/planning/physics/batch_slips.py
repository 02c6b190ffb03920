"""What weights that cannot be right look like: parts swapped, another unit, a digit too many, a part put in twice.

Every slip is a guess from the numbers alone. It is named to send the maker back to the scale, and never corrected.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal

from logger.facts import NOTHING, Fact, fact
from logger.planning.finding import PROJECT_CHOICE, Constant
from logger.planning.physics.parts import Ratio, Recipe
from logger.quantities import grams, number
from logger.units import kg_to_lb

#: how close weights must be to a slip to be named as that slip
ALIKE_PCT = 3.0
#: and where the ratio is right as typed: then only weights that hit the plan's are a slip, and no small batch
ALIKE_THOUGH_RIGHT_PCT = 1.0
OVER_BATCH = Constant(fact("constant.largest-batch"), 1.25, "", PROJECT_CHOICE)
SMALL_BATCH = Constant(fact("constant.smallest-batch"), 0.1, "", PROJECT_CHOICE)
#: below this part of the planned batch its weights are compared with every slip of the unit, though the ratio is right
_DOUBTFUL = 0.5
#: below this part of it no cup is so small
_NO_BATCH = 0.01

ScaleUnit = Literal["g", "lb", "oz"]
_GRAMS_PER_LB = 1000 / kg_to_lb(1.0)
_GRAMS_PER_OZ = _GRAMS_PER_LB / 16


@dataclass(frozen=True, slots=True)
class Weights:
    """Both parts of one batch as they were typed, in grams, and the unit that they were typed in."""

    a_g: float
    b_g: float
    typed_in: ScaleUnit = "g"

    @property
    def total_g(self) -> float:
        """Both parts together."""
        return self.a_g + self.b_g


@dataclass(frozen=True, slots=True)
class PlannedBatch:
    """The batch that the plan asks for: its parts, and the most that one batch may weigh, g.

    all_mixed: the plan's whole volume has been mixed already, and this one is beyond it.
    """

    a_g: float
    b_g: float
    most_g: float
    all_mixed: bool = False

    @property
    def total_g(self) -> float:
        """Both parts together."""
        return self.a_g + self.b_g

    def holds(self, total_g: float) -> bool:
        """Return whether a batch of that weight stays within the pail and the plan."""
        return total_g <= self.most_g * (1 + 1e-9)


@dataclass(frozen=True, slots=True)
class _Factor:
    """A slip that makes one number, or both, so many times what they should be."""

    slip: Fact
    times: float

    def of_part(self, part: str) -> Fact:
        """Return the slip in one part alone."""
        return _of_part(self.slip, part)


@cache
def _of_part(slip: Fact, part: str) -> Fact:
    return fact("slip-in-part", slip=slip, part=part)


@cache
def _factors(typed_in: ScaleUnit) -> tuple[_Factor, ...]:
    if typed_in == "lb":
        units = (
            _Factor(fact("kilograms-typed-as-pounds"), _GRAMS_PER_LB / 1000),
            _Factor(fact("grams-typed-as-pounds"), _GRAMS_PER_LB),
            _Factor(fact("ounces-typed-as-pounds"), 16.0),
        )
    elif typed_in == "oz":
        units = (
            _Factor(fact("kilograms-typed-as-ounces"), _GRAMS_PER_OZ / 1000),
            _Factor(fact("grams-typed-as-ounces"), _GRAMS_PER_OZ),
            _Factor(fact("pounds-typed-as-ounces"), 1 / 16),
        )
    else:
        units = (
            _Factor(fact("kilograms-typed-as-grams"), 1 / 1000),
            _Factor(fact("pounds-typed-as-grams"), 1 / _GRAMS_PER_LB),
            _Factor(fact("ounces-typed-as-grams"), 1 / _GRAMS_PER_OZ),
        )
    return (
        *units,
        _Factor(fact("thousand-times"), 1000.0),
        _Factor(fact("hundred-times"), 100.0),
        _Factor(fact("ten-times"), 10.0),
        _Factor(fact("a-tenth"), 1 / 10),
        _Factor(fact("a-hundredth"), 1 / 100),
        _Factor(fact("a-thousandth"), 1 / 1000),
    )


def slip_against_plan(weights: Weights, planned: PlannedBatch, alike_pct: float = ALIKE_PCT) -> str:
    """Return the slip that turns the planned batch into these weights; NOTHING when none comes so close."""
    best, nearest = NOTHING, alike_pct
    for slip, a_g, b_g in _slips_of_plan(weights.typed_in, planned):
        off = max(_apart_pct(weights.a_g, a_g), _apart_pct(weights.b_g, b_g))
        if off < nearest - 1e-9:
            best = fact(
                "slip-against-plan",
                slip=slip,
                weights=pair(a_g, b_g),
                planned=pair(planned.a_g, planned.b_g),
            )
            nearest = off
    return best


def _slips_of_plan(typed_in: ScaleUnit, planned: PlannedBatch) -> Iterator[tuple[Fact, float, float]]:
    """(slip, A, B) of each slip, in grams as they would be read."""
    a_g, b_g = planned.a_g, planned.b_g
    yield fact("parts-swapped"), b_g, a_g
    for factor in _factors(typed_in):
        times = factor.times
        yield factor.slip, a_g * times, b_g * times
        yield factor.of_part("A"), a_g * times, b_g
        yield factor.of_part("B"), a_g, b_g * times
    yield fact("twice-planned-batch"), 2 * a_g, 2 * b_g
    for part, a_times, b_times in (("A", 2.0, 1.0), ("B", 1.0, 2.0)):
        yield fact("part-put-in-twice", part=part), a_g * a_times, b_g * b_times
    for part, a_times, b_times in (("A", 0.5, 1.0), ("B", 1.0, 0.5)):
        yield fact("half-of-part", part=part), a_g * a_times, b_g * b_times


def slip_of_size(weights: Weights, planned: PlannedBatch) -> str:
    """Return what weights of the right ratio that make no batch look like; NOTHING where they make one.

    Too much for the pail, the plan or the working time, or next to nothing.
    """
    total = weights.total_g
    if SMALL_BATCH.value * planned.total_g <= total and planned.holds(total):
        return NOTHING
    in_all, planned_in_all = grams(total, None), grams(planned.total_g, None)
    for factor in _factors(weights.typed_in):
        meant = total / factor.times
        if _DOUBTFUL * planned.total_g <= meant and planned.holds(meant):
            return fact("slip-of-size", slip=factor.slip, total=in_all, planned=planned_in_all)
    if total < _NO_BATCH * planned.total_g:
        return fact("slip-of-size", slip=fact("next-to-nothing"), total=in_all, planned=planned_in_all)
    if planned.holds(total):
        return NOTHING  # a small cup of the right ratio is a small cup
    return fact(
        "batch-too-large",
        times=number(total / planned.total_g),
        total=in_all,
        planned=planned_in_all,
        most=grams(planned.most_g, None),
    )


def doubtful(weights: Weights, planned: PlannedBatch) -> bool:
    """Return whether a batch is so far from the planned one that its unit is in doubt, though its ratio is right."""
    return weights.total_g < _DOUBTFUL * planned.total_g or not planned.holds(weights.total_g)


def name_mistake(weighed: Ratio, recipe: Recipe, typed_in: ScaleUnit | None = None) -> str:
    """Return the known mistake that explains the ratio best; NOTHING when none comes within 3 %.

    typed_in: where it is given, a slip of the unit or of a digit in one of the two numbers is looked for as well.
    """
    densities = (recipe.density_a_kg_m3, recipe.density_b_kg_m3)
    if None in densities and weighed.by != recipe.ratio.by:
        return NOTHING
    # Without densities weighed and right ratio are compared as they are: both by the same measure.
    weighed_b_over_a = weighed.b_over_a if None in densities else weighed.by_weight(*densities).b_over_a
    best, nearest = NOTHING, ALIKE_PCT
    for mistake, value in _known_mistakes(recipe, typed_in):
        off = _apart_pct(weighed_b_over_a, value)
        if off < nearest - 1e-9:
            best, nearest = mistake, off
    return best


def _known_mistakes(recipe: Recipe, typed_in: ScaleUnit | None) -> Iterator[tuple[Fact, float]]:
    """(mistake, B over A by weight) of each mistake that shops make."""
    right = recipe.ratio
    stated = right.said
    if recipe.density_a_kg_m3 is None or recipe.density_b_kg_m3 is None:
        b_over_a = right.b_over_a
        by_weight = right.by == "weight"
        yield fact("one-to-one-by-weight" if by_weight else "one-to-one-by-volume", ratio=stated), 1.0
        yield fact("two-to-one-by-weight" if by_weight else "two-to-one-by-volume", ratio=stated), 0.5
    else:
        b_over_a = recipe.by_weight.b_over_a
        light = recipe.density_b_kg_m3 / recipe.density_a_kg_m3
        if right.by == "volume":
            yield fact("ratio-by-volume-weighed", ratio=stated), right.b_over_a
        else:
            yield fact("ratio-by-weight-measured", ratio=stated), right.b_over_a * light
        yield fact("one-to-one-by-weight", ratio=stated), 1.0
        yield fact("one-to-one-by-volume", ratio=stated), light
        yield fact("two-to-one-by-weight", ratio=stated), 0.5
        yield fact("two-to-one-by-volume", ratio=stated), 0.5 * light
    yield fact("parts-swapped-in-ratio"), 1 / b_over_a
    yield fact("twice-b-or-half-a"), 2 * b_over_a
    yield fact("twice-a-or-half-b"), b_over_a / 2
    if typed_in is not None:
        for factor in _factors(typed_in):
            yield factor.of_part("B"), b_over_a * factor.times
            yield factor.of_part("A"), b_over_a / factor.times


def _apart_pct(value: float, other: float) -> float:
    """Return how far two amounts are apart, %, the same either way round."""
    return 100 * (math.exp(abs(math.log(value / other))) - 1)


def pair(a_g: float, b_g: float) -> Fact:
    """Return the weights of both parts."""
    return fact("weights-of-parts", a=grams(a_g, None), b=grams(b_g, None))
