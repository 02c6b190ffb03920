"""Is this batch right? Weights in, ratio out, before it meets the wood.

Green within 2 %, warn to 5 %, stop beyond: common practice, no source; more than about 5 % off fails either way.
Extra hardener neither speeds nor strengthens; it stays in the mix as free amine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from logger.planning.finding import COMMON_PRACTICE, Constant, Light, above, not_negative, plain
from logger.planning.physics.parts import Ratio

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
class MixVerdict:
    """What the weights say. `error_pct` is part B too much (above 0) or too little, % of the right amount."""

    light: Light
    error_pct: float
    weighed: Ratio | None
    right: Ratio
    sentence: str
    mistake: str = ""
    correction: Correction | None = None
    change: str = ""
    constants: tuple[Constant, ...] = field(default=(GREEN, LAST, CORRECTABLE))


def check(
    a_g: float,
    b_g: float,
    right: Ratio,
    density_a_kg_m3: float,
    density_b_kg_m3: float,
    *,
    in_pail: bool = True,
    age_min: float = 0.0,
    working_time_min: float | None = None,
    free_ml: float | None = None,
) -> MixVerdict:
    """Judges one batch by the weights as they were read. `right` may be by weight or by volume.

    age_min: minutes since the parts met; working_time_min: of this pail; free_ml: room left in the pail.
    Raises OutOfRange for weights below 0 or not finite.
    """
    not_negative("weight of part A", a_g, "g", "read the scale again")
    not_negative("weight of part B", b_g, "g", "read the scale again")
    not_negative("age_min", age_min, "min", "give the minutes since the parts met")
    want = right.by_weight(density_a_kg_m3, density_b_kg_m3)
    if a_g == 0 or b_g == 0:
        return _one_part_missing(a_g, b_g, want)
    weighed = Ratio(a_g, b_g, "weight")
    error = (weighed.b_over_a / want.b_over_a - 1) * 100
    light = light_of(error)
    more = "too much" if error > 0 else "too little"
    sentence = (
        f"{plain(a_g)} g A and {plain(b_g)} g B: {plain(abs(error))} % {more} part B "
        f"(right is {plain(want.a)} : {plain(want.b)} by weight)."
    )
    if light is Light.OK:
        return MixVerdict(light, error, weighed, want, sentence)
    mistake = name_mistake(weighed, right, density_a_kg_m3, density_b_kg_m3)
    correction = correcting_addition(a_g, b_g, want)
    late = _too_late(
        correction, in_pail, age_min, working_time_min, free_ml, density_a_kg_m3, density_b_kg_m3
    )
    if late:
        verdict = Light.STOP if light is Light.STOP else Light.WATCH
        return MixVerdict(verdict, error, weighed, want, sentence, mistake, None, late)
    return MixVerdict(light, error, weighed, want, sentence, mistake, correction, correction.sentence)


def light_of(error_pct: float) -> Light:
    """ok within 2 %, watch to 5 %, stop beyond, either way."""
    # A hair of rounding must not turn exactly 2 % into a warning.
    size = abs(error_pct) - 1e-9
    if size <= GREEN.value:
        return Light.OK
    return Light.WATCH if size <= LAST.value else Light.STOP


def correcting_addition(a_g: float, b_g: float, right_by_weight: Ratio) -> Correction:
    """What to add so that the ratio is exact. Too little of B: add B. Too much of B: add A."""
    above("weight of part A", a_g, 0, "g", "weigh part A")
    above("weight of part B", b_g, 0, "g", "weigh part B")
    short_of_b = a_g * right_by_weight.b_over_a - b_g
    if short_of_b >= 0:
        return Correction("B", short_of_b, f"Add {plain(short_of_b)} g of part B now and stir again in full.")
    short_of_a = b_g / right_by_weight.b_over_a - a_g
    return Correction("A", short_of_a, f"Add {plain(short_of_a)} g of part A now and stir again in full.")


def name_mistake(weighed: Ratio, right: Ratio, density_a_kg_m3: float, density_b_kg_m3: float) -> str:
    """The known mistake that explains the weights best, in words; empty when none comes within 3 %."""
    got = weighed.by_weight(density_a_kg_m3, density_b_kg_m3).b_over_a
    best, nearest = "", ALIKE_PCT
    for words, value in _known_mistakes(right, density_a_kg_m3, density_b_kg_m3):
        off = abs(got / value - 1) * 100
        if off < nearest:
            best, nearest = words, off
    return best


def _known_mistakes(right: Ratio, density_a: float, density_b: float) -> Iterator[tuple[str, float]]:
    """(words, B over A by weight) of each mistake that shops make."""
    want = right.by_weight(density_a, density_b)
    stated = f"{plain(right.a)} : {plain(right.b)}"
    light = density_b / density_a
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
    yield "the parts were swapped: as much A as there should be B", 1 / want.b_over_a
    yield "part B went in twice", 2 * want.b_over_a
    yield "part A went in twice", want.b_over_a / 2


def _one_part_missing(a_g: float, b_g: float, want: Ratio) -> MixVerdict:
    missing = "A" if a_g == 0 else "B"
    if a_g == 0 and b_g == 0:
        return MixVerdict(
            Light.STOP,
            -100.0,
            None,
            want,
            "Nothing has been weighed yet.",
            "",
            None,
            "Weigh part A, then part B.",
        )
    grams = b_g / want.b_over_a if missing == "A" else a_g * want.b_over_a
    words = f"Add {plain(grams)} g of part {missing} and stir."
    error = -100.0 if missing == "B" else 100.0
    return MixVerdict(
        Light.STOP,
        error,
        None,
        want,
        f"Part {missing} is not in yet.",
        f"part {missing} is missing",
        Correction("A" if missing == "A" else "B", grams, words),
        words,
    )


def _too_late(
    correction: Correction,
    in_pail: bool,
    age_min: float,
    working_time_min: float | None,
    free_ml: float | None,
    density_a: float,
    density_b: float,
) -> str:
    """Why this batch can no longer be corrected, and what then; empty while it can."""
    if not in_pail:
        return (
            "It has been poured: too late to correct. Do not pour more on it. Scoop out what is still liquid, "
            "mark the place, and look at it before the next layer; it will stay soft where it is far off."
        )
    if working_time_min is not None and age_min > CORRECTABLE.value * working_time_min:
        return (
            f"Too late to correct: {plain(age_min)} min since the parts met, and this pail works for "
            f"{plain(working_time_min)} min. Spread it thin in a tray outdoors to cure, and mix a new batch."
        )
    density = density_a if correction.part == "A" else density_b
    needed_ml = correction.grams / density * 1000
    if free_ml is not None and needed_ml > free_ml:
        return (
            f"The pail has no room for {plain(needed_ml)} mL of part {correction.part}: "
            "tip it into a larger pail first, then add and stir in full."
        )
    return ""


@dataclass(frozen=True, slots=True)
class ScheduleCheck:
    """How the stirring stands against the card."""

    due: tuple[str, ...]
    light: Light


def stirring(
    mixed_min: float, scrapes: int, second_pail: bool, mix_min: float, every_min: float
) -> ScheduleCheck:
    """What is still due at the bench: stirring time, scrapes of sides and bottom, the second pail."""
    not_negative("minutes stirred", mixed_min, "min", "give the minutes stirred")
    due = []
    if mixed_min < mix_min:
        due.append(f"stir {plain(mix_min - mixed_min)} min more")
    wanted = max(1, int(mix_min / above("scrape interval", every_min, 0, "min", "give minutes")))
    if scrapes < wanted:
        due.append(
            f"scrape sides and bottom {wanted - scrapes} more time{'s' if wanted - scrapes > 1 else ''}"
        )
    if not second_pail:
        due.append("change to a second, clean pail and stir on")
    return ScheduleCheck(tuple(due), Light.STOP if due else Light.OK)
