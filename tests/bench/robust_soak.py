"""Weeks in minutes: pours come and go, and memory, handles, threads and the database are looked at. Run by hand:

    python tests/bench/robust_soak.py [--days 30] [--sweeps-a-batch 60]

Four probes every 30 s, one pour every three days, each sealed at its end; the station's spool, forwarder and the
service's app, watch and sender run in this process on a clock moved by hand. Goals: memory flat within 5 % after the
first two pours, handles and threads flat, the database as large as its readings are.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
import tempfile
import threading
import time
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "robust"))

import recorded_pour as recorded
from whole_shop import Shop

from logger.daemon.forward import ForwardStep
from logger.pour import Stage
from logger.record.seal import seal
from logger.store import pours
from logger.store.pours import PlannedPour

DAYS_A_POUR = 3


def resident_mb() -> float:
    """Memory of this process that is in use."""
    return (
        int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        * os.sysconf("SC_PAGE_SIZE")
        / 1e6
    )


def pour_anew(shop: Shop, number: int) -> None:
    """The last pour is over and sealed; the next one begins."""
    service, now_ms = shop.service, shop.service.timeline.true_ms()
    with service.store.write() as tx:
        for stage in (Stage.WATCHED, Stage.CURING, Stage.RELEASED, Stage.CLOSED):
            pours.move_on(tx, number, stage, "Ada", service.timeline)
        seal(tx, number, "Ada", now_ms, "The workshop")
        new = pours.add_pour(
            tx,
            PlannedPour(title=f"Table {number + 1}", client="", plan_toml=recorded.PLAN, station_id=1),
            by="Ada",
            now_ms=now_ms,
        )
        pours.freeze_prediction(tx, new, recorded.CALM, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, new, stage, "Ada", service.timeline)


def main() -> None:
    """Prints one line for each pour."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--days", type=int, default=30)
    asked.add_argument("--sweeps-a-batch", type=int, default=60)
    given = asked.parse_args()
    logging.disable()
    recorded.core_milli_c = lambda sweep: 21_000 + sweep % 7  # calm
    began = time.monotonic()
    looked: list[tuple[float, int, int, int]] = []
    with tempfile.TemporaryDirectory(prefix="pourlog-") as scratch:
        folder = Path(scratch)
        shop = Shop(folder)
        sweeps = 0
        for number in range(1, given.days // DAYS_A_POUR + 1):
            for _ in range(DAYS_A_POUR * 2880 // given.sweeps_a_batch):
                for _ in range(given.sweeps_a_batch):
                    shop.keeper.store(recorded.rows_of(sweeps, shop.clock), shop.clock.stamp().boot_s)
                    sweeps += 1
                    shop.clock.advance(30)
                while shop.forwarder.step() is ForwardStep.SENT:
                    pass
                shop.service.watch.judge_all()
                shop.sender.send_due()
            pour_anew(shop, number)
            size = sum(path.stat().st_size for path in (folder / "service").glob("pourlog.sqlite3*"))
            spool = sum(path.stat().st_size for path in folder.glob("spool.sqlite3*"))
            handles = sum(1 for _ in Path("/proc/self/fd").iterdir())
            looked.append((resident_mb(), handles, threading.active_count(), size))
            print(
                f"day {number * DAYS_A_POUR}: {looked[-1][0]:.1f} MB resident, {handles} handles, "
                f"{looked[-1][2]} threads, database {size / 1e6:.1f} MB "
                f"({size / (sweeps * 4):.0f} bytes a reading), spool {spool / 1e6:.2f} MB, "
                f"{shop.service.watch.trouble or 'no trouble'}; {time.monotonic() - began:.0f} s",
                flush=True,
            )
        shop.close()
    # The first two pours load what is loaded once.
    settled = looked[1:]
    memory, handles_seen, threads_seen, sizes = (list(column) for column in zip(*settled, strict=True))
    grown = [later - earlier for earlier, later in pairwise(sizes)]
    print(
        f"after two pours: memory {100 * (max(memory) / memory[0] - 1):+.1f} % at most, handles "
        f"{min(handles_seen)} to {max(handles_seen)}, threads {min(threads_seen)} to {max(threads_seen)}; "
        f"a pour adds {min(grown) / 1e6:.1f} to {max(grown) / 1e6:.1f} MB"
    )


if __name__ == "__main__":
    main()
