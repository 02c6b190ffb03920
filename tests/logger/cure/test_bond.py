"""When the next layer bonds by itself."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.advice.bond import BondWindow, bond_window, coat_window, open_window
from logger.cure.advice.layering import layer_verdicts
from logger.cure.model.diffusion import conversion_at_tg, slow_down
from logger.cure.model.history import time_to
from logger.cure.model.kinetics import EARLIEST_GEL
from logger.cure.solver.prediction import predict
from logger.plan.file import Glass, Resin
from logger.words.reader import METRIC
from logger.words.render import say


def test_a_thin_coats_window_is_the_isothermal_one(plan_of, slow_casting):
    """2 mm stay at the room: the window opens at the gel point and closes where Tg is the room's, both within 3 %
    of the closed integral of the rate."""
    plan = plan_of(slow_casting, "sheet", 2.0, 25.0, run={"hours": 150.0})
    window = bond_window(plan, predict(plan))
    rate, slow = plan.resin.rate, slow_down(plan.resin)
    opens = time_to(EARLIEST_GEL, 25.0, rate, slow)
    closes = time_to(float(conversion_at_tg(25.0, plan.resin.glass)), 25.0, rate, slow)
    assert window.opens_h == pytest.approx(opens, rel=0.03)
    assert window.closes_h == pytest.approx(closes, rel=0.03)
    assert window.hard_h > window.closes_h


@pytest.mark.parametrize("room_c", [18.0, 25.0])
def test_a_brushed_coat_cures_at_the_rooms_temperature_whatever_the_pour_does(plan_of, slow_casting, room_c):
    """Opens and closes by the closed integral of the rate at the room's temperature, though the plan is a deep pour
    that warms itself and is tacky long before."""
    plan = plan_of(slow_casting, "sheet", 40.0, room_c, run={"hours": 200.0})
    coat, rate, slow = coat_window(plan), plan.resin.rate, slow_down(plan.resin)
    assert coat.opens_h == pytest.approx(time_to(EARLIEST_GEL, room_c, rate, slow), rel=0.01)
    glass = float(conversion_at_tg(room_c, plan.resin.glass))
    assert coat.closes_h == pytest.approx(time_to(glass, room_c, rate, slow), rel=0.01)
    assert coat.opens_h > bond_window(plan, predict(plan)).opens_h


@pytest.mark.parametrize(("room", "warmer"), [(18.0, 22.0), (22.0, 26.0)])
def test_a_warmer_room_opens_and_closes_it_earlier(plan_of, slow_casting, room, warmer):
    """The window moves forward with the room's temperature."""
    cool, warm = (plan_of(slow_casting, "river", 25.0, c) for c in (room, warmer))
    one, other = bond_window(cool, predict(cool)), bond_window(warm, predict(warm))
    assert one.open
    assert other.open
    assert other.opens_h < one.opens_h
    assert other.closes_h < one.closes_h


def test_three_times_three_verdicts():
    """Before, within and after the window a layer is too early, bonds, needs a scuff."""
    window = BondWindow(20.0, 30.0, 45.0)
    assert [window.at(h) for h in (0.0, 19.9, 20.0, 29.9, 30.0, 500.0)] == [
        "too early",
        "too early",
        "bonds",
        "bonds",
        "scuff",
        "scuff",
    ]
    assert "about 20 h to about 30 h" in say(window.message(), METRIC)
    assert "scuff" in say(window.message(), METRIC)


@pytest.mark.parametrize(
    ("glass", "told"),
    [
        ({"tg0_c": -20.0, "tg_inf_c": 110.0, "lambda": 0.4}, "before it gels"),
        ({"tg0_c": -5.0, "tg_inf_c": 150.0, "lambda": 0.6}, "without having gelled"),
    ],
)
def test_a_resin_that_is_glass_before_it_gels_has_no_window(plan_of, slow_casting, glass, told):
    """Where Tg at the gel point lies above the room, glass comes before gel ("Isothermal transitions of a thermosetting
    system", abstract: below that temperature only vitrification is seen): no window; far above it, no gel either."""
    plan = plan_of(dict(slow_casting, glass=glass), "sheet", 2.0, 20.0, run={"hours": 400.0})
    window = bond_window(plan, predict(plan))
    assert not window.open
    assert "bonds" not in {window.at(h) for h in np.linspace(0, 1440, 100)}
    assert told in say(window.message(), METRIC)


