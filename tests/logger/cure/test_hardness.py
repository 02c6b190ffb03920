"""Hardness, release and full cure: DiBenedetto's numbers, the words, and trade facts."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.cure.model.history import time_to
from logger.cure.model.kinetics import glass_transition_c
from logger.cure.solver.hardness import (
    FINGERNAIL,
    FULL,
    HARD,
    HARD_K,
    LIQUID,
    SOFT,
    field_hours,
    hardness,
    lasting_from,
    milestones,
    thinned,
)
from logger.cure.solver.prediction import predict
from logger.plan.file import Glass

ORDER = [LIQUID, SOFT, FINGERNAIL, HARD, FULL]

# DiBenedetto's equation (as public codes have it) worked by hand. First set: ends published for a DGEBA
# with an aliphatic polyamine (monomer −22 °C; full cure 124 °C, Polímeros/SciELO); second: Wisanrakkit & Gillham
# 1990 (from memory).
PUBLISHED = [
    ((-22.0, 124.0, 0.40), [0, 0.25, 0.5, 0.577, 0.75, 0.9, 1], [-22.0, -4.82, 19.71, 29.54, 57.64, 92.26, 124.0]),
    ((-19.0, 178.0, 0.46), [0, 0.25, 0.5, 0.577, 0.75, 0.9, 1], [-19.0, 7.19, 43.07, 56.95, 95.23, 139.67, 178.0]),
]  # fmt: skip


@pytest.mark.parametrize(("numbers", "conversions", "expected"), PUBLISHED)
def test_the_glass_transition_is_dibenedettos(numbers, conversions, expected):
    """Seven values of each curve, to a hundredth of a degree, both ends exact."""
    glass = Glass.model_validate(dict(zip(("tg0_c", "tg_inf_c", "lambda"), numbers, strict=True)))
    assert glass_transition_c(np.array(conversions), glass) == pytest.approx(np.array(expected), abs=0.006)


def test_the_words_follow_each_other():
    """At 22 °C a cure goes through the words in their order, and the word changes where its threshold says."""
    glass = Glass()
    words = [hardness(a, 22.0, glass).word for a in np.linspace(0, 1, 401)]
    assert list(dict.fromkeys(words)) == ORDER
    first_hard = np.linspace(0, 1, 401)[words.index(HARD)]
    assert float(glass_transition_c(first_hard, glass)) == pytest.approx(22.0 + HARD_K, abs=1.0)


@given(
    lower=st.floats(min_value=0, max_value=1),
    more=st.floats(min_value=0, max_value=1),
    celsius=st.floats(min_value=0, max_value=60),
)
def test_more_cure_is_never_softer(lower, more, celsius):
    """At one temperature a higher conversion never gets a softer word."""
    soft = hardness(lower, celsius, Glass())
    hard = hardness(min(1.0, lower + more), celsius, Glass())
    assert ORDER.index(hard.word) >= ORDER.index(soft.word)
    assert hard.margin_k >= soft.margin_k


def test_a_hot_casting_is_not_yet_hard():
    """A core at 90 °C with a Tg of 80 °C is rubber, whatever it will be when it has cooled."""
    assert hardness(0.98, 90.0, Glass()).word == SOFT
    assert hardness(0.98, 22.0, Glass()).word == FULL


def test_a_lasting_hour_is_read_between_two_points():
    """The hour from which values stay above a level: between points, never, and from the start."""
    hours = np.linspace(0, 400, 801)
    assert lasting_from(hours, hours, 120.25) == pytest.approx(120.25)
    assert lasting_from(hours, -hours, -10.0) is None
    assert lasting_from(hours, hours + 1, 0.0) == 0.0


def test_a_thin_sheet_gets_hard_when_the_isothermal_cure_does(plan_of, slow_casting):
    """2 mm of resin stay within a kelvin of the room, so the hours agree with the closed integral within 3 %."""
    from_plan = plan_of(slow_casting, "sheet", 2.0, 25.0, run={"hours": 150.0})
    found = milestones(from_plan, predict(from_plan))
    gel_h = time_to(3**-0.5, 25.0, from_plan.resin.rate)
    assert found.place("core").gelled_h == pytest.approx(gel_h, rel=0.03)
    assert found.place("surface").gelled_h == pytest.approx(gel_h, rel=0.03)


def test_the_order_of_the_places_and_of_the_steps(plan_of, slow_casting):
    """The core is ahead of the least cured place; in each, gel comes before the thumbnail and hard before full."""
    plan = plan_of(slow_casting, "river", 45.0, 22.0)
    found = milestones(plan, predict(plan, field_hours=field_hours(plan)))
    core, least = found.place("core"), found.place("least cured")
    assert core.conversion_at_end > least.conversion_at_end
    for steps in found.places:
        assert steps.gelled_h < steps.fingernail_h < steps.hard_h < steps.full_h
    assert found.release_h >= least.hard_h
    assert found.full_cure_h >= least.full_h
    assert found.softest_at_end.margin_k == min(s.at_end.margin_k for s in found.places)


def test_the_least_cured_place_agrees_with_the_solvers_field(plan_of, slow_casting):
    """Followed along its own temperatures it ends within 0.01 of the solver's least conversion (before glass)."""
    plan = plan_of(slow_casting, "river", 45.0, 20.0)
    prediction = predict(plan, field_hours=field_hours(plan))
    least = milestones(plan, prediction).place("least cured")
    assert least.conversion_at_end == pytest.approx(prediction.end_least_conversion, abs=0.01)


def test_a_twelve_degree_room_leaves_it_soft_after_three_days(plan_of, slow_casting):
    """Common practice, no source: at 12 °C a slow casting is still soft after three days, everywhere."""
    plan = plan_of(slow_casting, "river", 50.0, 12.0)
    found = milestones(plan, predict(plan, field_hours=field_hours(plan)))
    assert {steps.at_end.word for steps in found.places} <= {LIQUID, SOFT}
    assert found.release_h > 120


def test_without_fields_only_core_and_surface_are_told(plan_of, slow_casting):
    """A prediction without fields gives no place that it does not know."""
    plan = plan_of(slow_casting, "sheet", 30.0, 22.0)
    prediction = predict(plan)
    assert [steps.place for steps in milestones(plan, prediction).places] == ["surface", "core"]
    with_fields = dataclasses.replace(prediction, fields=predict(plan, field_hours=field_hours(plan)).fields)
    assert len(milestones(plan, with_fields).places) == 3


def test_a_later_layer_counts_from_its_own_pour(plan_of, slow_casting):
    """With a second layer at 48 h the surface that matters is the new one: it gels after 48 h."""
    plan = plan_of(
        slow_casting, "sheet", 25.0, 24.0, layer=[{"at_h": 48.0, "depth_mm": 20.0}], run={"hours": 120.0}
    )
    found = milestones(plan, predict(plan))
    assert found.place("surface").gelled_h > 48.0 + 10.0
    assert [steps.place for steps in found.places] == ["surface"]


def test_thinning_keeps_the_curve():
    """The thinned history is within half a kelvin of the whole one everywhere."""
    hours = np.linspace(0, 48, 577)
    celsius = 22 + 40 * np.exp(-(((hours - 20) / 2) ** 2))
    at, few = thinned(hours, celsius)
    assert len(at) < 0.5 * len(hours)
    assert np.abs(np.interp(hours, at, few) - celsius).max() < 0.5
