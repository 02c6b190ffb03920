"""Bands that are made from a depth and a working time alone, judged by invented resins and a simulator of their own.

python tests/bench/depth_and_time.py [cases]: prints in how many cases the true peak of a river of the datasheet's depth
lies inside the 90 % band, how wide that is, and what planning says of the pour and of one twice as deep.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np

from logger.cure.fit.datasheet import datasheet_from_text
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.cure.solver.planned_band import member_peaks, members_of
from logger.cure.solver.prediction import long_enough, predict_coarsely
from logger.plan.file import plan_from_table
from logger.planning.assess import assess
from logger.planning.chances import quick_chances
from logger.planning.cure_answers import answers_of
from logger.planning.finding import Light
from logger.words.reader import Reader
from tests.bench.invented_resins import WOOD_M, draw_case, pour_peak
from web.views.datasheet_form import FormFields, sheet_toml

#: A room at the warm end of what a datasheet allows that names none (17 to 29 °C).
WARM_C = 27.0


@dataclass(frozen=True)
class Judged:
    """What came of one case: true peak and band at the core, °C; what planning stops; seconds of the fit."""

    system: str
    true_c: float
    low_c: float
    middle_c: float
    high_c: float
    stopped_inside: tuple[str, ...]
    stopped_twice: tuple[str, ...]
    fit_s: float

    @property
    def inside(self):
        """Whether the band holds the truth."""
        return self.low_c <= self.true_c <= self.high_c


def fitted(case):
    """The resin of a form in which only name, working time and deepest pour are filled."""
    given = {"resin": "invented", "working": f"{case.working_min:g}", "deepest": f"{case.depth_mm:g}"}
    return fit_datasheet(datasheet_from_text(sheet_toml(FormFields(given, Reader()))))


def planned(case, table, depth_mm, room_c, underside="open"):
    """The river as a maker plans it."""
    return plan_from_table({
        "title": "invented", "resin": table,
        "pour": {"shape": "river", "depth_mm": depth_mm, "width_mm": case.width_mm},
        "form": {"underside": underside, "side": {"thickness_mm": 1000 * WOOD_M}},
        "air": {"room_c": room_c},
    })  # fmt: skip


def stops(plan):
    """What planning stops of heat, depth and room."""
    answers = answers_of(plan, predict_coarsely(long_enough(plan)), quick_chances(plan))
    return tuple(f.key for f in assess(plan, answers=answers).findings if f.light is Light.STOP)


def judge(seed, *, verdicts=True):
    """One case from its own seed."""
    rng = np.random.default_rng(seed)
    case = draw_case(rng)
    true_c, _ = pour_peak(case.resin, case.depth_mm, case.room_c, case.films, case.width_mm)
    began = time.process_time()
    table = fitted(case).resin_table()
    fit_s = time.process_time() - began
    plan = planned(case, table, case.depth_mm, case.room_c)
    core_c = member_peaks(plan, members_of(plan.resin.possible))[0]
    inside, twice = (), ()
    if verdicts:
        room_c, underside = float(rng.uniform(18, 28)), str(rng.choice(["open", "closed"]))
        inside = stops(planned(case, table, case.depth_mm, room_c, underside))
        twice = stops(planned(case, table, 2 * case.depth_mm, WARM_C))
    low, middle, high = np.quantile(core_c, (0.05, 0.5, 0.95), method="hazen").tolist()
    return Judged(case.resin.system, float(true_c), low, middle, high, inside, twice, fit_s)


def main(count):
    """Judge so many cases and print the figures."""
    all_ = []
    for seed in range(count):
        one = judge(20_000 + seed)
        all_.append(one)
        print(f"{seed:3d} {one.system:6s} true {one.true_c:5.1f}  band {one.low_c:5.1f} {one.middle_c:5.1f} "
              f"{one.high_c:5.1f}  {'in ' if one.inside else 'OUT'}  stopped {one.stopped_inside} "
              f"twice {one.stopped_twice}  fit {one.fit_s:.1f} s", flush=True)  # fmt: skip
    widths = [one.high_c - one.low_c for one in all_]
    print(
        f"inside the 90 % band: {100 * np.mean([one.inside for one in all_]):.1f} % of {count} "
        f"(below {sum(one.true_c < one.low_c for one in all_)}, above {sum(one.true_c > one.high_c for one in all_)})"
    )
    print(f"width of the band: median {np.median(widths):.1f} K, 90 % under {np.quantile(widths, 0.9):.1f} K")
    print(f"stopped within the datasheet: {sum(bool(one.stopped_inside) for one in all_)}")
    print(
        f"stopped at twice the depth, {WARM_C:g} °C: {100 * np.mean([bool(o.stopped_twice) for o in all_]):.1f} %; "
        f"for its heat alone {100 * np.mean(['too-hot' in o.stopped_twice for o in all_]):.1f} %"
    )
    print(
        f"fit: median {np.median([o.fit_s for o in all_]):.1f} s of one core, "
        f"longest {max(o.fit_s for o in all_):.1f} s"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
