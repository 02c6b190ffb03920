"""Is this batch right? Weights in, ratio out, before it meets the wood.

Green within 2 %, warn to 5 %, stop beyond: common practice, no source; more than about 5 % off fails either way.
Extra hardener neither speeds nor strengthens; it stays in the mix as free amine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from logger.cure.model.off_ratio import LEAST_RATIO, MOST_RATIO, off_ratio
from logger.plan.file import Glass
from logger.planning.finding import COMMON_PRACTICE, Constant, Light, above, not_negative, plain
from logger.planning.physics.parts import Ratio, Recipe

GREEN = Constant("ratio error that is fine", 2.0, "%", COMMON_PRACTICE)
LAST = Constant("ratio error beyond which the batch is refused", 5.0, "%", COMMON_PRACTICE)
#: a correction needs stirring in: beyond this part of the working time the mix has begun to set
CORRECTABLE = Constant(
    "part of the working time in which a batch can be corrected", 0.33, "", COMMON_PRACTICE
)
#: how close the weighed ratio must be to a known mistake to be named as that mistake
ALIKE_PCT = 3.0


@dataclass(frozen=True, slots=True)
class Correction:
    """What to add, while it is still in the pail."""

    part: Literal["A", "B"]
    grams: float
    sentence: str


@dataclass(frozen=True, slots=True)
class Pail:
    """Where the batch is: still in the pail or poured, minutes since the parts met, working time of that pail."""

    poured: bool = False
    age_min: float = 0.0
    working_time_min: float | None = None


@dataclass(frozen=True, slots=True)
class Effect:
    """What a wrong ratio does to the casting: heat of the cure, % of the right mix's, and how much softer, K."""

    heat_pct: float
    softer_k: float

    @property
    def sentence(self) -> str:
        """The effect in words."""
        return (
            f"Such a mix gives {plain(100 - self.heat_pct)} % less heat, and its glass transition ends about "
            f"{plain(self.softer_k)} K lower: it stays softer."
        )


@dataclass(frozen=True, slots=True)
class MixVerdict:
    """What the weights say. `error_pct` is part B too much (above 0) or too little, % of the right amount.

    effect: None where the ratio is right, or so wrong that the mix never gels.
    """

    light: Light
    error_pct: float
    weighed: Ratio | None
    right: Ratio
    sentence: str
    mistake: str = ""
    correction: Correction | None = None
    change: str = ""
    effect: Effect | None = None
    constants: tuple[Constant, ...] = field(default=(GREEN, LAST, CORRECTABLE))


def effect_of(error_pct: float, right_by_weight: Ratio, glass: Glass) -> Effect | None:
    """Return what so much hardener too much or too little does; None where the mix never gels."""
    ratio = 1 + error_pct / 100
    if not LEAST_RATIO <= ratio <= MOST_RATIO:
        return None
    mix = off_ratio(glass, ratio, right_by_weight.b / (right_by_weight.a + right_by_weight.b))
    return Effect(100 * mix.heat_factor, mix.softer_k)


def effect_words(effect: Effect | None) -> str:
    """Return the effect as a sentence, also for a mix that never gels."""
    return "Such a mix never gels: it stays a syrup." if effect is None else effect.sentence


def check(a_g: float, b_g: float, recipe: Recipe, glass: Glass, pail: Pail | None = None) -> MixVerdict:
    """Judge one batch by the weights as they were read. The recipe may be by weight or by volume.

    pail: a fresh one where it is not given. Raises OutOfRange for weights below 0 or not finite.
    """
    pail = pail or Pail()
    not_negative("weight of part A", a_g, "g", "read the scale again")
    not_negative("weight of part B", b_g, "g", "read the scale again")
    not_negative("age_min", pail.age_min, "min", "give the minutes since the parts met")
    right = recipe.by_weight
    if a_g == 0 or b_g == 0:
        return _one_part_missing(a_g, b_g, right)
    weighed = Ratio(a_g, b_g, "weight")
    error = (weighed.b_over_a / right.b_over_a - 1) * 100
    light = light_of(error)
    more = "too much" if error > 0 else "too little"
    sentence = (
        f"{plain(a_g)} g A and {plain(b_g)} g B: {plain(abs(error))} % {more} part B "
        f"(right is {plain(right.a)} : {plain(right.b)} by weight)."
    )
    if light is Light.OK:
        return MixVerdict(light, error, weighed, right, sentence)
    effect = effect_of(error, right, glass)
    mistake = name_mistake(weighed, recipe)
    correction = correcting_addition(a_g, b_g, right)
    late = _too_late(pail)
    return MixVerdict(
        light,
        error,
        weighed,
        right,
        f"{sentence} {effect_words(effect)}",
        mistake,
        None if late else correction,
        late or correction.sentence,
        effect,
    )


