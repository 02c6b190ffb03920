"""How good the forecast is over a folder of pours (each with plan.toml, readings.csv, truth.json), by hand:

    .venv/bin/python tests/bench/forecast.py FOLDER [--members 64] [--seed 0] [--every 1] [--no-calls] [--each]

One table: at 10, 25, 50 and 75 % of the time to the true core peak the coverage of the 90 % band, its median width, the
median absolute error of the median and the CRPS; then the calls of core-will-overheat. Beside them two baselines:
the frozen prediction of the plan, and a thermometer with a fixed limit.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from logger.cure.forecast import Forecast, due_hours, forecast, forecast_hours, will_overheat
from logger.cure.prediction import predict
from logger.plan_file import Plan, read_plan
from logger.readings_file import read_readings
from logger.record.figures import Place, places_from

PARTS = (0.10, 0.25, 0.50, 0.75)
#: The fixed-limit thermometer calls when the core first reads this much below the limit, K.
WARNS_BELOW_C = 5.0


@dataclass(frozen=True)
class Pour:
    """One pour of the folder."""

    name: str
    plan: Plan
    history: dict[str, Place]
    truth: dict[str, Any]


def read_pour(folder: Path) -> Pour:
    """The pour in a folder."""
    rows = read_readings(folder / "readings.csv")
    return Pour(folder.name, read_plan(folder / "plan.toml"),
                places_from([(r.elapsed_s / 3600.0, r.place, r.celsius) for r in rows]),
                json.loads((folder / "truth.json").read_text(encoding="utf-8")))  # fmt: skip


def crps(values: np.ndarray, truth: float) -> float:
    """CRPS of a sample: E|X − y| − ½ E|X − X′| (Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359, eq. 21)."""
    spread = np.abs(values[:, None] - values[None, :]).mean()
    return float(np.abs(values - truth).mean() - 0.5 * spread)


def score(made: Forecast, truth_c: float) -> dict[str, float]:
    """One forecast against the truth."""
    band = made.core_peak_c
    return {"inside": float(band.p05 <= truth_c <= band.p95), "width": band.p95 - band.p05,
            "error": abs(band.p50 - truth_c), "crps": crps(made.peaks_c, truth_c),
            "above": float(truth_c > band.p95), "rank": float(np.mean(made.peaks_c < truth_c))}  # fmt: skip


def call_hours(pour: Pour, members: int, seed: int) -> tuple[float | None, int]:
    """When core-will-overheat was first raised, and how often, in forecasts made when they are due."""
    over_at = pour.truth["core_over_limit_at_h"]
    end = (
        over_at
        if over_at is not None
        else min(1.1 * max(pour.truth["core_peak_at_h"], 1.0), pour.plan.run.hours)
    )
    chances: list[float] = []
    standing, raised_at, times = False, None, 0
    previous = None
    for at_h in due_hours(end):
        previous = forecast(pour.plan, pour.history, at_h=at_h, members=members, seed=seed, previous=previous)
        chances.append(previous.chance_core_over_limit)
        now = will_overheat(chances)
        if now and not standing:
            times += 1
            raised_at = at_h if raised_at is None else raised_at
        standing = now
    return raised_at, times


def thermometer_call_h(pour: Pour) -> float | None:
    """When a fixed-limit thermometer would have called."""
    core = pour.history["core"]
    above = np.flatnonzero(core.celsius >= pour.plan.resin.limits.max_core_c - WARNS_BELOW_C)
    return float(core.hours[above[0]]) if len(above) else None


def table(
    rows: dict[float, list[dict[str, float]]], cool: list[bool], frozen: list[float], frozen_cool: list[float]
) -> None:
    """Print the scores."""
    print(
        f"{'at':>6} {'cover':>7} {'width':>7} {'error':>7} {'CRPS':>7} | {'<60 °C: cover':>13} {'width':>6} {'error':>6} {'CRPS':>6}"
    )
    for part, scores in rows.items():
        mild = [s for s, c in zip(scores, cool, strict=True) if c]

        def line(of: list[dict[str, float]]) -> list[float]:
            if not of:
                return [float("nan")] * 4
            return [100 * float(np.mean([s["inside"] for s in of])), float(np.median([s["width"] for s in of])),
                    float(np.median([s["error"] for s in of])), float(np.mean([s["crps"] for s in of]))]  # fmt: skip

        a, b = line(scores), line(mild)
        print(
            f"{part:6.0%} {a[0]:6.1f}% {a[1]:7.2f} {a[2]:7.2f} {a[3]:7.2f} | {b[0]:12.1f}% {b[1]:6.2f} {b[2]:6.2f} {b[3]:6.2f}"
        )
    print(f"frozen {'-':>7} {'-':>7} {np.median(frozen):7.2f} {np.mean(frozen):7.2f} | {'-':>13} {'-':>6} "
          f"{np.median(frozen_cool or [np.nan]):6.2f} {np.mean(frozen_cool or [np.nan]):6.2f}")  # fmt: skip


def calls(pours: list[Pour], members: int, seed: int, each: bool) -> None:
    """Print the calls of the forecast, of the frozen prediction and of the thermometer."""
    kinds: dict[str, dict[str, Any]] = {
        kind: {"called": 0, "lead": [], "false": 0, "chatter": 0}
        for kind in ("forecast", "frozen plan", "thermometer")
    }
    hot = mild = 0
    for pour in pours:
        over_at = pour.truth["core_over_limit_at_h"]
        planned = predict(pour.plan).core_peak_c > pour.plan.resin.limits.max_core_c
        raised_at, times = call_hours(pour, members, seed)
        found = {
            "forecast": raised_at,
            "frozen plan": 0.0 if planned else None,
            "thermometer": thermometer_call_h(pour),
        }
        kinds["forecast"]["chatter"] += max(0, times - 1)
        hot, mild = hot + (over_at is not None), mild + (over_at is None)
        if each:
            print(
                f"  {pour.name} crosses {over_at} called {raised_at} times {times} peak {pour.truth['core_peak_c']}"
            )
        for kind, at in found.items():
            if over_at is None:
                kinds[kind]["false"] += at is not None
            elif at is not None and at < over_at:
                kinds[kind]["called"] += 1
                kinds[kind]["lead"].append((over_at - at) / over_at)
    print(
        f"\n{hot} pours pass the limit, {mild} never do\n{'':>12} {'called before':>14} {'median lead':>12} {'false':>6} {'raised again':>13}"
    )
    for kind, k in kinds.items():
        lead = f"{np.median(k['lead']):.0%}" if k["lead"] else "-"
        print(f"{kind:>12} {k['called']:>8} of {hot:<3} {lead:>12} {k['false']:>6} {k['chatter']:>13}")


def main() -> None:
    """Print the table."""
    said = argparse.ArgumentParser(description=__doc__)
    said.add_argument("folder", type=Path)
    said.add_argument("--members", type=int, default=64)
    said.add_argument("--seed", type=int, default=0)
    said.add_argument("--every", type=int, default=1, help="only every n-th pour")
    said.add_argument("--no-calls", action="store_true")
    said.add_argument("--each", action="store_true")
    asked = said.parse_args()
    pours = [
        read_pour(folder) for folder in sorted(asked.folder.iterdir()) if (folder / "truth.json").exists()
    ]
    pours = pours[:: asked.every]
    begun = time.perf_counter()
    rows: dict[float, list[dict[str, float]]] = {part: [] for part in PARTS}
    cool: list[bool] = []
    frozen: list[float] = []
    for pour in pours:
        truth_c, limit = pour.truth["core_peak_c"], pour.plan.resin.limits.max_core_c
        hours = [max(part * pour.truth["core_peak_at_h"], 0.02) for part in PARTS]
        made = forecast_hours(pour.plan, pour.history, hours, members=asked.members, seed=asked.seed)
        for part, one in zip(PARTS, made, strict=True):
            rows[part].append(score(one, truth_c))
        cool.append(truth_c < limit)
        frozen.append(abs(predict(pour.plan).core_peak_c - truth_c))
        if asked.each:
            shown = "  ".join(f"{f.core_peak_c.p05:5.1f}/{f.core_peak_c.p50:5.1f}/{f.core_peak_c.p95:5.1f}"
                              f"{' ' if s['inside'] else '*'}{f.chance_core_over_limit:4.2f}"
                              for f, s in zip(made, (rows[p][-1] for p in PARTS), strict=True))  # fmt: skip
            extra = [k for k in ("fan_forgotten", "sun") if pour.truth.get(k)]
            doubts = sorted({d.place for f in made for d in f.doubted})
            print(f"{pour.name} {truth_c:6.1f} | {shown} {extra} {doubts or ''}", flush=True)
    count = sum(len(r) for r in rows.values())
    print(f"{len(pours)} pours, {(time.perf_counter() - begun) / max(count, 1):.2f} s a forecast")
    table(rows, cool, frozen, [f for f, c in zip(frozen, cool, strict=True) if c])
    if not asked.no_calls:
        calls(pours, asked.members, asked.seed, asked.each)


if __name__ == "__main__":
    main()
