"""Power cuts by the thousand over a station and its service; the same with fewer syncs, which must lose. By hand:

    python tests/bench/robust_power_cuts.py [--cuts 20000] [--sweeps 400] [--seed 1]

Needs gcc. Every 200th cut is followed by a start of both sides, which catch up and prove the record.
"""

from __future__ import annotations

import argparse
import logging
import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "robust"))

from after_cut import cut_many
from power_cuts import record


def main() -> None:
    """Prints one line for each way of syncing."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--cuts", type=int, default=20_000)
    asked.add_argument("--sweeps", type=int, default=400)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    logging.basicConfig(level=logging.CRITICAL)
    shared = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(prefix="pourlog-", dir=shared if shared.is_dir() else None))
    try:
        for synchronous, cuts in (("FULL", given.cuts), ("NORMAL", 400), ("OFF", 400)):
            events = record(folder / synchronous, sweeps=given.sweeps, synchronous=synchronous)
            syncs, promises = (sum(event.op == op for event in events) for op in "SM")
            began = time.monotonic()
            told = cut_many(
                events, folder, cuts, seed=given.seed, start_every=200 if synchronous == "FULL" else 0
            )
            print(
                f"synchronous {synchronous}: {told} in {time.monotonic() - began:.0f} s; "
                f"{len(events)} events, {syncs} syncs, {promises} promises",
                flush=True,
            )
            for text in told.examples[:3]:
                print(f"    {text}")
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