def light_of(error_pct: float) -> Light:
    """ok within 2 %, watch to 5 %, stop beyond, either way."""
    # A hair of rounding must not turn exactly 2 % into a warning.
    size = abs(error_pct) - 1e-9
    if size <= GREEN.value:
        return Light.OK
    return Light.WATCH if size <= LAST.value else Light.STOP


def correcting_addition(a_g: float, b_g: float, right_by_weight: Ratio) -> Correction:
    """Return what to add so that the ratio is exact. Too little of B: add B. Too much of B: add A."""
    above("weight of part A", a_g, 0, "g", "weigh part A")
    above("weight of part B", b_g, 0, "g", "weigh part B")
    short_of_b = a_g * right_by_weight.b_over_a - b_g
    if short_of_b >= 0:
        return Correction("B", short_of_b, f"Add {plain(short_of_b)} g of part B now and stir again in full.")
    short_of_a = b_g / right_by_weight.b_over_a - a_g
    return Correction("A", short_of_a, f"Add {plain(short_of_a)} g of part A now and stir again in full.")


def name_mistake(weighed: Ratio, recipe: Recipe) -> str:
    """Return the known mistake that explains the weights best, in words; empty when none comes within 3 %."""
    weighed_b_over_a = weighed.by_weight(recipe.density_a_kg_m3, recipe.density_b_kg_m3).b_over_a
    best, nearest = "", ALIKE_PCT
    for words, value in _known_mistakes(recipe):
        off = abs(weighed_b_over_a / value - 1) * 100
        if off < nearest:
            best, nearest = words, off
    return best


def _known_mistakes(recipe: Recipe) -> Iterator[tuple[str, float]]:
    """(words, B over A by weight) of each mistake that shops make."""
    right, by_weight = recipe.ratio, recipe.by_weight
    stated = f"{plain(right.a)} : {plain(right.b)}"
    light = recipe.density_b_kg_m3 / recipe.density_a_kg_m3
    if right.by == "volume":
        yield (
            f"{stated} is by volume, and it was weighed: the weights are in the volume ratio",
            right.b_over_a,
        )
    else:
        wrong = right.b_over_a * light
        yield f"{stated} is by weight, and it was measured by volume", wrong
    yield f"one to one by weight instead of {stated} by {right.by}", 1.0
    yield f"one to one by volume instead of {stated} by {right.by}", light
    yield f"two to one by weight instead of {stated} by {right.by}", 0.5
    yield f"two to one by volume instead of {stated} by {right.by}", 0.5 * light
    yield "the parts were swapped: as much A as there should be B", 1 / by_weight.b_over_a
    yield "part B went in twice", 2 * by_weight.b_over_a
    yield "part A went in twice", by_weight.b_over_a / 2


def _one_part_missing(a_g: float, b_g: float, right: Ratio) -> MixVerdict:
    missing = "A" if a_g == 0 else "B"
    if a_g == 0 and b_g == 0:
        return MixVerdict(
            Light.STOP,
            -100.0,
            None,
            right,
            "Nothing has been weighed yet.",
            "",
            None,
            "Weigh part A, then part B.",
        )
    grams = b_g / right.b_over_a if missing == "A" else a_g * right.b_over_a
    words = f"Add {plain(grams)} g of part {missing} and stir."
    error = -100.0 if missing == "B" else 100.0
    return MixVerdict(
        Light.STOP,
        error,
        None,
        right,
        f"Part {missing} is not in yet.",
        f"part {missing} is missing",
        Correction("A" if missing == "A" else "B", grams, words),
        words,
    )


def _too_late(pail: Pail) -> str:
    """Return why this batch can no longer be corrected, and what then; empty while it can."""
    if pail.poured:
        return (
            "It has been poured: too late to correct. Do not pour more on it. Scoop out what is still liquid, "
            "mark the place, and look at it before the next layer; it will stay soft where it is far off."
        )
    working_min = pail.working_time_min
    if working_min is not None and pail.age_min > CORRECTABLE.value * working_min:
        return (
            f"Too late to correct: {plain(pail.age_min)} min since the parts met, and this pail works for "
            f"{plain(working_min)} min. Spread it thin in a tray outdoors to cure, and mix a new batch."
        )
    return ""
