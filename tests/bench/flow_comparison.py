"""How far does a resin's own motion cool a pour, and does the model say so? Random rivers against a flow simulation.

Run: python tests/bench/flow_comparison.py [pours] [first seed]. Each pour is solved still and moving by the simulation
in two dimensions (tests/flow), and moving by the model, whose plan has [resin.flow]. All resins are invented, slow and
medium; the truth is a simulation, no measurement.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import asdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from logger.cure.solver.prediction import predict
from logger.plan.file import plan_from_text
from tests.flow.flowing_pour import Flow, Pour

#: Goal: the peak within so many °C, or within this part of its true rise above the warmer of mix and room.
NEAR_C, NEAR_PART = 3.0, 0.1


def draw_pour(seed):
    """A random river as plan text without its motion, and how its resin flows. Invented."""
    draw = np.random.default_rng(seed)
    slow = bool(draw.random() < 0.65)
    k1, k2, deepest, hours = (6e-7, 1.5e-5, 100.0, 96) if slow else (1.5e-6, 4.5e-5, 45.0, 48)
    k1, k2 = k1 * np.exp(draw.normal(0, 0.3)), k2 * np.exp(draw.normal(0, 0.3))
    room = draw.uniform(16, 30)
    text = f"""title = "Random river {seed} (invented)"
[resin]
name = "{"slow" if slow else "medium"}, invented"
density_kg_m3 = {draw.uniform(1080, 1140):.0f}
specific_heat_j_kgk = {draw.uniform(1750, 2000):.0f}
conductivity_w_mk = {draw.uniform(0.18, 0.21):.3f}
heat_of_cure_j_g = {draw.uniform(320, 410):.0f}
[resin.rate]
k1_per_s = {k1:.4g}
k2_per_s = {k2:.4g}
e1_j_mol = {draw.uniform(52e3, 64e3):.0f}
e2_j_mol = {draw.uniform(50e3, 60e3):.0f}
m = {draw.uniform(0.5, 1.0):.2f}
n = {draw.uniform(1.5, 2.0):.2f}
[pour]
shape = "river"
depth_mm = {np.exp(draw.uniform(np.log(20), np.log(deepest))):.1f}
width_mm = {draw.uniform(120, 450):.0f}
start_c = {room + draw.uniform(-2, 4):.1f}
[form.bottom]
thickness_mm = {draw.choice([12, 19, 25])}
[form.side]
thickness_mm = {draw.choice([60, 150, 250])}
[air]
room_c = {room:.1f}
top_w_m2k = {draw.uniform(7, 15):.1f}
bottom_w_m2k = {draw.uniform(2, 9):.1f}
side_w_m2k = {draw.uniform(4, 9):.1f}
[run]
hours = {hours}
"""
    flow = Flow(
        viscosity_pa_s=round(float(np.exp(draw.uniform(np.log(0.2), np.log(4.0)))), 3),
        e_j_mol=round(float(draw.uniform(40e3, 60e3))),
        gel_conversion=round(float(draw.uniform(0.55, 0.65)), 3),
        exponent_a=round(float(draw.uniform(1.2, 1.8)), 2),
        exponent_b=round(float(draw.uniform(0.5, 1.5)), 2),
        expansion_per_k=round(float(draw.uniform(4e-4, 6e-4)), 6),
        density_gain_pct=round(float(draw.uniform(2, 6)), 1),
    )
    return text, flow


def with_flow(text, flow):
    """The plan with its [resin.flow]."""
    lines = "".join(f"{key} = {value}\n" for key, value in asdict(flow).items())
    return text.replace("[pour]\n", f"[resin.flow]\n{lines}[pour]\n")


def warmest_start_c(plan):
    """The warmer of the mix and the first of the room, °C: what a peak rises from."""
    room = plan.room_schedule()[0][1]
    return max(plan.pour.start_c if plan.pour.start_c is not None else room, room)


def reference(seed, nz=12):
    """A pour's results by the simulation alone, as plain numbers."""
    text, flow = draw_pour(seed)
    begin = time.process_time()
    still, moving = (Pour(text, how, nz).run(past_peak=True) for how in (None, flow))
    grid = np.linspace(0, moving.hours[-1], 97)
    return {
        "seed": seed,
        "plan": text,
        "plan_with_flow": with_flow(text, flow),
        "flow": asdict(flow),
        "still_peak_c": still.peak_c,
        "still_peak_at_h": still.peak_at_h,
        "still_hottest_mm": [float(v) for v in still.hottest_mm],
        "moving_peak_c": moving.peak_c,
        "moving_peak_at_h": moving.peak_at_h,
        "moving_hottest_mm": [float(v) for v in moving.hottest_mm],
        "fastest_mm_s": float(moving.fastest_mm_s),
        "balance_error": moving.balance_error,
        "hours": grid.round(3).tolist(),
        "core_c": np.interp(grid, moving.hours, moving.core_c).round(3).tolist(),
        "hottest_c": np.interp(grid, moving.hours, moving.hottest_c).round(3).tolist(),
        "still_core_c": np.interp(grid, still.hours, still.core_c).round(3).tolist(),
        "nz": nz,
        "seconds": round(time.process_time() - begin, 1),
    }


