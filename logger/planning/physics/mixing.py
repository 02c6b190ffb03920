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
from logger.plan.file import Glass
from logger.planning.finding import (
    COMMON_PRACTICE,
    PROJECT_CHOICE,
    Constant,
    Light,
    above,
    not_negative,
    plain,
    within,
)
from logger.planning.physics.batch_slips import (
    ALIKE_PCT,
    ALIKE_THOUGH_RIGHT_PCT,
    PlannedBatch,
    Weights,
    doubtful,
    name_mistake,
    slip_against_plan,
    slip_of_size,
)
from logger.planning.physics.parts import Ratio, Recipe

GREEN = Constant("ratio error that is fine", 2.0, "%", COMMON_PRACTICE)
LAST = Constant("ratio error beyond which the batch is refused", 5.0, "%", COMMON_PRACTICE)
#: a correction needs stirring in: beyond this part of the working time the mix has begun to set
CORRECTABLE = Constant(
    "part of the working time in which a batch can be corrected", 0.33, "", COMMON_PRACTICE
)
WEIGHING_ERROR = Constant("ratio error that weighing makes, at most", 10.0, "%", PROJECT_CHOICE)
#: no scale of a workshop shows more, g; and what is lighter than this has not been weighed
_HEAVIEST_G, _NOTHING_G = 1e9, 1e-3

WEIGH_AGAIN = (
    "It must not meet the wood. Weigh again, and type what the scale shows. If the weights are as typed, leave this "
    "batch, mix a new one, and ask the resin's maker about it."
)
STILL_TO_CHECK = "Look at the numbers first: were they typed as the scale showed them?"


@dataclass(frozen=True, slots=True)
class Correction:
    """What to add, while it is still in the pail."""

    part: Literal["A", "B"]
    grams: float
    sentence: str


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
    constants: tuple[Constant, ...] = field(default=(GREEN, LAST, WEIGHING_ERROR, CORRECTABLE))


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
    for part, grams in (("A", weights.a_g), ("B", weights.b_g)):
        not_negative(f"weight of part {part}", grams, "g", "read the scale again")
        within(f"weight of part {part}", grams, 0, _HEAVIEST_G, "g", "read the scale again")
    not_negative("age_min", pail.age_min, "min", "give the minutes since the parts met")
    if min(weights.a_g, weights.b_g) < _NOTHING_G:
        return _one_part_missing(weights, recipe.by_weight, planned)
    right = recipe.by_weight
    weighed = Ratio(weights.a_g, weights.b_g, "weight")
    error = (weighed.b_over_a / right.b_over_a - 1) * 100
    light = light_of(error)
    correction = None if light is Light.OK else _correction(weights, error, right, planned)
    # What is put right is looked at as well: no advice is refused once it is followed.
    slip = _slip(weights, light, recipe, planned) or (
        _slip(_corrected(weights, correction), Light.OK, recipe, planned) if correction else ""
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
    sentence = f"{sentence} {effect_words(effect)}"
    mistake = name_mistake(weighed, recipe, weights.typed_in) if light is Light.STOP else ""
    late = _too_late(pail)
    change = late or (correction.sentence if correction else WEIGH_AGAIN)
    if correction is None:
        light, change = Light.STOP, _leave(pail)
    return MixVerdict(
        light, error, weighed, right, sentence, mistake, None if late else correction, change, effect
    )


def _sentence(weights: Weights, error_pct: float, right: Ratio) -> str:
    off = round(error_pct, 1)
    more = (
        f"{plain(abs(off))} % {'too much' if off > 0 else 'too little'} part B" if off else "the right ratio"
    )
    return f"{plain(weights.a_g)} g A and {plain(weights.b_g)} g B: {more} ({_stated(right)})."


def _stated(right: Ratio) -> str:
    return f"right is {plain(right.a)} : {plain(right.b)} by weight"


def _slip(weights: Weights, light: Light, recipe: Recipe, planned: PlannedBatch | None) -> str:
    """Return the slip that the weights look like, against the plan; empty where they look like weights."""
    if planned is None:
        return ""
    if light is Light.STOP:
        return slip_against_plan(weights, planned) or (
            "" if planned.holds(weights.total_g) else _beyond(weights, recipe, planned)
        )
    if doubtful(weights, planned):
        small = planned.holds(weights.total_g)
        alike = ALIKE_THOUGH_RIGHT_PCT if small else ALIKE_PCT
        return slip_against_plan(weights, planned, alike) or slip_of_size(weights, planned)
    return ""


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
            sentence=f"{verdict.sentence} The plan's whole volume was mixed before this batch.",
            change="Find out where the resin went before you pour more: a leak, a void, a wrong measure?",
        )
    if doubtful(weights, planned):
        part = weights.total_g / planned.total_g
        return replace(
            verdict,
            sentence=f"{verdict.sentence} A small batch, {plain(100 * part)} % of the planned one: did the scale show "
            "that?",
        )
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
    return f"{STILL_TO_CHECK} {late}" if late else WEIGH_AGAIN


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


