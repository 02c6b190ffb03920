"""Does advice hold when it is followed? Run: python tests/bench/advice.py [plans] [first seed]

Random plans of invented resins are assessed; whatever the assessment advises with numbers (layers and their times, the
deepest layer, a cooler room, a fan, air below) is fed back as a plan: `predict` says whether it keeps the limit, and
its own chances whether it does so in 19 of 20 cases:
layers at times drawn within their windows, and, of every fifth plan, at the opening, the middle and the close of all.
A refuted advice ends with exit code 1.
"""

from __future__ import annotations

import math
import sys
import time
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from logger.cure.advice.layering import PARTS, Joint, LayerPlan, layer_verdicts
from logger.cure.advice.limits import deepest_safe, in_allowed_room, single_layer
from logger.cure.solver.prediction import long_enough, predict, predict_coarsely
from logger.errors import DidNotConverge
from logger.plan.file import Plan, plan_from_table
from logger.planning.chances import GREEN_BELOW, quick_chances, sure_peak_c
from logger.planning.cure_answers import CureAnswers, ask_cure

#: Invented: no resin on the market. (heat J/g, k1, k2 1/s, deepest pour that its datasheet would name, mm)
RESINS = {
    "slow": (380.0, 4e-7, 2.9e-5, 50.0),
    "medium": (400.0, 1e-6, 6e-5, 30.0),
    "quick": (420.0, 3e-6, 1.5e-4, 12.0),
}


@dataclass(frozen=True)
class Followed:
    """One advice followed: what it was, the peak that `predict` gives, the limit (°C), and its chance to pass it."""

    kind: str
    peak_c: float
    limit_c: float
    chance: float = 0.0

    @property
    def refuted(self) -> bool:
        """Whether its own prediction says that it breaks the limit, or its own chances that it is not sure."""
        return self.peak_c > self.limit_c or self.chance > GREEN_BELOW + 1e-9