def test_a_surface_that_never_gels_is_told(plan_of, slow_casting):
    """At 0 °C a slow system does not gel within 60 days (cold-cure rule: at 0 °C no cure): no next layer."""
    plan = plan_of(slow_casting, "sheet", 10.0, -5.0)
    slowest = dict(slow_casting, rate=dict(slow_casting["rate"], k1_per_s=1e-8, k2_per_s=1e-6))
    plan = plan_of(slowest, "sheet", 10.0, -5.0)
    window = bond_window(plan, predict(plan))
    assert window.opens_h is None
    assert window.at(1000.0) == "too early"
    assert "warm the room" in say(window.message(), METRIC)


def test_planned_layers_are_judged_by_the_surface_that_they_find(plan_of, slow_casting):
    """A second layer after 6 h is too early, one in the window bonds, one after two weeks needs a scuff; the hours
    come from a prediction without the layer itself."""
    alone = plan_of(slow_casting, "sheet", 25.0, 22.0)
    window = bond_window(alone, predict(alone))
    inside = 0.5 * (window.opens_h + window.closes_h)
    for at_h, verdict in ((6.0, "too early"), (inside, "bonds"), (336.0, "scuff")):
        plan = alone.model_copy(
            update={
                "layer": plan_of(
                    slow_casting, "sheet", 25.0, 22.0, layer=[{"at_h": at_h, "depth_mm": 20.0}]
                ).layer
            }
        )
        (found,) = layer_verdicts(plan)
        assert (found.layer, found.verdict) == (2, verdict)
        assert found.window.opens_h == pytest.approx(window.opens_h, rel=0.02)
        assert f"at {at_h:.3g} h" in say(found.message, METRIC)


def test_a_third_layer_looks_at_the_second(plan_of, slow_casting):
    """Each layer's window counts from the layer under it: ten hours after the second, the third is too early."""
    alone = plan_of(slow_casting, "sheet", 20.0, 24.0)
    window = bond_window(alone, predict(alone))
    at_h = 0.5 * (window.opens_h + window.closes_h)
    layers = [{"at_h": at_h, "depth_mm": 20.0}, {"at_h": at_h + 10, "depth_mm": 20.0}]
    second, third = layer_verdicts(plan_of(slow_casting, "sheet", 20.0, 24.0, layer=layers))
    assert second.verdict == "bonds"
    assert third.verdict == "too early"
    assert third.window.opens_h > at_h + 10
    assert third.window.closes_h > third.window.opens_h


def test_an_unstated_glass_transition_leaves_the_hours_open(plan_of, slow_casting):
    """The surface's glass and hardness come within a range; its ends are those of a resin that states either end."""
    plan = plan_of(slow_casting, "river", 30.0, 22.0)
    prediction = predict(plan)
    found = open_window(plan, prediction)
    assert found is not None
    for at, celsius in ((1, 65.0), (0, 105.0)):
        stated = plan.model_copy(
            update={"resin": plan.resin.model_copy(update={"glass": Glass(tg_inf_c=celsius)})}
        )
        assert open_window(stated, prediction) is None
        window = bond_window(stated, prediction)
        assert (found.closes_h[at], found.hard_h[at]) == (window.closes_h, window.hard_h)
    assert found.closes_h[0] < bond_window(plan, prediction).closes_h < found.closes_h[1]


def test_a_default_that_is_written_does_not_become_a_statement(plan_of, slow_casting):
    """A plan is written and read again, and a table of an older program too: only what somebody stated is stated."""
    plan = plan_of(slow_casting, "river", 30.0, 22.0)
    table = plan.resin.model_dump(exclude_none=True, mode="json")
    assert not Resin.model_validate(table).glass.stated
    older = table | {"glass": {"tg0_c": -40.0, "tg_inf_c": 85.0, "lambda": 0.4}}
    assert not Resin.model_validate(older).glass.stated
    said = Resin.model_validate(table | {"glass": {"tg_inf_c": 85.0}})
    assert said.glass.stated
    assert Resin.model_validate(said.model_dump(mode="json", exclude_none=True)).glass.stated