def _one_part_missing(weights: Weights, right: Ratio, planned: PlannedBatch | None) -> MixVerdict:
    """Return the verdict where one part, or both, has not been weighed."""
    a_g, b_g = weights.a_g, weights.b_g
    if max(a_g, b_g) < _NOTHING_G:
        return MixVerdict(
            Light.STOP,
            -100.0,
            None,
            right,
            "Nothing has been weighed yet.",
            change="Weigh part A, then part B.",
        )
    missing: Literal["A", "B"] = "A" if a_g < _NOTHING_G else "B"
    there = "B" if missing == "A" else "A"
    grams = b_g / right.b_over_a if missing == "A" else a_g * right.b_over_a
    error = -100.0 if missing == "B" else 100.0
    sentence = f"Part {missing} is not in yet."
    whole = Weights(grams, b_g, weights.typed_in) if missing == "A" else Weights(a_g, grams, weights.typed_in)
    if planned is not None and doubtful(whole, planned):
        alike = ALIKE_THOUGH_RIGHT_PCT if planned.holds(whole.total_g) else ALIKE_PCT
        slip = slip_against_plan(whole, planned, alike) or slip_of_size(whole, planned)
        if slip:
            change = (
                f"Weigh part {there} again, and type what the scale shows, before part {missing} goes in."
            )
            return MixVerdict(Light.STOP, error, None, right, sentence, slip, change=change)
    words = f"Add {plain(grams)} g of part {missing} and stir."
    return MixVerdict(Light.STOP, error, None, right, sentence, "", Correction(missing, grams, words), words)


def _too_thick(pail: Pail) -> str:
    """Return what to do with a batch of the right ratio that has stood for its whole working time; else empty."""
    working_min = pail.working_time_min
    if pail.poured or pail.apart or working_min is None or pail.age_min <= working_min:
        return ""
    return (
        f"Too thick to pour: {plain(pail.age_min)} min since the parts met, and this pail can be worked for "
        f"{plain(working_min)} min. Spread it thin in a tray outdoors to cure, and mix a new batch."
    )


def _too_late(pail: Pail) -> str:
    """Return why this batch can no longer be corrected, and what then; empty while it can."""
    if pail.apart:
        return ""
    if pail.poured:
        return (
            "It has been poured: too late to correct. Do not pour more on it. Scoop out what is still liquid, "
            "mark the place, and look at it before the next layer; it will stay soft where it is far off."
        )
    working_min = pail.working_time_min
    if working_min is not None and pail.age_min > CORRECTABLE.value * working_min:
        return (
            f"Too late to correct: {plain(pail.age_min)} min since the parts met, and this pail can be worked for "
            f"{plain(working_min)} min. Spread it thin in a tray outdoors to cure, and mix a new batch."
        )
    return ""
