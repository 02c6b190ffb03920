"""A law of air is not carried beyond where it was measured without a word (ranges: Incropera & DeWitt, ch. 7 and 9)."""

from __future__ import annotations

import pytest

from logger.cure.model.heat_transfer import AIR_DIFFUSIVITY, AIR_VISCOSITY, rayleigh
from logger.cure.solver.laws_left import FILM_C, Range, laws_left
from logger.cure.solver.prediction import predict_coarsely


def codes(plan):
    """What is said of a plan."""
    return [one.code for one in laws_left(plan, predict_coarsely(plan))]


def test_a_usual_table_leaves_no_law(plan_of, slow_casting):
    """250 mm of river, 40 mm deep: every face within its range."""
    assert codes(plan_of(slow_casting, "river", 40.0, 22.0)) == []


def test_a_thumbnail_of_resin_is_smaller_than_what_was_measured(plan_of, quick_coating):
    """30 mm across in a thin ring: Ra is below 10⁴ over it, where Nu = 0.54 Ra^¼ begins, and below 10⁵ under it."""
    ring = {"thickness_mm": 2.0}
    form = {"underside": "open", "side": ring, "bottom": ring}
    plan = plan_of(quick_coating, "round", 25.0, 24.0, pour={"width_mm": 30.0}, form=form)
    assert codes(plan) == ["law-left-small-top", "law-left-small-underside"]


def test_a_small_pour_that_stays_at_the_room_needs_no_law(plan_of, slow_casting):
    """What is never 3 K from the room gives nothing off that would matter."""
    ring = {"thickness_mm": 2.0}
    form = {"underside": "open", "side": ring, "bottom": ring}
    assert codes(plan_of(slow_casting, "round", 5.0, 22.0, pour={"width_mm": 30.0}, form=form)) == []


def test_a_fan_beyond_the_flat_plates_range_is_said(plan_of, slow_casting, monkeypatch):
    """20 m/s over a table stays below Re = 10⁸, the end of the flat plate's range; with that end at 10⁵ it is said."""
    plan = plan_of(slow_casting, "river", 40.0, 22.0, air={"top_air_m_s": 20.0})
    assert codes(plan) == []
    monkeypatch.setattr("logger.cure.solver.laws_left.DRIVEN", Range(0.0, 1e5))
    assert codes(plan) == ["law-left-driven"]


@pytest.mark.parametrize(
    ("kelvin", "nu", "alpha", "conductivity"),
    # Incropera & DeWitt, table A.4, air at 1 atm (from memory)
    [(250, 11.44e-6, 15.9e-6, 0.0223), (350, 20.92e-6, 29.9e-6, 0.0300), (400, 26.41e-6, 38.3e-6, 0.0338)],
)
def test_air_of_27_degrees_stands_for_the_film_within_six_percent(kelvin, nu, alpha, conductivity):
    """h ∝ k Ra^¼ and k Ra^⅓ with the film's own air against that of 300 K; 400 K lies outside its range."""
    for power in (1 / 4, 1 / 3):
        own = conductivity * (1 / (nu * alpha)) ** power
        taken = 0.0263 * (1 / (AIR_VISCOSITY * AIR_DIFFUSIVITY)) ** power
        off = abs(taken / own - 1)
        assert off < (0.062 if FILM_C[0] <= kelvin - 273.15 <= FILM_C[1] else 0.11)


def test_the_number_that_is_compared_is_the_rayleigh_number():
    """A cube of the length and straight in the difference (closed form)."""
    assert rayleigh(32.0, 22.0, 0.2) == pytest.approx(8 * rayleigh(32.0, 22.0, 0.1))
