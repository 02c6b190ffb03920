"""What every shop knows, as plausibility checks of the whole cure model. Common practice, no source: all of them.

The two resin systems are invented (conftest.py).
"""

from __future__ import annotations

import pytest

from logger.cure.solver.hardness import SOFT, field_hours, milestones
from logger.cure.solver.march import Accuracy
from logger.cure.solver.prediction import predict
from logger.words.reader import METRIC
from logger.words.render import say

#: Long steps, some tenths of a kelvin off: enough where the fact is tens of kelvins wide.
QUICK = {"fineness": 0.6, "accuracy": Accuracy(kelvin=0.1, part_of_rise=3e-3, conversion=1e-3)}


@pytest.mark.parametrize("shape", ["river", "round"])
def test_a_slow_system_at_its_depth_limit_is_safe_in_a_mild_room_only(plan_of, slow_casting, shape):
    """50 mm in a 22 °C room with free air below stays under 60 °C; in a 32 °C room it does not, by far."""
    free = {"form": {"underside": "open"}}
    assert predict(plan_of(slow_casting, shape, 50.0, 22.0, **free)).peak_c < 60.0
    assert predict(plan_of(slow_casting, shape, 50.0, 32.0, **free), **QUICK).peak_c > 100.0


def test_a_quick_coating_poured_deep_overheats_badly(plan_of, quick_coating):
    """Fine at 3 mm, dangerous at 38 mm: it goes past 150 °C, and the plan is warned about."""
    assert predict(plan_of(quick_coating, "sheet", 3.0, 22.0, run={"hours": 24.0})).peak_c < 32.0
    deep = predict(plan_of(quick_coating, "sheet", 38.0, 22.0, run={"hours": 3.0}), **QUICK)
    assert deep.peak_c > 150.0
    assert any("6 mm" in say(told, METRIC) for told in deep.warnings)


def test_eighty_litres_without_air_run_far_hotter_than_with_fans(plan_of, slow_casting):
    """80 litres, 50 mm deep, in a 24 °C room: with a fan above and free air below tens of kelvins cooler."""
    size = {"width_mm": 500.0, "length_mm": 3200.0}
    still = predict(
        plan_of(slow_casting, "river", 50.0, 24.0, pour=size, form={"underside": "closed"}), **QUICK
    )
    air = {"form": {"underside": "open"}, "air": {"top_air_m_s": 3.0}}
    moved = predict(plan_of(slow_casting, "river", 50.0, 24.0, pour=size, **air), **QUICK)
    assert still.peak_c > moved.peak_c + 30.0


@pytest.mark.parametrize("room_c", [8.0, 12.0])
def test_a_cold_room_leaves_it_soft_after_three_days(plan_of, slow_casting, room_c):
    """After 72 h in a cold room nothing of it is hard, while 22 °C has most of it past the thumbnail."""
    cold = plan_of(slow_casting, "river", 50.0, room_c)
    warm = plan_of(slow_casting, "river", 50.0, 22.0)
    after = milestones(cold, predict(cold, field_hours=field_hours(cold), **QUICK))
    assert all(steps.at_end.margin_k < 0.0 for steps in after.places)
    mild = milestones(warm, predict(warm, **QUICK)).place("core")
    assert mild.at_end.word not in (SOFT, "liquid")


def test_a_warmer_mix_and_a_deeper_pour_run_hotter_and_sooner(plan_of, slow_casting):
    """Depth and room raise the peak and bring it forward; a warm mix, which has cooled by then, only forward."""
    base = predict(plan_of(slow_casting, "sheet", 40.0, 23.0))
    deeper = predict(plan_of(slow_casting, "sheet", 44.0, 23.0))
    warmer = predict(plan_of(slow_casting, "sheet", 40.0, 25.0))
    warm_mix = predict(plan_of(slow_casting, "sheet", 40.0, 23.0, pour={"start_c": 30.0}))
    assert min(deeper.peak_c, warmer.peak_c) > base.peak_c + 0.5
    assert max(deeper.peak_at_h, warmer.peak_at_h, warm_mix.peak_at_h) < base.peak_at_h


def test_two_thin_layers_run_cooler_than_one_thick_one(plan_of, slow_casting):
    """50 mm poured as two layers two days apart stays far below one layer of 50 mm."""
    once = predict(plan_of(slow_casting, "sheet", 50.0, 26.0), **QUICK)
    layers = [{"at_h": 48.0, "depth_mm": 25.0}]
    twice = predict(plan_of(slow_casting, "sheet", 25.0, 26.0, layer=layers, run={"hours": 120.0}), **QUICK)
    assert twice.peak_c < once.peak_c - 20.0
