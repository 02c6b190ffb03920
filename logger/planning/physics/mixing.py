"""Is this batch right? Weights in, ratio out, before it meets the wood.

Green within 2 %, warn to 5 %, stop beyond: common practice, no source; more than about 5 % off fails either way.
Extra hardener neither speeds nor strengthens; it stays in the mix as free amine. A correction is given only for an
error of the size that weighing makes, in a batch that stays within its pail and the plan with it: what is further off
is weighed again or left, never topped up.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from logger.cure.model.off_ratio import LEAST_RATIO, MOST_RATIO, off_ratio
from logger.facts import NOTHING, Fact, fact, in_a_row
from logger.plan.file import Glass
from logger.planning.finding import (
    COMMON_PRACTICE,
    PROJECT_CHOICE,
    Constant,
    Light,
    above,
    followed,
    not_negative,
    within,
)
from logger.planning.physics.batch_slips import (
    ALIKE_PCT,
    ALIKE_THOUGH_RIGHT_PCT,
    PlannedBatch,
    Weights,
    doubtful,
    name_mistake,
    pair,
    slip_against_plan,
    slip_of_size,
)
from logger.planning.physics.parts import Ratio, Recipe
from logger.quantities import difference, grams, minutes, percent

GREEN = Constant(fact("constant.ratio-error-fine"), 2.0, "%", COMMON_PRACTICE)
LAST = Constant(fact("constant.ratio-error-refused"), 5.0, "%", COMMON_PRACTICE)
#: a correction needs stirring in: beyond this part of the working time the mix has begun to set
CORRECTABLE = Constant(fact("constant.correctable-time"), 0.33, "", COMMON_PRACTICE)
WEIGHING_ERROR = Constant(fact("constant.weighing-error"), 10.0, "%", PROJECT_CHOICE)
#: no scale of a workshop shows more, g; and what is lighter than this has not been weighed
_HEAVIEST_G, _NOTHING_G = 1e9, 1e-3

WEIGH_AGAIN = fact("weigh-batch-again")
STILL_TO_CHECK = fact("check-weights-as-typed")


@dataclass(frozen=True, slots=True)
class Correction:
    """What to add, while it is still in the pail; first: that part is not in yet."""

    part: Literal["A", "B"]
    grams: float
    first: bool = False

    @property
    def sentence(self) -> Fact:
        """What to do, in full."""
        code = "add-part-and-stir" if self.first else "add-part-and-stir-again"
        return fact(code, more=grams(self.grams, None), part=self.part)


@dataclass(frozen=True, slots=True)
class Pail:
    """Where the batch is: in the pail, in two cups still, or poured; minutes since the parts met; its working time."""

    poured: bool = False
    apart: bool = False
    age_min: float = 0.0
    working_time_min: float | None = None


@dataclass(frozen=True, slots=True)
class Effect:
    """What a wrong ratio does to the casting: heat of the cure, % of the right mix's, and how much softer, K."""

    heat_pct: float
    softer_k: float

    @property
    def sentence(self) -> Fact:
        """The effect as a sentence."""
        return fact(
            "mix-stays-softer",
            less_heat=percent(100 - self.heat_pct),
            softer=difference(self.softer_k, None),
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
    sentence: Fact
    mistake: str = NOTHING
    correction: Correction | None = None
    change: str = NOTHING
    effect: Effect | None = None
    constants: tuple[Constant, ...] = field(default=(GREEN, LAST, WEIGHING_ERROR, CORRECTABLE))


def effect_of(error_pct: float, right_by_weight: Ratio, glass: Glass) -> Effect | None:
    """Return what so much hardener too much or too little does; None where the mix never gels."""
    ratio = 1 + error_pct / 100
    if not LEAST_RATIO <= ratio <= MOST_RATIO:
        return None
    mix = off_ratio(glass, ratio, right_by_weight.b / (right_by_weight.a + right_by_weight.b))
    return Effect(100 * mix.heat_factor, mix.softer_k)


def effect_said(effect: Effect | None) -> Fact:
    """Return the effect as a sentence, also for a mix that never gels."""
    return fact("mix-never-gels") if effect is None else effect.sentence


def check(
    weights: Weights,
    recipe: Recipe,
    glass: Glass,
    pail: Pail | None = None,
    planned: PlannedBatch | None = None,
) -> MixVerdict:
    """Judge one batch by the weights as they were read. The recipe may be by weight or by volume.

    pail: a fresh one where it is not given. planned: the batch that the plan asks for; without it only the ratio is
    judged. Raises OutOfRange for weights below 0, not finite or beyond any scale.
    """
    pail = pail or Pail()
    for part, weight_g in (("A", weights.a_g), ("B", weights.b_g)):
        weight = fact("quantity.weight-of-part", part=part)
        not_negative(weight, weight_g, "g", fact("mend.read-scale-again"))
        within(weight, weight_g, 0, _HEAVIEST_G, "g", fact("mend.read-scale-again"))
    not_negative(
        fact("quantity.minutes-since-mixing"), pail.age_min, "min", fact("mend.give-minutes-since-parts-met")
    )
    if min(weights.a_g, weights.b_g) < _NOTHING_G:
        return _one_part_missing(weights, recipe.by_weight, planned)
    right = recipe.by_weight
    weighed = Ratio(weights.a_g, weights.b_g, "weight")
    error = (weighed.b_over_a / right.b_over_a - 1) * 100
    light = light_of(error)
    correction = None if light is Light.OK else _correction(weights, error, right, planned)
    # What is put right is looked at as well: no advice is refused once it is followed.
    slip = _slip(weights, light, recipe, planned) or (
        _slip(_corrected(weights, correction), Light.OK, recipe, planned) if correction else NOTHING
    )
    sentence = _sentence(weights, error, right)
    if slip:
        return MixVerdict(Light.STOP, error, weighed, right, sentence, slip, change=_leave(pail))
    if light is Light.OK:
        verdict = MixVerdict(light, error, weighed, right, sentence)
        stale = _too_thick(pail)
        return (
            replace(verdict, light=Light.STOP, change=stale) if stale else _of_size(verdict, weights, planned)
        )
    effect = effect_of(error, right, glass)
    sentence = followed(sentence, effect_said(effect))
    mistake = name_mistake(weighed, recipe, weights.typed_in) if light is Light.STOP else NOTHING
    late = _too_late(pail)
    change = late or (correction.sentence if correction else WEIGH_AGAIN)
    if correction is None:
        light, change = Light.STOP, _leave(pail)
    return MixVerdict(
        light, error, weighed, right, sentence, mistake, None if late else correction, change, effect
    )


def _sentence(weights: Weights, error_pct: float, right: Ratio) -> Fact:
    off = round(error_pct, 1)
    code = "batch-right" if not off else "batch-too-much-b" if off > 0 else "batch-too-little-b"
    ratio = Ratio(right.a, right.b, "weight")
    return fact(code, weights=pair(weights.a_g, weights.b_g), off=percent(abs(off)), ratio=ratio.said)


def _slip(weights: Weights, light: Light, recipe: Recipe, planned: PlannedBatch | None) -> str:
    """Return the slip that the weights look like, against the plan; NOTHING where they look like weights."""
    if planned is None:
        return NOTHING
    if light is Light.STOP:
        return slip_against_plan(weights, planned) or (
            NOTHING if planned.holds(weights.total_g) else _beyond(weights, recipe, planned)
        )
    if doubtful(weights, planned):
        small = planned.holds(weights.total_g)
        alike = ALIKE_THOUGH_RIGHT_PCT if small else ALIKE_PCT
        return slip_against_plan(weights, planned, alike) or slip_of_size(weights, planned)
    return NOTHING


def _beyond(weights: Weights, recipe: Recipe, planned: PlannedBatch) -> str:
    """Return what a batch of a wrong ratio that no pail holds looks like."""
    weighed = Ratio(weights.a_g, weights.b_g, "weight")
    return name_mistake(weighed, recipe, weights.typed_in) or slip_of_size(weights, planned)


def _of_size(verdict: MixVerdict, weights: Weights, planned: PlannedBatch | None) -> MixVerdict:
    """Return the verdict on a right ratio, with what there is to say of the batch's size."""
    if planned is None:
        return verdict
    if planned.all_mixed:
        return replace(
            verdict,
            light=Light.WATCH,
            sentence=followed(verdict.sentence, fact("whole-volume-mixed-before")),
            change=fact("find-where-resin-went"),
        )
    if doubtful(weights, planned):
        small = fact("small-batch", part=percent(100 * weights.total_g / planned.total_g))
        return replace(verdict, sentence=followed(verdict.sentence, small))
    return verdict


def _correction(
    weights: Weights, error_pct: float, right: Ratio, planned: PlannedBatch | None
) -> Correction | None:
    """Return what to add, where the error is of a size that weighing makes and there is room for it; else None."""
    # A hair of rounding must not turn exactly 10 % into more.
    if abs(error_pct) > WEIGHING_ERROR.value + 1e-9:
        return None
    correction = correcting_addition(weights.a_g, weights.b_g, right)
    if planned is not None and not planned.holds(weights.total_g + correction.grams):
        return None
    return correction


def _corrected(weights: Weights, correction: Correction) -> Weights:
    more_a, more_b = (correction.grams, 0.0) if correction.part == "A" else (0.0, correction.grams)
    return replace(weights, a_g=weights.a_g + more_a, b_g=weights.b_g + more_b)


def _leave(pail: Pail) -> str:
    """Return what to do with a batch that is not to be corrected."""
    late = _too_late(pail)
    return in_a_row([STILL_TO_CHECK, late]) if late else WEIGH_AGAIN


def light_of(error_pct: float) -> Light:
    """ok within 2 %, watch to 5 %, stop beyond, either way."""
    # A hair of rounding must not turn exactly 2 % into a warning.
    size = abs(error_pct) - 1e-9
    if size <= GREEN.value:
        return Light.OK
    return Light.WATCH if size <= LAST.value else Light.STOP


def correcting_addition(a_g: float, b_g: float, right_by_weight: Ratio) -> Correction:
    """Return what to add so that the ratio is exact. Too little of B: add B. Too much of B: add A."""
    above(fact("quantity.weight-of-part-a"), a_g, 0, "g", fact("mend.weigh-part-a"))
    above(fact("quantity.weight-of-part-b"), b_g, 0, "g", fact("mend.weigh-part-b"))
    short_of_b = a_g * right_by_weight.b_over_a - b_g
    if short_of_b >= 0:
        return Correction("B", short_of_b)
    short_of_a = b_g / right_by_weight.b_over_a - a_g
    return Correction("A", short_of_a)


def _one_part_missing(weights: Weights, right: Ratio, planned: PlannedBatch | None) -> MixVerdict:
    """Return the verdict where one part, or both, has not been weighed."""
    a_g, b_g = weights.a_g, weights.b_g
    if max(a_g, b_g) < _NOTHING_G:
        return MixVerdict(
            Light.STOP,
            -100.0,
            None,
            right,
            fact("nothing-weighed"),
            change=fact("weigh-a-then-b"),
        )
    missing: Literal["A", "B"] = "A" if a_g < _NOTHING_G else "B"
    there = "B" if missing == "A" else "A"
    more_g = b_g / right.b_over_a if missing == "A" else a_g * right.b_over_a
    error = -100.0 if missing == "B" else 100.0
    sentence = fact("part-not-in", part=missing)
    whole = (
        Weights(more_g, b_g, weights.typed_in) if missing == "A" else Weights(a_g, more_g, weights.typed_in)
    )
    if planned is not None and doubtful(whole, planned):
        alike = ALIKE_THOUGH_RIGHT_PCT if planned.holds(whole.total_g) else ALIKE_PCT
        slip = slip_against_plan(whole, planned, alike) or slip_of_size(whole, planned)
        if slip:
            change = fact("weigh-part-again", there=there, missing=missing)
            return MixVerdict(Light.STOP, error, None, right, sentence, slip, change=change)
    correction = Correction(missing, more_g, first=True)
    return MixVerdict(Light.STOP, error, None, right, sentence, NOTHING, correction, correction.sentence)


def _too_thick(pail: Pail) -> str:
    """Return what to do with a batch of the right ratio that has stood for its whole working time; else NOTHING."""
    working_min = pail.working_time_min
    if pail.poured or pail.apart or working_min is None or pail.age_min <= working_min:
        return NOTHING
    return fact("batch-too-thick", age=minutes(pail.age_min), working=minutes(working_min))


def _too_late(pail: Pail) -> str:
    """Return why this batch can no longer be corrected, and what then; NOTHING while it can."""
    if pail.apart:
        return NOTHING
    if pail.poured:
        return fact("batch-poured-wrong")
    working_min = pail.working_time_min
    if working_min is not None and pail.age_min > CORRECTABLE.value * working_min:
        return fact("batch-too-late", age=minutes(pail.age_min), working=minutes(working_min))
    return NOTHING
