"""Lies of probes by the ten thousand, on a whole station of the bench. Run by hand:

python tests/bench/robust_probes.py [--faults 10000] [--runs 3] [--seed 1]
"""

from __future__ import annotations

import argparse
import logging
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "robust"))

from lying_station import run


def main() -> None:
    """Prints what each run came to."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--faults", type=int, default=10_000)
    asked.add_argument("--runs", type=int, default=3)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    logging.disable()
    for seed in range(given.seed, given.seed + given.runs):
        began = time.monotonic()
        shared = Path("/dev/shm")
        with tempfile.TemporaryDirectory(dir=shared if shared.is_dir() else None) as folder:
            told = run(Path(folder), faults=given.faults, seed=seed)
        far = sum(off_c > 1.25 for off_c in told.stuck_off_c)
        print(
            f"{sum(told.injected.values())} faults in {told.rows} rows: {len(told.false)} false temperatures as good, "
            f"{len(told.refused)} true ones refused, {told.true_85} readings of a true 85.0 ({told.unprovable} of a "
            f"clone between lies could not be proven), {told.old} old samples of which {told.old_doubted} doubted; "
            f"without a doubt a repeated one was off by up to {told.repeated_off_c:.2f} °C, a stuck one by "
            f"{max(told.stuck_off_c):.2f} °C, by more than 1.25 °C in {far} looks; {time.monotonic() - began:.0f} s",
            flush=True,
        )
        for text in (*told.false[:3], *told.refused[:3]):
            print(f"    {text}")
        print(f"    {dict(told.injected)}")


if __name__ == "__main__":
    main()
