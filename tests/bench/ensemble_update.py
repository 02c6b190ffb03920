"""What one update of the forecast costs, by hand:

    OPENBLAS_NUM_THREADS=1 .venv/bin/python tests/bench/ensemble_update.py [--members 64]

A 72 h river pour (invented), a forecast at 2, 8 and 24 h: seconds of one core for the first and for the next update,
and the most memory that the process ever held.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path

import numpy as np
from forecast import read_pour
from make_pours import invented_plan, write_pour

from logger.cure.forecast.forecast import MemberSample, forecast
from logger.plan.file import plan_from_table

GOAL_S, GOAL_MB = 3.0, 150.0


def main() -> None:
    """Print the costs."""
    said = argparse.ArgumentParser(description=__doc__)
    said.add_argument("--members", type=int, default=64)
    asked = said.parse_args()
    rng = np.random.default_rng(12)
    while True:
        table, hours = invented_plan(rng, "Invented river")
        if hours == 72.0 and table["pour"]["shape"] == "river":
            break
    with tempfile.TemporaryDirectory() as folder:
        write_pour(Path(folder), plan_from_table(table), table, rng)
        pour = read_pour(Path(folder))
    empty_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    previous = None
    for at_h in (2.0, 8.0, 24.0):
        took = []
        for start in (None, previous):
            begun = time.process_time()
            made = forecast(
                pour.plan, pour.history, at_h=at_h, previous=start, sample=MemberSample(members=asked.members)
            )
            took.append(time.process_time() - begun)
        previous = made.search
        band = made.core_peak_c
        print(
            f"at {at_h:4.0f} h: first {took[0]:.2f} s, next {took[1]:.2f} s (goal {GOAL_S:.0f} s) | core "
            f"{band.p05:.1f} to {band.p95:.1f} °C, truth {pour.truth['core_peak_c']:.1f} °C"
        )
    most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"memory: {empty_mb:.0f} MB before, {most_mb:.0f} MB at most (goal {GOAL_MB:.0f} MB)")


if __name__ == "__main__":
    main()
