"""Pails and the mixing card."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import BadInput, OutOfRange
from logger.plan.planning_tables import Mix
from logger.planning.physics.batches import SAFE_PART, MixingBench, card, mixing_steps, plan_batches
from logger.words.render import say

#: Invented.
MIX = Mix(density_a_kg_m3=1150.0, density_b_kg_m3=950.0, ratio_parts=(2.0, 1.0), ratio_by="weight")


def test_the_fewest_equal_pails_that_keep_to_the_time() -> None:
    """30 L with an hour a pail: two pails of 20 L, 15 L each, not thirty small ones."""
    found = plan_batches(30, 1100, MixingBench([5, 10, 20, 30], fill_pct=80), lambda _: 60.0)

    assert (found.count, found.pail_l, found.litres_each) == (2, 20, 15.0)
    assert found.enough_time


def test_a_quick_resin_asks_for_less_in_each_pail() -> None:
    """By size two pails of 20 L would do; the clock asks for more and smaller ones (invented times)."""
    slow = plan_batches(20, 1100, MixingBench([2.5, 5, 20], fill_pct=80, mix_min=4), lambda _: 600.0)
    quick = plan_batches(20, 1100, MixingBench([2.5, 5, 20], fill_pct=80, mix_min=4), lambda kg: 40 / kg)

    assert (slow.count, slow.pail_l) == (2, 20)
    assert (quick.count, quick.pail_l) == (8, 5)
    assert quick.enough_time


def test_a_large_pail_is_filled_less_rather_than_left_to_set() -> None:
    """With only 20 L pails, 14 L lasts too short: three of 6.7 L do (working time falling with mass, invented)."""
    found = plan_batches(20, 1000, MixingBench([20], mix_min=4), lambda kg: 160 / kg)

    assert (found.count, found.enough_time) == (3, True)


def test_when_no_pail_is_small_enough_it_says_so() -> None:
    """Six minutes of working time and eight of work: nothing is hidden."""
    found = plan_batches(10, 1100, MixingBench([5, 10]), lambda _: 6.0)

    assert not found.enough_time
    assert found.time_used > 1


def test_the_scale_sets_the_largest_batch() -> None:
    """A 5 kg scale never gets a 10 kg pail."""
    assert plan_batches(20, 1000, MixingBench([20], max_kg=5), lambda _: 600.0).kg_each <= 5


def test_the_card_has_both_measures_and_every_step() -> None:
    """Weights and volumes, scrapes each two minutes, the second pail, and the cautions; it is plain JSON."""
    found = card("Table", plan_batches(10, 1074.6, MixingBench([20]), lambda _: 300.0), MIX)
    told = found.to_json()

    assert told["part_a_g"] == pytest.approx(7164, abs=1)  # by hand: 10 L at 1074.6, 2 : 1 by weight
    assert told["part_b_g"] == pytest.approx(3582, abs=1)
    assert told["ratio_by_volume"][0] / told["ratio_by_volume"][1] == pytest.approx(1.652, abs=1e-3)
    assert [step.at_min for step in found.steps] == [0, 2, 4, 6, 6, 8]
    assert any("second pail" in say(step.what) for step in found.steps)
    assert any("safety data sheet" in say(caution) for caution in found.cautions)
    assert json.loads(json.dumps(told)) == told


def test_a_card_is_poured_out_by_half_the_working_time() -> None:
    """SAFE_PART is this project's choice."""
    found = card("Table", plan_batches(10, 1100, MixingBench([20]), lambda _: 300.0), MIX)

    assert found.use_by_min == pytest.approx(SAFE_PART.value * 300)


def test_no_pails_is_refused() -> None:
    """An empty list names what it is of, and the remedy."""
    with pytest.raises(BadInput, match="sizes of the pails"):
        plan_batches(10, 1100, MixingBench([]), lambda _: 60.0)


@pytest.mark.parametrize("litres", [0.0, -3.0, math.nan])
def test_no_volume_is_refused(litres: float) -> None:
    """Value, unit and remedy."""
    with pytest.raises(OutOfRange, match="L"):
        plan_batches(litres, 1100, MixingBench([10]), lambda _: 60.0)


def test_no_time_to_mix_is_refused() -> None:
    """A card without stirring is no card."""
    with pytest.raises(OutOfRange, match="min"):
        mixing_steps(0)


@given(
    litres=st.floats(0.1, 500),
    sizes=st.lists(st.floats(0.5, 60), min_size=1, max_size=5),
    minutes=st.floats(1, 2000),
    fill=st.floats(10, 100),
)
def test_the_pails_hold_the_pour_and_are_never_overfull(
    litres: float, sizes: list[float], minutes: float, fill: float
) -> None:
    """All pails together are the volume, none above its fill, and the time is told truly."""
    found = plan_batches(litres, 1100, MixingBench(sizes, fill_pct=fill), lambda _: minutes)

    assert found.count * found.litres_each == pytest.approx(litres)
    assert found.litres_each <= found.pail_l * fill / 100 * (1 + 1e-6)
    assert found.enough_time == (found.needed_min <= SAFE_PART.value * found.working_time_min)
