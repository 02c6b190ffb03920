"""How long a record takes to prove and to seal, and that no mutation of it goes unseen. All data is invented.

    .venv/bin/python tests/bench/record.py [--mutations 10000] [--rows 311040] [--seed 1]

311 040 rows are 72 h of 6 probes at 5 s. Times are this process's CPU time and the wall's, in one run; the ratio is
to reading the same rows from the same file and doing nothing with them.
"""

from __future__ import annotations

import argparse
import importlib.util
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hardware.clock import Stamp
from logger.cure.solver.prediction import MODEL_VERSION
from logger.pour import Stage
from logger.record.seal import seal
from logger.record.verify import verify
from logger.store import events, forecasts, pours, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.hash_chain import linked_readings
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.store.readings import save_batch
from logger.wire import WireReading

HERE = Path(__file__).resolve().parent
START_MS = 1_795_593_600_000
PLACES = ("core", "core-2", "surface", "underside", "room", "room-2")
PLAN = """
title = "River table (invented)"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 330
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[pour]
shape = "river"
depth_mm = 40
width_mm = 250
[air]
room_c = 21
"""


class _Clock:
    """Moved by hand."""

    def __init__(self) -> None:
        self.ms = 0

    def stamp(self) -> Stamp:
        return Stamp(START_MS + self.ms, "boot-a", 1_000_000 + self.ms, True)


def make(folder: Path, rows: int) -> tuple[Store, int]:
    """A pour with so many readings, closed and sealed."""
    store, clock = Store(f"sqlite:///{folder / f'{rows}.sqlite3'}"), _Clock()
    timeline = Timeline(store, clock)
    with store.write() as tx:
        station_id, _token = stations.enrol(tx, "bench-1", 0)
        pour_id = pours.add_pour(
            tx,
            PlannedPour(title="River table (invented)", client="", plan_toml=PLAN, station_id=station_id),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        pours.freeze_prediction(tx, pour_id, {"peak_c": 40.0, "peak_at_h": 20.0}, MODEL_VERSION)
        for stage in (Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING):
            pours.move_on(tx, pour_id, stage, "Ada", timeline)
        for number in range(12):
            events.add_event(
                tx, pour_id, timeline.true_ms(), "note", "Ada", f"note {number}", {"n": number / 7}
            )
        forecasts.add_forecast(tx, pour_id, 1.0, timeline.true_ms(), {"at_h": 1.0, "core": [1.5, 2.5]})
    seq = 0
    while seq < rows:
        batch = []
        for _ in range(min(498, rows - seq)):
            if seq % len(PLACES) == 0:
                clock.ms += 5000
            place = seq % len(PLACES)
            seq += 1
            batch.append(
                WireReading(
                    f"28-0000000000c{place}",
                    PLACES[place],
                    clock.stamp(),
                    21_000 + (seq * 7919) % 30_000,
                    None,
                    f"{seq % 65536:04x}0c10ab",
                    None,
                    seq=seq,
                )
            )
        with store.write() as tx:
            save_batch(
                tx,
                ReadingBatch(stations.by_name(tx, "bench-1").id, "spool-1", clock.stamp(), batch),
                timeline.true_ms(),
            )
    with store.write() as tx:
        for stage in (Stage.RELEASED, Stage.CLOSED):
            pours.move_on(tx, pour_id, stage, "Ada", timeline)
        timed("sealing", lambda: seal(tx, pour_id, "Ada", timeline.true_ms(), "Wharf Lane (invented)"))
    return store, pour_id


def timed(what: str, do: Callable[[], Any]) -> tuple[float, Any]:
    """(CPU seconds, answer), printed."""
    cpu, wall = time.process_time(), time.perf_counter()
    answer = do()
    cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
    print(f"{what:34s} {cpu:7.3f} s CPU {wall:7.3f} s wall")
    return cpu, answer


def speed(store: Store, pour_id: int) -> None:
    """Proves the large pour."""
    with store.read() as connection:
        verify(connection, pour_id)
        reading, rows = timed(
            "reading the rows only", lambda: sum(1 for _ in linked_readings(connection, pour_id))
        )
        proving, verdict = timed("verify", lambda: verify(connection, pour_id))
    print(f"{rows:,} rows; {verdict.sentence}; ratio to reading {proving / reading:.2f}")
    assert verdict.ok


def mutate(store: Store, pour_id: int, count: int, seed: int) -> int:
    """Mutates the small pour and counts what was not found, or not where it was done."""
    spec = importlib.util.spec_from_file_location("mutations", HERE.parent / "logger/record/mutations.py")
    assert spec is not None
    assert spec.loader is not None
    module = sys.modules["mutations"] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    database = sqlite3.connect(str(store.url.database))
    database.execute("PRAGMA synchronous=OFF")
    mutator = module.Mutator(database, pour_id, seed)
    done, missed, misplaced = Counter[str](), Counter[str](), Counter[str]()
    for mutation in mutator.many(count):
        if not mutator.apply(mutation):
            continue
        with store.read() as connection:
            verdict = verify(connection, pour_id)
        mutator.undo(mutation)
        done[mutation.kind] += 1
        if verdict.ok:
            missed[mutation.kind] += 1
            print("MISSED", mutation.words)
        elif not module.located(mutation, verdict):
            misplaced[mutation.kind] += 1
            print("ELSEWHERE", mutation.words, "->", verdict.sentence)
    database.close()
    for kind in sorted(done):
        print(f"{kind:12s} {done[kind]:6d} made, {missed[kind]} missed, {misplaced[kind]} named elsewhere")
    print(f"{done.total():,} mutations, {missed.total()} missed, {misplaced.total()} named elsewhere")
    with store.read() as connection:
        assert verify(connection, pour_id).ok
    return missed.total() + misplaced.total()


def main() -> None:
    """Both."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--mutations", type=int, default=10_000)
    parser.add_argument("--rows", type=int, default=311_040)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if given.rows:
            store, pour_id = make(Path(folder), given.rows)
            speed(store, pour_id)
            store.close()
        if given.mutations:
            store, pour_id = make(Path(folder), 120)
            wrong = mutate(store, pour_id, given.mutations, given.seed)
            store.close()
            sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
