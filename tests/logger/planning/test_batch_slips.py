"""Weights that cannot be right are named and never topped up. Limits: this project's choice, no standard.

Unit factors: 1 lb = 453.59237 g and 1 oz = 1/16 lb (international pound, NIST SP 811, appendix B.8).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.plan.file import Glass, plan_from_text
from logger.planning import examples
from logger.planning.finding import Light
from logger.planning.findings.mixing import cards_of, next_batch
from logger.planning.physics.batch_slips import PlannedBatch, ScaleUnit, Weights
from logger.planning.physics.mixing import MixVerdict, Pail, check
from logger.planning.physics.parts import Ratio, Recipe
from logger.words.render import say

LB_G = 453.59237
OZ_G = LB_G / 16
#: 100 : 45 by weight; 1200 g and 540 g are planned, and the pail takes a quarter more
RECIPE = Recipe(Ratio(100, 45, "weight"), 1150, 950)
PLANNED = PlannedBatch(1200, 540, 2175)


def judge(a_g: float, b_g: float, typed_in: ScaleUnit = "g", pail: Pail | None = None) -> MixVerdict:
    """The check of one batch against the plan above."""
    return check(Weights(a_g, b_g, typed_in), RECIPE, Glass(), pail, PLANNED)


@pytest.mark.parametrize(
    ("a_g", "b_g", "typed_in", "words"),
    [
        (540, 1200, "g", "the parts swapped: 540 g A and 1200 g B instead of 1200 g A and 540 g B"),
        (1.2, 0.54, "g", "kilograms typed as grams: 1.2 g A and 0.54 g B instead of 1200 g A and 540 g B"),
        (2.646, 1.19, "g", "pounds typed as grams"),
        (42.33, 19.05, "g", "ounces typed as grams"),
        (1200, 0.54, "g", "kilograms typed as grams, for part B: 1200 g A and 0.54 g B instead of"),
        (1.2, 540, "g", "kilograms typed as grams, for part A"),
        (1.2 * LB_G, 0.54 * LB_G, "lb", "kilograms typed as pounds: 544 g A"),
        (1200 * LB_G, 540 * LB_G, "lb", "grams typed as pounds"),
        (42.33 * LB_G, 19.05 * LB_G, "lb", "ounces typed as pounds"),
        (1.2 * OZ_G, 0.54 * OZ_G, "oz", "kilograms typed as ounces: 34 g A"),
        (1200 * OZ_G, 540 * OZ_G, "oz", "grams typed as ounces"),
        (2.646 * OZ_G, 1.19 * OZ_G, "oz", "pounds typed as ounces"),
        (12_000, 5400, "g", "a factor of 10, such as a digit too many"),
        (12_000, 540, "g", "a factor of 10, such as a digit too many, for part A"),
        (120_000, 54_000, "g", "a factor of 100"),
        (1_200_000, 540_000, "g", "a factor of 1000"),
        (120, 54, "g", "a tenth, such as a digit too few"),
        (1200, 54, "g", "a tenth, such as a digit too few, for part B"),
        (2400, 1080, "g", "twice the planned batch"),
        (2400, 540, "g", "part A put in twice"),
        (1200, 1080, "g", "part B put in twice"),
        (1200, 270, "g", "half of part B"),
        (600, 540, "g", "half of part A"),
        (5000, 2250, "g", "4.17 times the planned batch: 7250 g in all instead of 1740 g"),
        (5000, 1000, "g", "times the planned batch"),
        (5, 2.25, "g", "next to nothing: 7.25 g in all"),
    ],
)
def test_each_slip_is_stopped_under_its_own_name(
    a_g: float, b_g: float, typed_in: ScaleUnit, words: str
) -> None:
    """What it looks like, in numbers, and weigh again: nothing is to be added."""
    verdict = judge(a_g, b_g, typed_in)
    assert verdict.light is Light.STOP
    assert words in say(verdict.mistake)
    assert verdict.correction is None
    assert "must not meet the wood" in say(verdict.change)
    assert "Weigh again" in say(verdict.change)


def test_a_right_ratio_in_the_wrong_unit_is_not_right() -> None:
    """1.2 : 0.54 is 100 : 45 to the last digit, and no batch."""
    assert judge(1.2, 0.54).light is Light.STOP
    assert judge(1200, 540).light is Light.OK


@pytest.mark.parametrize("part", [0.102, 0.2, 0.35, 0.7, 1.2])
def test_a_smaller_or_slightly_larger_batch_of_the_right_ratio_is_right(part: float) -> None:
    """Nobody must mix exactly what is planned."""
    assert judge(1200 * part, 540 * part).light is Light.OK


def test_a_batch_is_corrected_by_weighing_errors_only() -> None:
    """8 % short of hardener is topped up; 12 % is not, and is neither where the pail has no room."""
    near, far = judge(1200, 540 * 0.92), judge(1200, 540 * 0.88)
    full = check(Weights(1500, 675 * 0.96), RECIPE, Glass(), None, PlannedBatch(1200, 540, 2150))
    assert say(near.change) == "Add 43.2 g of part B now and stir again in full."
    assert (far.correction, far.light) == (None, Light.STOP)
    assert "ask the resin's maker" in say(far.change)
    assert (full.correction, full.light) == (None, Light.STOP)


def test_a_missing_part_is_asked_for_only_beside_a_part_that_can_be() -> None:
    """1200 g A lack 540 g B; 12 kg of A lack a second look at the scale, not 5.4 kg of hardener."""
    assert say(judge(1200, 0).change) == "Add 540 g of part B and stir."
    odd = judge(12_000, 0)
    assert odd.correction is None
    assert "Weigh part A again" in say(odd.change)
    assert judge(0, 54).correction is None


def test_a_batch_that_stood_for_its_working_time_is_not_poured_though_its_ratio_is_right() -> None:
    """Weighed apart it keeps; together it sets."""
    assert judge(1200, 540, pail=Pail(age_min=31, working_time_min=30)).light is Light.STOP
    assert judge(1200, 540, pail=Pail(age_min=29, working_time_min=30)).light is Light.OK
    assert judge(1200, 540, pail=Pail(apart=True, age_min=31, working_time_min=30)).light is Light.OK


def test_a_batch_beyond_the_plan_asks_where_the_resin_went() -> None:
    """The right ratio, and yet the whole volume is in the form already."""
    spent = PlannedBatch(1200, 540, 1827, all_mixed=True)
    verdict = check(Weights(1200, 540), RECIPE, Glass(), None, spent)
    assert verdict.light is Light.WATCH
    assert "a leak" in say(verdict.change)


# ---- any numbers --------------------------------------------------------------------------------------

ratios = st.builds(Ratio, st.just(100.0), st.floats(8, 130), st.sampled_from(["weight", "volume"]))
recipes = st.builds(Recipe, ratios, st.floats(1000, 1300), st.floats(850, 1150))
units = st.sampled_from(["g", "lb"])
pails = st.builds(Pail, st.booleans(), st.booleans(), st.floats(0, 90), st.none() | st.floats(5, 200))


def planned_of(recipe: Recipe, total_g: float, room: float) -> PlannedBatch:
    """A batch of the recipe, with so much room above it."""
    part_b = recipe.by_weight.b_over_a / (1 + recipe.by_weight.b_over_a)
    return PlannedBatch(total_g * (1 - part_b), total_g * part_b, total_g * room)


wide = st.floats(-4, 8).map(lambda power: 10**power) | st.just(0.0)
near = st.floats(0.8, 1.25)


@settings(max_examples=600)
@given(data=st.data(), recipe=recipes, pail=pails, typed_in=units)
def test_no_answer_asks_for_more_than_pail_and_plan_take(
    data: st.DataObject, recipe: Recipe, pail: Pail, typed_in: ScaleUnit
) -> None:
    """Whatever is typed: an addition fits, is of weighing's size, and makes the batch right. Else nothing is added."""
    planned = planned_of(recipe, data.draw(st.floats(100, 20_000)), data.draw(st.floats(1.0, 1.25)))
    if data.draw(st.booleans()):
        weights = Weights(data.draw(wide), data.draw(wide), typed_in)
    else:
        weights = Weights(planned.a_g * data.draw(near), planned.b_g * data.draw(near), typed_in)
    verdict = check(weights, recipe, Glass(), pail, planned)
    addition = verdict.correction
    if addition is None:
        assert "Add " not in say(verdict.change)
        assert verdict.light is not Light.OK or planned.holds(weights.total_g)
        return
    assert weights.total_g + addition.grams <= planned.most_g * (1 + 1e-6)
    a_g = weights.a_g + (addition.grams if addition.part == "A" else 0)
    b_g = weights.b_g + (addition.grams if addition.part == "B" else 0)
    after = check(Weights(a_g, b_g, typed_in), recipe, Glass(), None, planned)
    assert after.light is Light.OK
    missing = min(weights.a_g, weights.b_g) < 1e-3
    assert missing or abs(verdict.error_pct) <= 10 + 1e-6


