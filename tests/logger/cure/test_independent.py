"""The whole prediction against a second solver on another kind of mesh (tests/bench/independent.py)."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest

from logger.cure.solver.prediction import predict


def judge():
    """The second solver. Loaded by its path: some packages install a `tests` of their own, which hides ours."""
    place = Path(__file__).parents[2] / "bench" / "independent.py"
    spec = importlib.util.spec_from_file_location("independent", place)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # its dataclass looks itself up there
    spec.loader.exec_module(module)
    return module


JUDGE = judge()

#: Rivers, rounds and sheets; 5 and 23 run away. All 36 are judged in tests/bench/solver_against_scipy.py.
SEEDS = (0, 2, 3, 5, 8, 13, 19, 20, 23, 27, 31, 33)


@pytest.mark.parametrize("seed", SEEDS)
def test_peak_hour_and_conversion_agree_with_scipy_on_another_mesh(seed):
    """Within 0.3 °C below 100 °C and 1 % of the rise above, 1 % of the hour; scipy BDF, two meshes extrapolated."""
    plan = JUDGE.draw_plan(seed)
    ours = predict(plan)
    middle, fine = JUDGE.solve(plan, fine=1.0), JUDGE.solve(plan, fine=1.5)
    limit = fine.peak_c + (fine.peak_c - middle.peak_c) / (1.5**2 - 1)
    start = max(plan.pour.start_c, plan.room_schedule()[0][1])
    assert ours.peak_c == pytest.approx(limit, abs=0.3 if limit < 100 else 0.01 * (limit - start))
    assert ours.peak_at_h == pytest.approx(fine.peak_at_h, rel=0.01)
    assert ours.end_mean_conversion == pytest.approx(fine.mean_conversion, abs=0.003)
    assert ours.heat_balance_error <= 1e-4
