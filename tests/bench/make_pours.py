"""Simulated pours to judge the forecast by. All data is invented; no real resin, room or pour is in it.

    .venv/bin/python tests/bench/make_pours.py FOLDER [--pours 40] [--seed 1]

Each pour gets a plan and a truth that is not the plan: another rate, heat and temperature dependence, a fan that was
forgotten, still air whose coefficient follows the temperature, sun for an hour or two, a slow-down by vitrification,
other wood, a warmer mix, a room with a swing, a core probe out of place, a surface probe under or over the face,
probes with an offset, noise and 1/16 °C steps, spikes and failed readings. The truth is solved on a finer mesh.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from logger.cure.model.crossing import first_crossing
from logger.cure.model.diffusion import diffusion_from_glass
from logger.cure.solver.ensemble import EnsembleResult, EnsembleRun, Members, RoomHistory, run_ensemble
from logger.cure.solver.march import Resolution
from logger.plan.file import Glass, Plan, plan_from_table, plan_to_text

#: Invented resins: name, k1, k2 (1/s at 25 °C), heat J/g, depth range mm, hours.
RESINS = [
    ("slow", 6e-7, 1.3e-5, 335.0, (30.0, 65.0), 72.0),
    ("middling", 1.5e-6, 4.0e-5, 355.0, (12.0, 34.0), 48.0),
    ("quick", 6e-6, 1.8e-4, 385.0, (4.0, 14.0), 24.0),
]
PLACES = ("core", "surface", "underside")


def make_pour(folder: Path, rng: np.random.Generator, title: str) -> dict[str, Any]:
    """One pour: plan.toml, readings.csv, truth.json. Returns the truth."""
    table, _ = invented_plan(rng, title)
    return write_pour(folder, plan_from_table(table), table, rng)


def write_pour(folder: Path, plan: Plan, table: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """The files of one pour with a truth of its own. Returns the truth."""
    hours = plan.run.hours
    told = {"fan_forgotten": False, "sun": False}
    truth = json.loads(json.dumps(table))
    rate = truth["resin"]["rate"]
    rate["m"] = table["resin"]["rate"]["m"] * math.exp(0.05 * rng.standard_normal())
    rate["n"] = table["resin"]["rate"]["n"] * math.exp(0.05 * rng.standard_normal())
    speed = math.exp(0.22 * rng.standard_normal())
    rate["k1_per_s"] *= speed * math.exp(0.25 * rng.standard_normal())
    rate["k2_per_s"] *= speed
    for name in ("e1_j_mol", "e2_j_mol"):
        rate[name] = table["resin"]["rate"].get(name, 56_000.0) * math.exp(0.03 * rng.standard_normal())
    truth["resin"]["heat_of_cure_j_g"] *= math.exp(0.06 * rng.standard_normal())
    truth["resin"]["conductivity_w_mk"] = 0.2 * math.exp(0.06 * rng.standard_normal())
    for panel in ("bottom", "side"):
        truth["form"][panel]["conductivity_w_mk"] *= math.exp(0.15 * rng.standard_normal())
        truth["form"][panel]["specific_heat_j_kgk"] *= math.exp(0.1 * rng.standard_normal())
    if rng.random() < 0.4:
        glass = Glass(tg0_c=-40.0, tg_inf_c=float(rng.uniform(70, 110)))
        truth["resin"]["diffusion"] = diffusion_from_glass(glass).model_dump()
    air = truth["air"]
    if air["top_w_m2k"] > 10.0 and rng.random() < 0.3:
        air["top_w_m2k"], told["fan_forgotten"] = 8.5, True
    for face in ("top", "bottom", "side"):
        air[f"{face}_w_m2k"] *= math.exp(0.15 * rng.standard_normal())
    if air["top_w_m2k"] < 10.0 and rng.random() < 0.5:
        del air["top_w_m2k"]  # still air: the coefficient follows the surface
    truth["pour"]["start_c"] += 0.7 * rng.standard_normal()
    if rng.random() < 0.12:
        begin = float(rng.uniform(0.2, 0.3 * hours))
        truth["heat"] = [
            {
                "from_h": begin,
                "to_h": begin + float(rng.uniform(0.7, 3.0)),
                "absorbed_w_m2": float(rng.uniform(80, 350)),
            }
        ]
        told["sun"] = True
    room_h = np.arange(0.0, hours + 0.01, 0.25)
    swing, phase = rng.uniform(0.0, 3.0), rng.uniform(0.0, 24.0)
    drift = np.cumsum(0.12 * rng.standard_normal(len(room_h)))
    room_c = plan.room_schedule()[0][1] + 0.8 * rng.standard_normal() + drift
    room_c = room_c + swing * (np.sin(2 * np.pi * (room_h - phase) / 24) + np.sin(2 * np.pi * phase / 24))
    members = Members(
        probe_x_mm=abs(0.03 * table["pour"]["width_mm"] * rng.standard_normal()),
        probe_z_mm=0.07 * table["pour"]["depth_mm"] * rng.standard_normal(),
    )
    at = np.unique(np.concatenate([np.arange(0, 3600, 30), np.arange(3600, hours * 3600 + 1, 300)])) / 3600
    result = run_ensemble(
        plan_from_table(truth),
        members,
        EnsembleRun(hours=hours, output_hours=at, resolution=Resolution(1.2)),
        room=RoomHistory(room_h, room_c),
    )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plan.toml").write_text(plan_to_text(plan), encoding="utf-8")
    _write_readings(folder / "readings.csv", at, result, np.interp(at, room_h, room_c), rng)
    known = told | _truth(result, plan)
    (folder / "truth.json").write_text(json.dumps(known, indent=1), encoding="utf-8")
    return known


def invented_plan(rng: np.random.Generator, title: str) -> tuple[dict[str, Any], float]:
    """A plan as a table, and its hours."""
    name, k1, k2, heat, depths, hours = RESINS[int(rng.choice(3, p=[0.45, 0.35, 0.2]))]
    shape = str(rng.choice(["river", "round"], p=[0.85, 0.15]))
    room = float(rng.uniform(15.0, 28.0))
    pour = {
        "shape": shape,
        "depth_mm": round(float(rng.uniform(*depths))),
        "width_mm": round(float(rng.uniform(100, 450)), -1),
        "start_c": round(room + float(rng.uniform(-2, 3)), 1),
    }
    if shape == "river":
        pour["length_mm"] = round(float(rng.uniform(600, 2200)), -1)
    side = 200.0 if shape == "river" else 12.0
    table = {
        "title": title,
        "resin": {
            "name": f"Invented {name} system",
            "density_kg_m3": 1110.0,
            "specific_heat_j_kgk": 1880.0,
            "conductivity_w_mk": 0.2,
            "heat_of_cure_j_g": heat,
            "rate": {"k1_per_s": k1, "k2_per_s": k2, "e1_j_mol": 59e3, "e2_j_mol": 54e3, "m": 0.55, "n": 1.7},
        },
        "pour": pour,
        "form": {
            "bottom": {
                "thickness_mm": float(rng.choice([12, 16, 19])),
                "conductivity_w_mk": 0.2,
                "density_kg_m3": 750.0,
                "specific_heat_j_kgk": 1700.0,
            },
            "side": {
                "thickness_mm": side,
                "conductivity_w_mk": 0.16,
                "density_kg_m3": 620.0,
                "specific_heat_j_kgk": 1700.0,
            },
        },
        "air": {
            "room_c": round(room, 1),
            "top_w_m2k": float(rng.choice([8.5, 14.0])),
            "bottom_w_m2k": float(rng.choice([4.0, 7.0])),
            "side_w_m2k": 5.0,
        },
        "run": {"hours": hours},
    }
    return table, hours


def _write_readings(
    path: Path, at: np.ndarray, result: EnsembleResult, room_c: np.ndarray, rng: np.random.Generator
) -> None:
    reach = {"core": 0.0, "surface": float(rng.normal(0.04, 0.04)), "underside": float(rng.normal(0.0, 0.04))}
    columns = {}
    for place in PLACES:
        true = getattr(result, place + "_c")[0]
        columns[place] = true + reach[place] * (true - room_c)
    columns["room"] = room_c
    spiky = rng.random() < 0.2
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["elapsed_s", "place", "celsius"])
        offset = {place: 0.2 * rng.standard_normal() for place in columns}
        for i, hour in enumerate(at):
            for place, values in columns.items():
                shown = round((values[i] + offset[place] + 0.05 * rng.standard_normal()) * 16) / 16
                if spiky and rng.random() < 0.004:
                    shown = 85.0
                lost = spiky and rng.random() < 0.01
                rows.writerow([round(hour * 3600), place, "" if lost else f"{shown:.4f}"])


def _truth(result: EnsembleResult, plan: Plan) -> dict[str, Any]:
    over = first_crossing(result.hours, result.core_c[0], plan.resin.limits.max_core_c)
    return {
        "core_peak_c": round(float(result.core_peak_c[0]), 2),
        "core_peak_at_h": round(float(result.core_peak_at_h[0]), 3),
        "hottest_peak_c": round(float(result.hottest_peak_c[0]), 2),
        "hottest_peak_at_h": round(float(result.hottest_peak_at_h[0]), 3),
        "core_over_limit_at_h": None if over is None else round(over, 3),
        "mean_conversion_end": round(float(result.end_mean_conversion[0]), 3),
    }


def main() -> None:
    """Make a folder of pours."""
    said = argparse.ArgumentParser(description=__doc__)
    said.add_argument("folder", type=Path)
    said.add_argument("--pours", type=int, default=40)
    said.add_argument("--seed", type=int, default=1)
    asked = said.parse_args()
    for i in range(asked.pours):
        name = f"pour-{asked.seed:02d}{i:03d}"
        told = make_pour(asked.folder / name, np.random.default_rng([asked.seed, i]), f"Invented pour {name}")
        print(name, told)


if __name__ == "__main__":
    main()