def main():
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("pours", type=int, nargs="?", default=100)
    ask.add_argument("first", type=int, nargs="?", default=0)
    ask.add_argument("--cells", type=int, default=12, help="cells through the depth of the simulation")
    ask.add_argument(
        "--refs", type=Path, help="keep the simulation's results here, and take those that are there"
    )
    given = ask.parse_args()
    known = json.loads(given.refs.read_text()) if given.refs and given.refs.exists() else []
    known = {(r["seed"], r["nz"]): r for r in known}
    print(
        f"{'seed':>5} {'system':>7} {'mm':>5} {'room':>5} {'Pa·s':>5} {'still':>6} {'moving':>6} {'ours':>6}"
        f" {'off':>6} {'of rise':>7} {'hour':>6} {'ours':>6}"
    )
    rows = []
    for seed in range(given.first, given.first + given.pours):
        truth = known.get((seed, given.cells)) or reference(seed, given.cells)
        known[seed, given.cells] = truth
        if given.refs:
            part = given.refs.with_suffix(".part")
            part.write_text(json.dumps(list(known.values())))
            part.replace(given.refs)
        plan = plan_from_text(truth["plan"])
        ours = predict(plan_from_text(truth["plan_with_flow"]))
        off = ours.peak_c - truth["moving_peak_c"]
        rise = truth["moving_peak_c"] - warmest_start_c(plan)
        rows.append((off, truth["still_peak_c"] - truth["moving_peak_c"], max(NEAR_C, NEAR_PART * rise)))
        print(
            f"{seed:5d} {plan.resin.name.split(',')[0]:>7} {plan.pour.depth_mm:5.0f} {plan.room_schedule()[0][1]:5.1f}"
            f" {truth['flow']['viscosity_pa_s']:5.2f} {truth['still_peak_c']:6.1f} {truth['moving_peak_c']:6.1f}"
            f" {ours.peak_c:6.1f} {off:6.1f} {off / max(rise, 0.1):7.2f} {truth['moving_peak_at_h']:6.1f}"
            f" {ours.peak_at_h:6.1f}{'' if abs(off) <= rows[-1][2] else '  outside'}",
            flush=True,
        )
    off, gain, allowed = np.array(rows).T
    matters = gain > NEAR_C
    for name, those in (("all", gain > -np.inf), (f"cooled by more than {NEAR_C:g} °C", matters)):
        if those.any():
            print(
                f"{name}: {(abs(off) <= allowed)[those].sum()} of {those.sum()} within {NEAR_C:g} °C or"
                f" {NEAR_PART:.0%} of the moving rise (still: {(abs(gain) <= allowed)[those].sum()}); error median"
                f" {np.median(abs(off[those])):.1f} °C, mean {off[those].mean():+.1f} °C, worst"
                f" {abs(off[those]).max():.1f} °C; still is off by {np.median(gain[those]):.1f} °C in the median,"
                f" {gain[those].max():.1f} °C at most"
            )


if __name__ == "__main__":
    main()
