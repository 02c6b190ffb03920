"""How good the forecast is over a folder of pours (each with plan.toml, readings.csv, truth.json), by hand:

    .venv/bin/python tests/bench/forecast.py FOLDER [--members 64] [--seed 0] [--every 1] [--no-calls]
        [--rows FILE] [--most N]

One table: at 10, 25, 50 and 75 % of the time to the true core peak the coverage of the 90 % band, its median width, the
median absolute error of the median and the mean CRPS, for all pours and for those that stay below their limit. Then how
often the core passed the limit where the chance to was said to be so much, and the calls of core-will-overheat. Beside
them two baselines: the frozen prediction of the plan, and a thermometer with a fixed limit. --no-calls leaves the calls
out.
--rows keeps each pour's row as a line of JSON; pours that are there already are not run again.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from logger.cure.forecast import decision
from logger.cure.forecast.forecast import Forecast, MemberSample, forecast
from logger.cure.solver.prediction import predict
from logger.live.forecaster import FIRST_H, due_after, due_early_h
from logger.plan.file import Plan, read_plan
from logger.record.figures import Place, places_from
from logger.record.readings_file import read_readings

PARTS = (0.10, 0.25, 0.50, 0.75)
#: Edges of the chances that are told apart, and how sure and how often in a row ends the forecasts of a pour that was
#: called: nothing clears it any more.
CHANCES = (0.0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98, 1.0)
SURE, SURE_AFTER = 0.99, 4
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
    return Pour(
        folder.name,
        read_plan(folder / "plan.toml"),
        places_from([(r.elapsed_s / 3600.0, r.place, r.celsius) for r in rows]),
        json.loads((folder / "truth.json").read_text(encoding="utf-8")),
    )


def crps(values: np.ndarray, truth: float) -> float:
    """CRPS of a sample: E|X − y| − ½ E|X − X′| (Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359, eq. 21)."""
    spread = np.abs(values[:, None] - values[None, :]).mean()
    return float(np.abs(values - truth).mean() - 0.5 * spread)


def score(made: Forecast, truth_c: float) -> dict[str, float]:
    """One forecast against the truth."""
    band = made.core_peak_c
    return {
        "p05": band.p05,
        "p50": band.p50,
        "p95": band.p95,
        "chance": made.chance_core_over_limit,
        "inside": float(band.p05 <= truth_c <= band.p95),
        "width": band.p95 - band.p05,
        "error": abs(band.p50 - truth_c),
        "crps": crps(made.ahead.core_peak_c, truth_c),
        "rank": float(np.mean(made.ahead.core_peak_c < truth_c)),
    }


def call_rows(pour: Pour, members: int, seed: int) -> list[tuple[float, ...]]:
    """(hour, chance, chance needed, crossing or −1, 5, 50, 95 % of the core's peak) of every forecast, made when a
    live pour's is, until the limit is crossed, or the peak is past; of a pour that is crossed in truth only until it
    is sure."""
    over_at = pour.truth["core_over_limit_at_h"]
    peak_h = max(pour.truth["core_peak_at_h"], 1.0)
    end = over_at if over_at is not None else min(1.1 * peak_h, pour.plan.run.hours)
    rows: list[tuple[float, ...]] = []
    bodies: list[dict[str, Any]] = []
    previous = None
    at_h = FIRST_H
    while at_h < end:
        previous = forecast(
            pour.plan,
            pour.history,
            at_h=at_h,
            previous=None if previous is None else previous.search,
            sample=MemberSample(members=members, seed=seed),
        )
        bodies.append(previous.to_json())
        crossing, peak = previous.crosses_limit_at_h, previous.core_peak_c
        rows.append(
            (
                at_h,
                previous.chance_core_over_limit,
                previous.chance_needed,
                -1.0 if crossing is None else crossing.p50,
                peak.p05,
                peak.p50,
                peak.p95,
            )
        )
        if over_at is not None and len(rows) >= SURE_AFTER and min(r[1] for r in rows[-SURE_AFTER:]) >= SURE:
            break
        at_h = next_h(pour, bodies)
    return rows


def next_h(pour: Pour, bodies: list[dict[str, Any]]) -> float:
    """Return when a live pour's next forecast is made: when it is due, or the core has left the last one."""
    due_h = due_after(bodies[-decision.RAISE_OF[1] :])
    for at_h, core_c in zip(*pour.history["core"].good(), strict=True):
        if at_h >= due_h:
            break
        early_h = due_early_h(bodies[-1], (float(at_h), float(core_c)))
        if early_h < due_h:
            return max(early_h, float(at_h))
    return due_h


def call_of(rows: list[tuple[float, ...]]) -> tuple[float | None, int]:
    """When core-will-overheat is first raised, and how often."""
    standing, raised_at, times = False, None, 0
    for i, (at_h, *_) in enumerate(rows):
        seen = rows[: i + 1]
        now = decision.will_overheat([r[1] for r in seen], [r[2] for r in seen])
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


def row_of(pour: Pour, members: int, seed: int, calls: bool) -> dict[str, Any]:
    """Everything that the table needs of one pour."""
    truth_c, limit_c = pour.truth["core_peak_c"], pour.plan.resin.limits.max_core_c
    hours = [max(p * pour.truth["core_peak_at_h"], 0.02) for p in PARTS]
    begun = time.process_time()
    made: list[Forecast] = []
    for at_h in sorted(hours):
        last = made[-1].search if made else None
        sample = MemberSample(members=members, seed=seed)
        made.append(forecast(pour.plan, pour.history, at_h=at_h, previous=last, sample=sample))
    seconds = (time.process_time() - begun) / len(hours)
    frozen_c = predict(pour.plan).core_peak_c
    return {
        "name": pour.name,
        "truth": pour.truth,
        "limit_c": limit_c,
        "frozen_c": frozen_c,
        "seconds": seconds,
        "scores": [score(one, truth_c) for one in made],
        "doubted": sorted({d.place for f in made for d in f.doubted}),
        "thermometer_h": thermometer_call_h(pour),
        "calls": call_rows(pour, members, seed) if calls else [],
    }


def show(row: dict[str, Any]) -> None:
    """One line of one pour."""
    shown = "  ".join(
        f"{s['p05']:5.1f}/{s['p50']:5.1f}/{s['p95']:5.1f}{' ' if s['inside'] else '*'}{s['chance']:4.2f}"
        for s in row["scores"]
    )
    truth = row["truth"]
    extra = [k for k in ("fan_forgotten", "sun") if truth.get(k)] + row["doubted"]
    called, times = call_of(row["calls"])
    call = "" if not row["calls"] else f"crosses {truth['core_over_limit_at_h']} called {called} {times}x"
    print(f"{row['name']} {truth['core_peak_c']:6.1f} | {shown} | {call} {' '.join(extra)}", flush=True)


def table(rows: list[dict[str, Any]]) -> None:
    """The scores of all rows, and of those that stay below their limit."""
    mild = [r for r in rows if r["truth"]["core_over_limit_at_h"] is None]
    head = f"{'cover':>7} {'width':>7} {'error':>7} {'CRPS':>7}"
    print(
        f"{len(rows)} pours, {np.mean([r['seconds'] for r in rows]):.2f} s of one core a forecast\n"
        f"{'':>6} {head}  | below the limit:\n"
        f"{'at':>6} {head}  | {head}"
    )
    for i, part in enumerate(PARTS):
        cells = []
        for of in (rows, mild):
            s = [r["scores"][i] for r in of]
            inside, width, error, crps_ = ([x[k] for x in s] for k in ("inside", "width", "error", "crps"))
            cells.append(
                f"{100 * np.mean(inside):6.1f}% {np.median(width):7.2f} {np.median(error):7.2f} "
                f"{np.mean(crps_):7.2f}"
            )
        print(f"{part:6.0%} {cells[0]}  | {cells[1]}")
    off = [[abs(r["frozen_c"] - r["truth"]["core_peak_c"]) for r in of] for of in (rows, mild)]
    cells = [f"{'-':>7} {'-':>7} {np.median(o):7.2f} {np.mean(o):7.2f}" for o in off]
    print(f"frozen {cells[0]}  | {cells[1]}")


def chance_table(rows: list[dict[str, Any]]) -> None:
    """Chances as said at the scored hours, and how often it came to that (a reliability diagram in figures: Murphy &
    Winkler 1977, Appl. Stat. 26:41), with the Brier score."""
    said = np.array([[s["chance"] for s in r["scores"]] for r in rows])
    came = np.array(
        [[r["truth"]["core_over_limit_at_h"] is not None] * len(PARTS) for r in rows], dtype=float
    )
    place = np.clip(np.searchsorted(CHANCES, said, side="left"), 1, len(CHANCES) - 1)
    print(
        f"\n{'chance':>12} {'forecasts':>10} {'said':>6} {'came':>6}   Brier {np.mean((said - came) ** 2):.4f}"
    )
    for i in range(1, len(CHANCES)):
        mine = place == i
        if mine.any():
            print(
                f"{CHANCES[i - 1]:>6.2f}–{CHANCES[i]:.2f} {mine.sum():>10} {said[mine].mean():>6.0%} "
                f"{came[mine].mean():>6.0%}"
            )


def call_table(rows: list[dict[str, Any]]) -> None:
    """The calls of the forecast, of the frozen prediction and of the thermometer."""
    hot = [r for r in rows if r["truth"]["core_over_limit_at_h"] is not None]
    mild = [r for r in rows if r["truth"]["core_over_limit_at_h"] is None]
    print(f"\n{len(hot)} pours pass the limit, {len(mild)} never do")
    print(f"{'':>12} {'called before':>14} {'median lead':>12} {'false calls':>12} {'raised again':>13}")
    kinds = {
        "forecast": lambda r: call_of(r["calls"]),
        "frozen plan": lambda r: (0.0 if r["frozen_c"] > r["limit_c"] else None, 1),
        "thermometer": lambda r: (r["thermometer_h"], 1),
    }
    for kind, call in kinds.items():
        leads = []
        for r in hot:
            at, over_at = call(r)[0], r["truth"]["core_over_limit_at_h"]
            if at is not None and at < over_at:
                leads.append((over_at - at) / over_at)
        # One that was not called in time leads by nothing.
        lead = np.median(leads + [0.0] * (len(hot) - len(leads))) if hot else np.nan
        false = sum(call(r)[0] is not None for r in mild)
        again = sum(max(0, call(r)[1] - 1) for r in rows)
        print(
            f"{kind:>12} {len(leads):>7} of {len(hot):<3} {lead:>12.0%} {false:>5} of {len(mild):<3} {again:>13}"
        )


def main() -> None:
    """Print the table."""
    said = argparse.ArgumentParser(description=__doc__)
    said.add_argument("folder", type=Path)
    said.add_argument("--members", type=int, default=64)
    said.add_argument("--seed", type=int, default=0)
    said.add_argument("--every", type=int, default=1, help="only every n-th pour")
    said.add_argument("--no-calls", action="store_true", help="only the scores")
    said.add_argument("--rows", type=Path, default=None)
    said.add_argument(
        "--most", type=int, default=1000, help="run no more pours than this, then show the table"
    )
    asked = said.parse_args()
    rows: list[dict[str, Any]] = []
    if asked.rows is not None and asked.rows.exists():
        rows = [json.loads(line) for line in asked.rows.read_text(encoding="utf-8").splitlines()]
    there = {row["name"] for row in rows}
    for row in rows:
        show(row)
    folders = [f for f in sorted(asked.folder.iterdir()) if (f / "truth.json").exists()][:: asked.every]
    for folder in [f for f in folders if f.name not in there][: asked.most]:
        rows.append(row_of(read_pour(folder), asked.members, asked.seed, not asked.no_calls))
        show(rows[-1])
        if asked.rows is not None:
            with asked.rows.open("a", encoding="utf-8") as file:
                file.write(json.dumps(rows[-1]) + "\n")
    table(rows)
    chance_table(rows)
    if not asked.no_calls:
        call_table(rows)


if __name__ == "__main__":
    main()
