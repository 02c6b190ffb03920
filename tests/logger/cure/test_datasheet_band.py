"""The band of a pour whose resin is known by a depth and a working time alone, against a simulator of the tests' own.

All 200 resins are judged in tests/bench/depth_and_time.py; a fixed handful stands here. All of them are invented.
"""

from __future__ import annotations

import numpy as np
import pytest

from logger.plan.file import plan_from_table
from tests.bench import independent
from tests.bench.depth_and_time import judge
from tests.bench.invented_resins import PANEL, PANEL_M, WOOD, WOOD_M, draw_case, pour_peak

#: Cases of the bench: a quick, a medium and a slow system.
SEEDS = (20_000, 20_002, 20_004)


@pytest.fixture(scope="module")
def judged():
    """Each case fitted from its depth and its working time, and its river simulated."""
    return [judge(seed) for seed in SEEDS]


def test_the_true_peak_lies_inside_the_band(judged):
    """Nine in ten of 200 do (see the bench); of these three at most one may lie outside, and by little."""
    outside = [one for one in judged if not one.inside]
    assert len(outside) <= 1
    for one in judged:
        width = one.high_c - one.low_c
        assert one.low_c - 0.5 * width < one.true_c < one.high_c + 0.5 * width
        assert width < 45.0, "a band that holds everything says nothing"


def test_a_pour_within_the_datasheet_is_not_stopped_and_twice_as_deep_is(judged):
    """In some room that the datasheet allows, on a bench or on trestles; twice as deep at 27 °C."""
    assert [one.stopped_inside for one in judged] == [()] * len(judged)
    assert all("too-deep" in one.stopped_twice for one in judged)
    assert sum("too-hot" in one.stopped_twice for one in judged) >= len(judged) - 1


def test_the_simulator_agrees_with_scipy_on_another_mesh():
    """Who judges is judged: within 0.5 K of scipy's BDF on a mesh of nodes (tests/bench/independent.py)."""
    case = draw_case(np.random.default_rng(SEEDS[2]))
    resin, (top, bottom, side) = case.resin, case.films
    panel, wood = (
        {"conductivity_w_mk": k, "density_kg_m3": 700.0, "specific_heat_j_kgk": c / 700.0}
        for k, c in (PANEL, WOOD)
    )
    plan = plan_from_table(
        {
            "title": "x",
            "resin": {
                "name": "invented",
                "density_kg_m3": resin.density,
                "specific_heat_j_kgk": resin.specific,
                "conductivity_w_mk": resin.conductivity,
                "heat_of_cure_j_g": float(resin.heat),
                "rate": {
                    "k1_per_s": float(resin.k1),
                    "k2_per_s": float(resin.k2),
                    "e1_j_mol": float(resin.energy),
                    "e2_j_mol": float(resin.energy),
                    "m": resin.m,
                    "n": resin.n,
                },
            },
            "pour": {"shape": "river", "depth_mm": case.depth_mm, "width_mm": case.width_mm},
            "form": {
                "bottom": panel | {"thickness_mm": 1000 * PANEL_M},
                "side": wood | {"thickness_mm": 1000 * WOOD_M},
            },
            "air": {"room_c": case.room_c, "top_w_m2k": top, "bottom_w_m2k": bottom, "side_w_m2k": side},
            "run": {"hours": 200.0},
        }
    )
    _, hottest_c = pour_peak(
        resin, case.depth_mm, case.room_c, case.films, case.width_mm, cells=24, per_cure=1500
    )
    assert hottest_c == pytest.approx(independent.solve(plan, fine=1.5).peak_c, abs=0.5)
