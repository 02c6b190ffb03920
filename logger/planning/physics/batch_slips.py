"""What weights that cannot be right look like: parts swapped, another unit, a digit too many, a part put in twice.

Every slip is a guess from the numbers alone. It is named to send the maker back to the scale, and never corrected.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from logger.planning.finding import PROJECT_CHOICE, Constant, plain
from logger.planning.physics.parts import Ratio, Recipe
from logger.units import kg_to_lb

#: how close weights must be to a slip to be named as that slip
ALIKE_PCT = 3.0
#: and where the ratio is right as typed: then only weights that hit the plan's are a slip, and no small batch
ALIKE_THOUGH_RIGHT_PCT = 1.0
OVER_BATCH = Constant("largest batch, of the planned one", 1.25, "", PROJECT_CHOICE)
SMALL_BATCH = Constant("smallest batch that is taken as one, of the planned one", 0.1, "", PROJECT_CHOICE)
#: below this part of the planned batch its weights are compared with every slip of the unit, though the ratio is right
_DOUBTFUL = 0.5
#: below this part of it no cup is so small
_NO_BATCH = 0.01

ScaleUnit = Literal["g", "lb"]
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

    words: str
    times: float


def _factors(typed_in: ScaleUnit) -> tuple[_Factor, ...]:
    if typed_in == "lb":
        units = (
            _Factor("kilograms typed as pounds", _GRAMS_PER_LB / 1000),
            _Factor("grams typed as pounds", _GRAMS_PER_LB),
            _Factor("ounces typed as pounds", 16.0),
        )
    else:
        units = (
            _Factor("kilograms typed as grams", 1 / 1000),
            _Factor("pounds typed as grams", 1 / _GRAMS_PER_LB),
            _Factor("ounces typed as grams", 1 / _GRAMS_PER_OZ),
        )
    return (
        *units,
        _Factor("a factor of 1000, such as another unit or a lost decimal point", 1000.0),
        _Factor("a factor of 100, such as a lost decimal point", 100.0),
        _Factor("a factor of 10, such as a digit too many", 10.0),
        _Factor("a tenth, such as a digit too few", 1 / 10),
        _Factor("a hundredth, such as a decimal point in the wrong place", 1 / 100),
        _Factor("a thousandth, such as a decimal point in the wrong place", 1 / 1000),
    )


def slip_against_plan(weights: Weights, planned: PlannedBatch, alike_pct: float = ALIKE_PCT) -> str:
    """Return the slip that turns the planned batch into these weights, in words; empty when none comes so close."""
    best, nearest = "", alike_pct
    for words, a_g, b_g in _slips_of_plan(weights.typed_in, planned):
        off = max(_apart_pct(weights.a_g, a_g), _apart_pct(weights.b_g, b_g))
        if off < nearest - 1e-9:
            best, nearest = words, off
    return f"{best} instead of {_pair(planned.a_g, planned.b_g)}" if best else ""


def _slips_of_plan(typed_in: ScaleUnit, planned: PlannedBatch) -> Iterator[tuple[str, float, float]]:
    """(words, A, B) of each slip, in grams as they would be read."""
    a_g, b_g = planned.a_g, planned.b_g
    yield f"the parts swapped: {_pair(b_g, a_g)}", b_g, a_g
    for factor in _factors(typed_in):
        times = factor.times
        yield f"{factor.words}: {_pair(a_g * times, b_g * times)}", a_g * times, b_g * times
        yield f"{factor.words}, for part A: {_pair(a_g * times, b_g)}", a_g * times, b_g
        yield f"{factor.words}, for part B: {_pair(a_g, b_g * times)}", a_g, b_g * times
    yield f"twice the planned batch: {_pair(2 * a_g, 2 * b_g)}", 2 * a_g, 2 * b_g
    for part, a_times, b_times in (("A", 2.0, 1.0), ("B", 1.0, 2.0)):
        both = a_g * a_times, b_g * b_times
        yield f"part {part} put in twice: {_pair(*both)}", *both
    for part, a_times, b_times in (("A", 0.5, 1.0), ("B", 1.0, 0.5)):
        both = a_g * a_times, b_g * b_times
        yield f"half of part {part}: {_pair(*both)}", *both


def slip_of_size(weights: Weights, planned: PlannedBatch) -> str:
    """Return what weights of the right ratio that make no batch look like; empty where they make one.

    Too much for the pail, the plan or the working time, or next to nothing.
    """
    total = weights.total_g
    if SMALL_BATCH.value * planned.total_g <= total and planned.holds(total):
        return ""
    for factor in _factors(weights.typed_in):
        meant = total / factor.times
        if _DOUBTFUL * planned.total_g <= meant and planned.holds(meant):
            return f"{factor.words}: {plain(total)} g in all; the planned batch weighs {plain(planned.total_g)} g"
    if total < _NO_BATCH * planned.total_g:
        return (
            f"next to nothing: {plain(total)} g in all; the planned batch weighs {plain(planned.total_g)} g"
        )
    if planned.holds(total):
        return ""  # a small cup of the right ratio is a small cup
    return (
        f"{plain(total / planned.total_g)} times the planned batch: {plain(total)} g in all instead of "
        f"{plain(planned.total_g)} g, and one batch may weigh {plain(planned.most_g)} g"
    )


def doubtful(weights: Weights, planned: PlannedBatch) -> bool:
    """Return whether a batch is so far from the planned one that its unit is in doubt, though its ratio is right."""
    return weights.total_g < _DOUBTFUL * planned.total_g or not planned.holds(weights.total_g)


def name_mistake(weighed: Ratio, recipe: Recipe, typed_in: ScaleUnit | None = None) -> str:
    """Return the known mistake that explains the ratio best, in words; empty when none comes within 3 %.

    typed_in: where it is given, a slip of the unit or of a digit in one of the two numbers is looked for as well.
    """
    densities = (recipe.density_a_kg_m3, recipe.density_b_kg_m3)
    if None in densities and weighed.by != recipe.ratio.by:
        return ""
    # Without densities weighed and right ratio are compared as they are: both by the same measure.
    weighed_b_over_a = weighed.b_over_a if None in densities else weighed.by_weight(*densities).b_over_a
    best, nearest = "", ALIKE_PCT
    for words, value in _known_mistakes(recipe, typed_in):
        off = _apart_pct(weighed_b_over_a, value)
        if off < nearest - 1e-9:
            best, nearest = words, off
    return best


def _known_mistakes(recipe: Recipe, typed_in: ScaleUnit | None) -> Iterator[tuple[str, float]]:
    """(words, B over A by weight) of each mistake that shops make."""
    right = recipe.ratio
    stated = f"{plain(right.a)} : {plain(right.b)}"
    if recipe.density_a_kg_m3 is None or recipe.density_b_kg_m3 is None:
        b_over_a = right.b_over_a
        yield f"one to one by {right.by} instead of {stated} by {right.by}", 1.0
        yield f"two to one by {right.by} instead of {stated} by {right.by}", 0.5
    else:
        b_over_a = recipe.by_weight.b_over_a
        light = recipe.density_b_kg_m3 / recipe.density_a_kg_m3
        if right.by == "volume":
            yield f"the ratio {stated} by volume, weighed as if it were by weight", right.b_over_a
        else:
            yield f"the ratio {stated} by weight, measured by volume", right.b_over_a * light
        yield f"one to one by weight instead of {stated} by {right.by}", 1.0
        yield f"one to one by volume instead of {stated} by {right.by}", light
        yield f"two to one by weight instead of {stated} by {right.by}", 0.5
        yield f"two to one by volume instead of {stated} by {right.by}", 0.5 * light
    yield "the parts swapped: as much A as there should be B", 1 / b_over_a
    yield "part B put in twice, or half of part A", 2 * b_over_a
    yield "part A put in twice, or half of part B", b_over_a / 2
    if typed_in is not None:
        for factor in _factors(typed_in):
            yield f"{factor.words}, for part B", b_over_a * factor.times
            yield f"{factor.words}, for part A", b_over_a / factor.times


def _apart_pct(value: float, other: float) -> float:
    """Return how far two amounts are apart, %, the same either way round."""
    return 100 * (math.exp(abs(math.log(value / other))) - 1)


def _pair(a_g: float, b_g: float) -> str:
    return f"{plain(a_g)} g A and {plain(b_g)} g B"
