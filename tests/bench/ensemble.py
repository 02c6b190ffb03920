"""How fast are 64 members, against a loop of scipy's BDF over them on the same mesh?

Run: python tests/bench/ensemble.py

scipy is timed on every eighth member and scaled; its tolerance is the loosest tried that stays within 0.2 °C
of the core's peak.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from predict import plans

from logger.cure.solver.ensemble import EnsembleRun, Members, run_ensemble
from logger.cure.solver.march import Resolution

COUNT, STRIDE, FINENESS = 64, 8, 0.8
LOOK = (
    "from ensemble import draw, plans; from logger.cure.solver.ensemble import run_ensemble; "
    "run_ensemble(plans()[0], draw()); "
    "print(next(line for line in open('/proc/self/status') if line.startswith('VmHWM')).split()[1])"
)


def draw():
    rng = np.random.default_rng(7)
    return Members(
        rate_factor=np.exp(0.2 * rng.standard_normal(COUNT)),
        heat_factor=np.exp(0.05 * rng.standard_normal(COUNT)),
        top_factor=np.exp(0.2 * rng.standard_normal(COUNT)),
    )


def main():
    # scipy's import would count as memory of the process that only runs an ensemble.
    from same_mesh import system_of

    members = draw()
    print(f"{'depth':>5} {'ours s':>7} {'peaks °C':>16} {'worst K':>8} | scipy BDF looped, within 0.2 °C")
    for plan in plans():
        spent = []
        for _ in range(3):
            begin = time.process_time()
            found = run_ensemble(plan, members, EnsembleRun(resolution=Resolution(FINENESS)))
            spent.append(time.process_time() - begin)
        picks = range(0, COUNT, STRIDE)
        worst = 0.0
        systems = [
            system_of(
                plan,
                fineness=FINENESS,
                rate_factor=members.rate_factor[i],
                heat_factor=members.heat_factor[i],
                top_factor=members.top_factor[i],
            )
            for i in picks
        ]
        goals = [s.solve(plan.run.hours, rtol=1e-8, atol_k=1e-6)[0] for s in systems]
        tops = [float(found.core_peak_c[i]) for i in picks]
        worst = max(abs(a - b) for a, b in zip(tops, goals, strict=True))
        line = (
            f"{plan.pour.depth_mm:5.0f} {min(spent):7.2f} {min(tops):7.1f}..{max(tops):6.1f} {worst:8.3f} |"
        )
        for analytic in (True, False):
            for rtol, atol in ((1e-3, 1e-2), (1e-4, 1e-2), (1e-5, 1e-3), (1e-6, 1e-4), (1e-7, 1e-5)):
                begin = time.process_time()
                peaks = [
                    s.solve(plan.run.hours, rtol=rtol, atol_k=atol, analytic=analytic)[0] for s in systems
                ]
                looped = (time.process_time() - begin) * COUNT / len(systems)
                if max(abs(a - b) for a, b in zip(peaks, goals, strict=True)) <= 0.2:
                    break
            kind = "given Jacobian" if analytic else "sparse differenced Jacobian"
            line += f" {kind}: {looped:.1f} s (rtol {rtol:g}) {looped / min(spent):.0f} times;"
        print(line, flush=True)
    memory = subprocess.run(
        [sys.executable, "-c", LOOK],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parent,
    )
    print(f"peak memory of a process with one ensemble: {int(memory.stdout) / 1024:.0f} MB")


if __name__ == "__main__":
    main()