def draw_plan(seed: int) -> Plan:
    """A random plan, mostly too deep, of a river, round or sheet; some rooms change, some are out of range."""
    draw = np.random.default_rng(seed)
    kind = str(draw.choice(["slow", "slow", "medium", "quick"]))
    heat, k1, k2, sheet_mm = RESINS[kind]
    factor = float(draw.uniform(0.8, 1.25))
    shape = str(draw.choice(["river", "river", "river", "round", "sheet"]))
    depth = float(round(sheet_mm * draw.uniform(0.8, 2.5)))
    room: float | list[tuple[float, float]] = float(round(draw.uniform(18.0, 28.0), 1))
    if draw.random() < 0.15:
        base = float(room)
        room = [(h, base + (2.0 if (h // 12) % 2 else -1.0)) for h in np.arange(0.0, 400.0, 12.0).tolist()]
    elif draw.random() < 0.12:
        room = float(round(draw.choice([draw.uniform(10.0, 16.0), draw.uniform(30.0, 35.0)]), 1))
    table = {
        "title": f"invented plan {seed}",
        "resin": {
            "name": f"invented {kind}",
            "heat_of_cure_j_g": heat * float(draw.uniform(0.9, 1.05)),
            "rate": {"k1_per_s": k1 * factor, "k2_per_s": k2 * factor, "m": 1.0, "n": 2.0},
            "limits": {"max_depth_mm": sheet_mm} if draw.random() < 0.7 else {},
        },
        "pour": {"shape": shape, "depth_mm": depth},
        "form": {"bottom": {"thickness_mm": float(draw.choice([9.0, 18.0, 30.0]))}},
        "air": {"room_c": room},
    }
    if shape != "sheet":
        table["pour"] |= {"width_mm": float(round(draw.uniform(60.0, 600.0))), "length_mm": 1500.0}
    if draw.random() < 0.3:
        table["pour"]["start_c"] = float(round(draw.uniform(18.0, 30.0), 1))
    if (under := str(draw.choice(["open", "closed", "unsaid"]))) != "unsaid":
        table["form"]["underside"] = under
    if draw.random() < 0.15:
        table["air"] |= {"top_w_m2k": 9.0, "bottom_w_m2k": 6.0, "side_w_m2k": 5.0}
    if draw.random() < 0.15:
        table["air"]["top_air_m_s"] = 1.5
    if shape == "river" and draw.random() < 0.2:
        table["outline"] = {"edge_slope_deg": float(draw.uniform(0.0, 30.0))}
    if draw.random() < 0.25:
        count = int(draw.integers(2, 4))
        table["pour"]["depth_mm"] = round(depth / count, 1)
        waits = np.cumsum(draw.uniform(6.0, 70.0, count - 1)).round(1).tolist()
        table["layer"] = [{"at_h": at_h, "depth_mm": round(depth / count, 1)} for at_h in waits]
    return plan_from_table(table)


def follow(plan: Plan, cure: CureAnswers, seed: int, *, every: bool = True) -> list[Followed]:
    """Every advice of the answers, as `predict` judges it; every: also what the search itself has proven."""
    limit = plan.resin.limits.max_core_c
    allowed, _ = in_allowed_room(plan)
    found: list[Followed] = []
    if cure.layers is not None:
        draw = np.random.default_rng(seed)
        parts = PARTS if every else ()
        ways = {f"at {part:g}": cure.layers.followed(allowed, part) for part in parts}
        ways["within"] = _within(cure.layers, draw).followed(allowed)
        found += [_followed(f"layers {name}", way) for name, way in ways.items()]
        if cure.layers.bonds:
            found_joints = [one for way in ways.values() for one in layer_verdicts(way)]
            wrong = [one for one in found_joints if one.verdict != "bonds"]
            found += [Followed(f"layers that should bond: {one.message}", math.inf, limit) for one in wrong]
    if cure.deepest_mm is not None and every:
        single = long_enough(single_layer(allowed, cure.deepest_mm))
        found.append(_followed("deepest layer", single))
    if cure.remedy is not None:
        found.append(Followed("remedy", cure.remedy.peak_c, limit))
    if cure.sure_mm is not None and every:
        found.append(_followed("sure layer", long_enough(single_layer(allowed, cure.sure_mm))))
    if cure.room_chances is not None and cure.room_chances.over <= GREEN_BELOW:
        found.append(_followed("room", long_enough(allowed)))
    return found


def _followed(kind: str, plan: Plan) -> Followed:
    return Followed(kind, predict(plan).peak_c, plan.resin.limits.max_core_c, quick_chances(plan).over)


def _within(layers: LayerPlan, draw: np.random.Generator) -> LayerPlan:
    """The layers, each poured at a time drawn within its window."""
    joints = tuple(Joint(joint.wait_h(float(draw.random())), None) for joint in layers.joints)
    return replace(layers, joints=joints)


def main(plans: int, first: int) -> int:
    """The table; 1 where an advice is refuted."""
    counts: Counter[str] = Counter()
    refuted: list[str] = []
    worst: dict[str, float] = {}
    began = time.process_time()
    spent = 0.0
    for seed in range(first, first + plans):
        plan = draw_plan(seed)
        try:
            whole = predict_coarsely(plan)  # what it reaches as planned is not what is judged here
            at = time.process_time()
            cure = ask_cure(plan, whole)
            spent += time.process_time() - at
        except DidNotConverge as error:
            counts["not solved"] += 1
            print(f"  {seed}: {error}", file=sys.stderr)
            continue
        counts["too hot, too deep or too early" if cure.layers_asked else "holds as planned"] += 1
        if cure.layers_asked:
            counts["advised layers" if cure.layers else "no layers hold, said so"] += 1
            if cure.layers is not None and not cure.layers.bonds:
                counts["  of these with a scuff"] += 1
        for one in follow(plan, cure, seed, every=seed % 5 == 0):
            counts[f"followed: {one.kind}"] += 1
            worst[one.kind] = max(worst.get(one.kind, -999.0), one.peak_c - one.limit_c)
            if one.refuted:
                refuted.append(
                    f"{seed}: {one.kind} reaches {one.peak_c:.1f} °C, limit {one.limit_c:g} °C, "
                    f"chance {100 * one.chance:.0f} %"
                )
                print(f"  refuted: {refuted[-1]}", file=sys.stderr, flush=True)
        if cure.deepest_mm is not None and seed % 10 == 0 and not plan.layer:
            counts["`advise` asked for the same deepest layer"] += 1
            allowed, _ = in_allowed_room(plan)
            if deepest_safe(allowed, reaches=sure_peak_c).bracket.safe != cure.deepest_mm:
                refuted.append(f"{seed}: plan says {cure.deepest_mm:g} mm, advise another")
                print(f"  refuted: {refuted[-1]}", file=sys.stderr, flush=True)
        if seed % 25 == 24:
            print(
                f"  … {seed - first + 1} plans, {time.process_time() - began:.0f} s",
                file=sys.stderr,
                flush=True,
            )
    print(f"{plans} random plans, seeds {first} to {first + plans - 1}")
    for name in sorted(counts):
        kind = name.removeprefix("followed: ")
        over = f"   nearest to the limit {worst[kind]:+.2f} K" if kind in worst else ""
        print(f"  {name:<44} {counts[name]:>5}{over}")
    print(f"  {'refuted by its own prediction':<44} {len(refuted):>5}")
    print(f"  solver's time for an assessment, beyond the prediction: {spent / max(plans, 1):.1f} s")
    return 1 if refuted else 0


if __name__ == "__main__":
    sys.exit(
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 500, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
    )
