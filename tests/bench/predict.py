"""How fast is one prediction, against scipy's BDF on the same mesh at equal error? Run: python tests/bench/predict.py

Same cells, same flow between them (tests/bench/same_mesh.py), one run, side by side. Errors of the core's
peak are against each one's own answer at a far finer tolerance. Plans: invented 72 h rivers, and one that runs away.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from logger.cure.solver.march import Accuracy
from logger.cure.solver.prediction import predict
from logger.plan.file import plan_from_text

PLAN = """
title = "Bench river"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 350
[resin.rate]
k1_per_s = {k1}
k2_per_s = {k2}
[pour]
shape = "river"
depth_mm = {depth}
width_mm = {width}
[air]
room_c = {room}
top_w_m2k = 10
bottom_w_m2k = 6
side_w_m2k = 6
[run]
hours = 72
"""
CASES = [(50, 300, 22.0, 5e-7, 1.1e-5), (60, 250, 23.0, 5e-7, 1.1e-5), (40, 200, 24.0, 8e-7, 1.6e-5),
         (75, 400, 24.0, 5e-7, 1.1e-5)]  # fmt: skip
TOLERANCES = [(1e-3, 1e-2), (1e-4, 1e-2), (1e-5, 1e-3), (3e-6, 1e-3), (1e-6, 1e-4), (1e-7, 1e-5)]
LOOK = (
    "from predict import plans; from logger.cure.solver.prediction import predict; predict(plans()[0]); "
    "print(next(line for line in open('/proc/self/status') if line.startswith('VmHWM')).split()[1])"
)


def plans():
    return [plan_from_text(PLAN.format(depth=d, width=w, room=r, k1=a, k2=b)) for d, w, r, a, b in CASES]


def timed(work, times=5):
    best = None
    for _ in range(times):
        begin = time.process_time()
        found = work()
        spent = time.process_time() - begin
        best = spent if best is None else min(best, spent)
    return found, best


def main():
    # scipy's import would count as memory of the process that only predicts.
    from same_mesh import system_of

    print(
        f"{'depth':>5} {'peak °C':>8} {'ours ms':>8} {'error K':>8} | scipy BDF, cheapest with no more error"
    )
    for plan in plans():
        exact = predict(plan, accuracy=Accuracy(1e-3, 1e-5, 1e-6, 1000.0))
        once, ours_s = timed(lambda plan=plan: predict(plan, accuracy=Accuracy()))
        _, whole_s = timed(lambda plan=plan: predict(plan), 2)
        error = abs(once.core_peak_c - exact.core_peak_c)
        system = system_of(plan)
        goal, _ = system.solve(plan.run.hours, rtol=1e-9, atol_k=1e-7)
        line = f"{plan.pour.depth_mm:5.0f} {once.core_peak_c:8.2f} {1e3 * ours_s:8.1f} {error:8.4f} |"
        for analytic in (True, False):
            for rtol, atol in TOLERANCES:
                (peak, _), spent = timed(
                    lambda s=system, r=rtol, a=atol, an=analytic, h=plan.run.hours: s.solve(
                        h, rtol=r, atol_k=a, analytic=an
                    ),
                    2,
                )
                if abs(peak - goal) <= max(error, 0.02):
                    break
            kind = "given Jacobian" if analytic else "sparse differenced Jacobian"
            line += f" {kind}: {1e3 * spent:.0f} ms (rtol {rtol:g}) {spent / ours_s:.1f} times;"
        print(line, f"proven prediction {1e3 * whole_s:.0f} ms", flush=True)
    memory = subprocess.run(
        [sys.executable, "-c", LOOK],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parent,
    )
    print(f"peak memory of a process that predicts once: {int(memory.stdout) / 1024:.0f} MB")


if __name__ == "__main__":
    main()
