"""Do a plan's chances hold? Run: python tests/bench/plan_chances.py [plans] [first seed] [independent]

Random plans of invented resins, from harmless to running away; for each one truth is drawn from what nobody knows of
it (the same spreads, other draws) and solved as `predict` does at full accuracy, or, with `independent`, by the second
solver of `independent.py`, which knows liquid at rest only: there nothing moves in the members either. Printed: how
often the truth lies in the 90 % band of the peak, and, in ten bins of the chance to pass the limit, how often it does.
Coverage outside 85 to 97 %, or a bin further from its chance than luck allows (99 % of a binomial), ends with exit
code 1. It judges members, mesh and steps; that the spreads are those of a workshop is judged by nothing here.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np
from independent import draw_plan, solve
from scipy.stats import binom

from logger.cure.forecast.parameters import parameters_of
from logger.cure.solver.planned_band import FACE_SD, START_SD_K
from logger.cure.solver.prediction import long_enough, predict
from logger.errors import DidNotConverge
from logger.extremes import BEYOND_C
from logger.plan.file import Plan, plan_from_table, plan_to_table
from logger.planning.chances import ROOM_SD_K, START_UNSAID_SD_K, draws_of, quick_chances

LEAST, MOST = 0.85, 0.97
#: A plan near its limit: drawn depths are scaled by one of these.
DEPTHS = (0.7, 1.5)


@dataclass(frozen=True)
class Case:
    """A plan's chances, and what came of it: the truth's peak, °C."""

    seed: int
    low_c: float
    high_c: float
    chance: float
    truth_c: float
    seconds: float

    @property
    def inside(self) -> bool:
        """Whether the truth lies in the band; beyond what the model knows all peaks are alike."""
        low, truth, high = (min(celsius, BEYOND_C) for celsius in (self.low_c, self.truth_c, self.high_c))
        return low <= truth <= high


def near_its_limit(seed: int) -> Plan:
    """Return a random plan whose depth is drawn around where its resin begins to run away."""
    draw = np.random.default_rng(10_000 + seed)
    table = plan_to_table(draw_plan(seed))
    table["pour"]["depth_mm"] *= float(draw.uniform(*DEPTHS))
    if draw.random() < 0.5:
        del table["pour"]["start_c"]
    return plan_from_table(table)


def truth_of(plan: Plan, seed: int) -> Plan:
    """Return the plan as it turns out: every unknown drawn once."""
    draw = np.random.default_rng(20_000 + seed)
    spread = {one.name: one.spread for one in parameters_of(plan)}
    table = plan_to_table(plan)
    factor = {name: float(np.exp(sd * draw.standard_normal())) for name, sd in spread.items()}
    rate = table["resin"]["rate"]
    rate["k1_per_s"] *= factor["rate_factor"] * factor["first_factor"]
    rate["k2_per_s"] *= factor["rate_factor"]
    for name in ("e1_j_mol", "e2_j_mol"):
        rate[name] = getattr(plan.resin.rate, name) * factor["e_factor"]
    table["resin"]["heat_of_cure_j_g"] *= factor["heat_factor"]
    for face in ("top_w_m2k", "bottom_w_m2k", "side_w_m2k"):
        table["air"][face] *= float(np.exp(FACE_SD * draw.standard_normal()))
    room = float(plan.room_schedule()[0][1])
    table["air"]["room_c"] = room + ROOM_SD_K * draw.standard_normal()
    start_c, start = plan.pour.start_c, draw.standard_normal()
    table["pour"]["start_c"] = (
        table["air"]["room_c"] + START_UNSAID_SD_K * start
        if start_c is None
        else start_c + START_SD_K * start
    )
    return plan_from_table(table)


def judged(seed: int, *, independent: bool) -> Case:
    """Return one plan's case."""
    plan = near_its_limit(seed)
    began = time.process_time()
    drawn = draws_of(plan)
    chances = quick_chances(plan, drawn | {"flow": 0.0 * drawn["flow"]} if independent else drawn)
    seconds = time.process_time() - began
    truth = long_enough(truth_of(plan, seed))
    flow = float(np.random.default_rng(30_000 + seed).uniform())
    peak_c = solve(truth).peak_c if independent else predict(truth, flow_factor=flow).peak_c
    return Case(seed, chances.peak_c(0.05), chances.peak_c(0.95), chances.over, peak_c, seconds)


def main(plans: int = 100, first: int = 0, *, independent: bool = False) -> int:
    """Print the tables; return the exit code."""
    cases, limit_c = [], 60.0
    for seed in range(first, first + plans):
        try:
            cases.append(judged(seed, independent=independent))
        except DidNotConverge as error:
            print(f"{seed}: not solved: {error}")
    inside = np.mean([case.inside for case in cases])
    below = sum(case.truth_c < case.low_c and not case.inside for case in cases)
    above = sum(case.truth_c > case.high_c and not case.inside for case in cases)
    print(f"{len(cases)} plans: {100 * inside:.1f} % in the 90 % band ({below} below, {above} above)")
    print(f"{np.median([case.seconds for case in cases]):.2f} s of a core for each plan's chances (median)")
    failed = not LEAST <= inside <= MOST
    print("chance over the limit    plans  expected  passed  ")
    for low in np.arange(0.0, 1.0, 0.1):
        among = [case for case in cases if low <= case.chance < low + 0.1 or case.chance == low + 0.1 == 1.0]
        if not among:
            continue
        mean = float(np.mean([case.chance for case in among]))
        passed = sum(case.truth_c > limit_c for case in among)
        least, most = binom.ppf((0.005, 0.995), len(among), min(max(mean, 0.02), 0.98))
        ok = least <= passed <= most
        failed = failed or not ok
        print(
            f"{100 * low:3.0f} to {100 * low + 10:3.0f} %  {len(among):12d}  {mean * len(among):8.1f}  {passed:6d}"
            f"{'' if ok else '  off'}"
        )
    return int(failed)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    sys.exit(main(*numbers, independent="independent" in sys.argv))
