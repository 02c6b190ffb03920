"""Rows by the million through a network that loses, repeats, reorders and garbles. Run by hand:

python tests/bench/robust_network.py [--rows 1000000] [--seed 1]
"""

from __future__ import annotations

import argparse
import logging
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "robust"))

from bad_network import send_through


def main() -> None:
    """Prints what came of it."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--rows", type=int, default=1_000_000)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    logging.disable()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="pourlog-") as folder:
        told = send_through(Path(folder), rows=given.rows, seed=given.seed, at_once=500)
    seconds = time.monotonic() - began
    print(
        f"{given.rows} rows kept, {told.stored} stored, {told.requests} requests of which went {dict(told.ways)}; "
        f"{told.wrong or 'stored set = sent set, in order'}; {seconds:.0f} s"
    )


if __name__ == "__main__":
    main()
