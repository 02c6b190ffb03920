"""What a plan comes to in each of the resins that its datasheet leaves possible.

The datasheet leaves the resin open, and nobody knows how well a form sheds heat before it stands there: each member is
one of the equally likely resins with its own coefficients.
"""

from __future__ import annotations

import numpy as np

from logger import extremes
from logger.arrays import Floats
from logger.cure.solver.ensemble import EnsembleRun, Members, run_ensemble
from logger.cure.solver.march import Accuracy, Resolution
from logger.cure.solver.prediction import long_enough, stop_after_peak
from logger.plan.file import Plan, Possible

#: How far the coefficients of top, bottom and sides may be off, as a natural logarithm; the mix as poured, K. Narrower
#: than what a forecast allows for a pour in trouble: this is still air over a form as planned. Project values.
FACE_SD, START_SD_K = 0.20, 0.5
#: Looser than a prediction: peaks of members are within a kelvin of it.
QUICKLY = Resolution(0.6, Accuracy(kelvin=0.3, part_of_rise=0.01, conversion=3e-3, rebuild_part=0.25))


def member_peaks(plan: Plan, members: Members) -> tuple[Floats, Floats]:
    """Return each member's highest temperature at the core and of the hottest point, °C (M,) each."""
    hours = long_enough(slowest(plan, members)).run.hours
    # Nobody asks how much hotter than this a runaway gets.
    stop = stop_after_peak(plan, extremes.BEYOND_C)
    result = run_ensemble(plan, members, EnsembleRun(hours, [0.0], resolution=QUICKLY, stop=stop))
    return result.core_peak_c, result.hottest_peak_c


def members_of(possible: Possible) -> Members:
    """Return the equally likely resins, each with its own coefficients and start: the same every time."""
    count = len(possible.rate)
    rng = np.random.default_rng(20)
    faces = np.exp(FACE_SD * _spread(rng, count, 3))
    return Members(
        rate_factor=np.array(possible.rate),
        first_factor=np.array(possible.first),
        e_factor=np.array(possible.energy),
        heat_factor=np.array(possible.heat),
        top_factor=faces[:, 0],
        bottom_factor=faces[:, 1],
        side_factor=faces[:, 2],
        start_offset_c=START_SD_K * _spread(rng, count, 1)[:, 0],
    )


def _spread(rng: np.random.Generator, count: int, columns: int) -> Floats:
    """Return standard normal numbers (count, columns) whose mean is 0 in each column: each with its mirror image."""
    half = rng.standard_normal(((count + 1) // 2, columns))
    both = np.vstack([half, -half])[:count]
    return np.asarray(np.column_stack([rng.permutation(column) for column in both.T]))


def slowest(plan: Plan, members: Members) -> Plan:
    """Return the plan with the slowest of the members as its resin, so that each peak falls inside the run."""
    slowest = float(np.min(np.asarray(members.rate_factor)))
    rate = plan.resin.rate
    rate = rate.model_copy(update={"k1_per_s": rate.k1_per_s * slowest, "k2_per_s": rate.k2_per_s * slowest})
    return plan.model_copy(update={"resin": plan.resin.model_copy(update={"rate": rate})})
