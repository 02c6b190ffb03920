"""Pails: which of the shop's sizes, how many, how much of each part, and the card that hangs at the mixing bench."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from logger.errors import BadInput
from logger.facts import fact
from logger.plan.planning_tables import Mix
from logger.planning.finding import COMMON_PRACTICE, PROJECT_CHOICE, Constant, above, within
from logger.planning.physics.parts import Portions, Ratio, mix_density_kg_m3, portions

#: mixing and pouring a pail must end within this part of its working time
SAFE_PART = Constant(fact("constant.time-to-mix-and-pour"), 0.5, "", PROJECT_CHOICE)
SECOND_PAIL = Constant(fact("constant.mixing-in-second-pail"), 2.0, "min", COMMON_PRACTICE)
SCRAPE_EVERY = Constant(fact("constant.scrape-every"), 2.0, "min", COMMON_PRACTICE)
#: mass of the smallest part over the scale's step that keeps the ratio's error below 0.75 % at worst
STEPS_NEEDED = Constant(fact("constant.scale-steps"), 100.0, fact("unit.steps"), PROJECT_CHOICE)

#: a pail is filled less rather than let it set, down to this part of its fill
LEAST_FILL = Constant(fact("constant.least-fill"), 0.34, "", PROJECT_CHOICE)

WorkingTime = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Batches:
    """The pails of one layer: all the same size, so that one card serves them all."""

    count: int
    pail_l: float
    litres_each: float
    kg_each: float
    working_time_min: float
    needed_min: float
    enough_time: bool

    @property
    def time_used(self) -> float:
        """Mixing and pouring one pail, as a part of its working time."""
        return self.needed_min / self.working_time_min


@dataclass(frozen=True, slots=True)
class MixingBench:
    """What a batch is mixed in and weighed on, and how long mixing and pouring take.

    sizes_l: the shop's pails, filled to fill_pct (%) at most. mix_min: stirring, min. max_kg: what the scale weighs;
    None sets no limit.
    """

    sizes_l: Sequence[float]
    fill_pct: float = 70.0
    mix_min: float = 6.0
    pour_min_per_l: float = 0.5
    max_kg: float | None = None


def plan_batches(
    total_l: float, density_kg_m3: float, bench: MixingBench, working_time: WorkingTime
) -> Batches:
    """Return the fewest equal pails that are mixed and poured within half of their own working time.

    `working_time` takes kilograms in the pail and gives minutes. When no pail of the shop is small enough the
    smallest is taken and `enough_time` is False. Raises BadInput or OutOfRange.
    """
    above(fact("quantity.volume-to-mix"), total_l, 0, "L", fact("mend.give-volume-pour"))
    above(fact("quantity.density"), density_kg_m3, 0, "kg/m³", fact("take-from-datasheet"))
    fill = within("fill_pct", bench.fill_pct, 10, 100, "%", fact("mend.leave-room-stir")) / 100
    if not bench.sizes_l:
        raise BadInput(
            fact("quantity.sizes-of-pails"),
            fact("is-empty"),
            allowed=fact("one-size-or-more"),
            remedy=fact("mend.list-pails"),
        )

    def batches(size: float, count: int) -> Batches:
        litres = total_l / count
        kilograms = litres * density_kg_m3 / 1000
        minutes = above(
            fact("quantity.working-time"), working_time(kilograms), 0, "min", fact("mend.check-rate")
        )
        needed = bench.mix_min + SECOND_PAIL.value + bench.pour_min_per_l * litres
        return Batches(count, size, litres, kilograms, minutes, needed, needed <= SAFE_PART.value * minutes)

    choices = []
    for size in bench.sizes_l:
        room_l = above(fact("quantity.pail-size"), size, 0, "L", fact("mend.give-size-litres")) * fill
        if bench.max_kg is not None:
            room_l = min(room_l, bench.max_kg * 1000 / density_kg_m3)
        fullest = max(1, math.ceil(total_l / room_l - 1e-9))
        choices.append(_fewest(partial(batches, size), fullest))
    fitting = [choice for choice in choices if choice.enough_time]
    # The fewest pails that keep to the time, and among those the smallest pail; else the one nearest to it.
    if fitting:
        return min(fitting, key=lambda choice: (choice.count, choice.pail_l))
    return min(choices, key=lambda choice: choice.time_used)


def _fewest(batches: Callable[[int], Batches], fullest: int) -> Batches:
    """Return the fewest pails of one size that keep to the time: less in a pail lasts longer, so the count is
    bisected.
    """
    best = batches(fullest)
    if best.enough_time:
        return best
    low, high = fullest, math.ceil(fullest / LEAST_FILL.value)
    best = batches(high)
    if not best.enough_time:
        return best
    while high - low > 1:
        middle = (low + high) // 2
        tried = batches(middle)
        if tried.enough_time:
            high, best = middle, tried
        else:
            low = middle
    return best


@dataclass(frozen=True, slots=True)
class BenchStep:
    """One timed step at the mixing bench."""

    at_min: float
    what: str


@dataclass(frozen=True, slots=True)
class Card:
    """The mixing card: the same for every pail of a layer.

    by_weight, by_volume: the ratio; one of them is None where no densities turn the other into it.
    """

    title: str
    layer: int
    batches: Batches
    part_a: str
    part_b: str
    each: Portions
    by_weight: Ratio | None
    by_volume: Ratio | None
    density_kg_m3: float
    use_by_min: float
    steps: tuple[BenchStep, ...]
    cautions: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the card as plain JSON types; every number's unit is in its name."""
        return {
            "title": self.title,
            "layer": self.layer,
            "pails": self.batches.count,
            "pail_l": self.batches.pail_l,
            "each_l": self.batches.litres_each,
            "each_kg": self.batches.kg_each,
            "part_a": self.part_a,
            "part_b": self.part_b,
            "part_a_g": self.each.a_g,
            "part_b_g": self.each.b_g,
            "part_a_ml": self.each.a_ml,
            "part_b_ml": self.each.b_ml,
            "ratio_by_weight": _pair(self.by_weight),
            "ratio_by_volume": _pair(self.by_volume),
            "density_kg_m3": self.density_kg_m3,
            "working_time_min": self.batches.working_time_min,
            "use_by_min": self.use_by_min,
            "steps": [{"at_min": step.at_min, "what": step.what} for step in self.steps],
            "cautions": list(self.cautions),
        }