SLIPS = [
    ("g", 1 / 1000, "kilograms typed as grams"),
    ("g", 1 / LB_G, "pounds typed as grams"),
    ("g", 16 / LB_G, "ounces typed as grams"),
    ("lb", LB_G / 1000, "kilograms typed as pounds"),
    ("lb", LB_G, "grams typed as pounds"),
    ("lb", 16, "ounces typed as pounds"),
    ("g", 10, "factor of 10,"),
    ("g", 100, "factor of 100,"),
    ("g", 1000, "factor of 1000,"),
    ("g", 0.1, "a tenth"),
    ("g", 0.01, "a hundredth"),
]


@settings(max_examples=600)
@given(
    data=st.data(),
    recipe=recipes,
    slip=st.sampled_from(SLIPS),
    which=st.sampled_from(["both", "A", "B"]),
    total_g=st.floats(100, 20_000),
)
def test_a_slip_of_the_unit_or_of_a_digit_is_named_in_one_number_or_in_both(
    data: st.DataObject, recipe: Recipe, slip: tuple[ScaleUnit, float, str], which: str, total_g: float
) -> None:
    """Weighed as closely as a scale lets one and typed wrongly: stopped, named, nothing to add."""
    typed_in, times, words = slip
    planned = planned_of(recipe, total_g, 1.2)
    a_g, b_g = (grams * data.draw(st.floats(0.993, 1.007)) for grams in (planned.a_g, planned.b_g))
    weights = Weights(a_g * (times if which != "B" else 1), b_g * (times if which != "A" else 1), typed_in)
    verdict = check(weights, recipe, Glass(), None, planned)
    assert verdict.light is Light.STOP
    assert words in say(verdict.mistake)
    assert verdict.correction is None


