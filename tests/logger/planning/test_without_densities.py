"""A ratio that is measured as it is stated needs no density; what needs one says so where it is needed."""

from __future__ import annotations

import pytest

from logger.errors import BadInput
from logger.plan.file import Plan, plan_from_text, plan_to_text
from logger.planning.assess import assess
from logger.planning.finding import Light
from logger.planning.findings.mixing import cards_of, next_batch
from logger.planning.physics.batch_slips import Weights, name_mistake
from logger.planning.physics.mixing import check
from logger.planning.physics.parts import Ratio, Recipe, hardener_error_pct, portions
from logger.words.render import say
from web.views.plan_report import card_text


def planned(plan_toml: str, mix: str) -> Plan:
    """The plan with this [mix]."""
    return plan_from_text(f"{plan_toml}\n[mix]\n{mix}\n")


def test_a_ratio_by_weight_is_weighed_without_densities(plan_toml: str) -> None:
    """3 : 1 by weight: three quarters and one quarter of each pail (arithmetic)."""
    plan = planned(plan_toml, 'ratio_parts = [3, 1]\nratio_by = "weight"')
    (card,) = cards_of(plan)
    grams = 1000 * card.batches.kg_each
    assert card.each.a_g == pytest.approx(0.75 * grams)
    assert card.each.b_g == pytest.approx(0.25 * grams)
    assert (card.by_volume, card.each.a_ml) == (None, None), "litres of each part are not known"
    assert "by volume: not known without the density of both parts" in "\n".join(card_text(card))
    lights = {finding.key: finding.light for finding in assess(plan).findings if finding.topic == "mixing"}
    assert lights["ratio"] is Light.OK
    assert next_batch(plan, [card], 0.0) is not None
    assert plan_from_text(plan_to_text(plan)) == plan


def test_a_ratio_by_volume_is_measured_without_densities(plan_toml: str) -> None:
    """2 : 1 by volume: two thirds and one third of the litres (arithmetic); the scale has nothing to weigh."""
    plan = planned(plan_toml, 'ratio_parts = [2, 1]\nratio_by = "volume"')
    (card,) = cards_of(plan)
    assert card.each.a_ml == pytest.approx(1000 * card.batches.litres_each * 2 / 3)
    assert card.each.b_ml == pytest.approx(1000 * card.batches.litres_each / 3)
    assert (card.by_weight, card.each.a_g) == (None, None)
    assert next_batch(plan, [card], 0.0) is None
    assert not [finding for finding in assess(plan).findings if finding.key.startswith("refused")]


def test_weighing_a_ratio_by_volume_says_what_it_needs(plan_toml: str) -> None:
    """Nothing guesses a density: the finding names it, and no bare ratio is shown as if it were by weight."""
    plan = planned(plan_toml, 'ratio_parts = [2, 1]\nratio_by = "volume"\nmeasure_by = "weight"')
    assessment = assess(plan)
    (refused,) = [finding for finding in assessment.findings if finding.key == "refused-mixing"]
    assert "2 : 1 by volume cannot be weighed without both densities" in say(refused.sentence)
    assert "measure it by volume, or add the density of A and of B" in say(refused.change)
    assert assessment.cards == ()


def test_a_batch_of_a_ratio_by_volume_cannot_be_weighed() -> None:
    """The check of a batch works by weight."""
    recipe = Recipe(Ratio(2, 1, "volume"))
    with pytest.raises(BadInput, match="both densities"):
        check(Weights(2000, 900), recipe, plan_from_text(BARE).resin.glass)
    assert (
        check(Weights(2000, 1000), Recipe(Ratio(2, 1, "weight")), plan_from_text(BARE).resin.glass).light
        is Light.OK
    )


def test_the_known_mistakes_of_one_measure_are_named_without_densities() -> None:
    """Swapped parts are swapped whatever they weigh; what only a density tells is not guessed."""
    recipe = Recipe(Ratio(100, 30, "weight"))
    assert "swapped" in name_mistake(Ratio(30, 100, "weight"), recipe)
    assert name_mistake(Ratio(100, 30, "volume"), recipe) == ""
    assert hardener_error_pct(Ratio(100, 33, "weight"), recipe.ratio, None, None) == pytest.approx(10.0)
    assert portions(1.3, recipe.ratio, None, None).b_g == pytest.approx(300.0)


BARE = """
title = "Bare (invented)"
[resin]
name = "R (invented)"
heat_of_cure_j_g = 400
rate = { k1_per_s = 1e-6, k2_per_s = 5e-5 }
[pour]
shape = "sheet"
depth_mm = 20
[air]
room_c = 21
"""
