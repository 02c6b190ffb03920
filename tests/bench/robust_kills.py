"""Kills of station and service by the hundred while a pour is watched, beside the same pour undisturbed. By hand:

    python tests/bench/robust_kills.py [--kills 500] [--kills-a-pour 80] [--hours 1.9] [--seed 1]

Pours are run one after another until so many processes have been killed. The simulated time waits for the service,
so that only the kills tell one pour from the other.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "robust"))

from kills import Shop, Told, differences


def run(folder: Path, hours: float, chance: random.Random | None, kills: int) -> Told:
    """One pour."""
    shop = Shop(folder, hours)
    try:
        told = shop.run(chance, 0.15, kills)
    finally:
        shop.close()
    told.lost += [f"still running: {process}" for process in shop.left_over()]
    return told


def main() -> None:
    """Prints what each pour came to, and the sum."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--kills", type=int, default=500)
    asked.add_argument("--kills-a-pour", type=int, default=80)
    asked.add_argument("--hours", type=float, default=1.9)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    total, number, wrong, readings, twice = Counter[str](), 0, 0, 0, 0
    with tempfile.TemporaryDirectory(prefix="pourlog-") as folder:
        calm = run(Path(folder) / "calm", given.hours, None, 0)
        print(
            f"undisturbed: {calm.readings} readings, {len(calm.sent)} messages, {calm.seconds:.0f} s",
            flush=True,
        )
        while total.total() < given.kills:
            chance = random.Random(given.seed * 1000 + number)
            most = min(given.kills_a_pour, given.kills - total.total())
            told = run(Path(folder) / str(number), given.hours, chance, most)
            number += 1
            total += told.kills
            found = differences(calm, told)
            wrong += bool(found)
            readings += told.readings
            twice += len(told.took) - len(told.sent)
            print(
                f"{told.kills.total()} kills {dict(told.kills)}: {told.readings} readings, "
                f"{len(told.took)} messages came of {len(told.sent)}, {told.seconds:.0f} s; {found or 'no difference'}",
                flush=True,
            )
    print(
        f"{total.total()} kills {dict(total)} over {number} pours, {readings} readings: "
        f"{wrong} pours with a difference, {twice} messages came twice"
    )


if __name__ == "__main__":
    main()