@settings(max_examples=200)
@given(data=st.data(), recipe=recipes, total_g=st.floats(100, 20_000))
def test_swapped_parts_are_named_where_a_swap_makes_a_difference(
    data: st.DataObject, recipe: Recipe, total_g: float
) -> None:
    """Where both parts weigh much the same a swap is no error; else it is stopped as a swap."""
    planned = planned_of(recipe, total_g, 1.2)
    a_g, b_g = (grams * data.draw(st.floats(0.995, 1.005)) for grams in (planned.b_g, planned.a_g))
    verdict = check(Weights(a_g, b_g), recipe, Glass(), None, planned)
    if abs(verdict.error_pct) > 5:
        assert verdict.light is Light.STOP
        assert "swapped" in say(verdict.mistake)
        assert verdict.correction is None


# ---- the batch that follows ------------------------------------------------------------------------------


def test_the_next_batch_follows_the_layers_and_says_when_all_is_mixed() -> None:
    """Two layers of one pail each: the second follows the first, and a third is beyond the plan."""
    text = (Path(next(iter(examples.__path__))) / "wharf-lane-ready.toml").read_text(encoding="utf-8")
    plan = plan_from_text(text, "a plan")
    cards = cards_of(plan)
    first_g, second_g = (1000 * card.batches.kg_each for card in cards)
    seen = [next_batch(plan, cards, mixed) for mixed in (0.0, first_g, first_g + second_g)]
    assert [(n.card.layer, n.planned.all_mixed) for n in seen if n] == [(1, False), (2, False), (2, True)]
    for batch in seen:
        assert batch is not None
        fill_g = (
            1000 * plan.resin.density_kg_m3 / 1000 * batch.card.batches.pail_l * plan.pails.fill_pct / 100
        )
        assert batch.planned.total_g <= batch.planned.most_g <= 1.05 * fill_g * (1 + 1e-9)
    assert next_batch(plan, [], 0.0) is None