def _pair(ratio: Ratio | None) -> list[float] | None:
    return None if ratio is None else [ratio.a, ratio.b]


CAUTIONS = (fact("mixing-safety-data-sheet"), fact("mixing-pail-can-smoke"), fact("mixing-if-it-smokes"))


def mixing_steps(mix_min: float) -> tuple[BenchStep, ...]:
    """Return the timed steps: stir, scrape sides and bottom, change to a clean pail, stir again, pour."""
    above("mix_min", mix_min, 0, "min", fact("mend.give-datasheets-mixing-time"))
    steps = [BenchStep(0.0, fact("bench-weigh-and-stir"))]
    scrape = SCRAPE_EVERY.value
    while scrape < mix_min:
        steps.append(BenchStep(scrape, fact("bench-scrape")))
        scrape += SCRAPE_EVERY.value
    steps.append(BenchStep(mix_min, fact("bench-change-pail")))
    steps.append(BenchStep(mix_min, fact("bench-stir-on")))
    steps.append(BenchStep(mix_min + SECOND_PAIL.value, fact("bench-pour-without-streaks")))
    return tuple(steps)


def card(title: str, batches: Batches, mix: Mix, layer: int = 1) -> Card:
    """Return the mixing card for page and print."""
    ratio, densities = Ratio(*mix.ratio_parts, mix.ratio_by), (mix.density_a_kg_m3, mix.density_b_kg_m3)
    both = mix.density_a_kg_m3 is not None and mix.density_b_kg_m3 is not None
    of_mix = 1000 * batches.kg_each / batches.litres_each
    return Card(
        title=title,
        layer=layer,
        batches=batches,
        part_a=mix.part_a,
        part_b=mix.part_b,
        each=portions(batches.kg_each, ratio, *densities, batches.litres_each),
        by_weight=ratio.by_weight(*densities) if both or ratio.by == "weight" else None,
        by_volume=ratio.by_volume(*densities) if both or ratio.by == "volume" else None,
        density_kg_m3=(mix_density_kg_m3(ratio, *densities) if both else None) or of_mix,
        use_by_min=SAFE_PART.value * batches.working_time_min,
        steps=mixing_steps(mix.mix_min),
        cautions=CAUTIONS,
    )
