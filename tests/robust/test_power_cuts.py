"""The power fails at any moment: what was acknowledged is there afterwards, in the spool or in the service."""

from __future__ import annotations

import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from after_cut import cut_many
from needs import needs_program
from power_cuts import Disk, Luck, record, record_process
from recorded_pour import begin

from hardware.bench.clock import SteppedClock
from logger.settings import Settings
from logger.store.backup import back_up
from web.service.service import Service

#: Where the recorder cannot be built there is nothing to replay.
pytestmark = needs_program("gcc", "gcc libc6-dev")

SWEEPS = 40


def test_no_power_cut_loses_what_was_acknowledged(in_memory: Path) -> None:
    """1,500 cuts over station and service together, while they are made, watch, checkpoint and catch up."""
    events = record(in_memory / "full", sweeps=SWEEPS)
    syncs = sum(event.op == "S" for event in events)
    promises = sum(event.op == "M" for event in events)
    assert syncs >= promises > SWEEPS, "nothing is acknowledged before the disk was told to finish"
    told = cut_many(events, in_memory, 1500, seed=1, start_every=100)
    assert told.examples == []
    assert (told.cuts, told.started) == (1500, 15)


@pytest.mark.parametrize("synchronous", ["NORMAL", "OFF"])
def test_the_same_cuts_show_losses_where_fewer_syncs_are_made(in_memory: Path, synchronous: str) -> None:
    """The test of the test: it would see it if somebody made the database faster."""
    events = record(in_memory / synchronous, sweeps=SWEEPS, synchronous=synchronous)
    told = cut_many(events, in_memory, 100, seed=2)
    assert told.with_loss > 30


def test_the_power_may_fail_at_any_moment_of_a_restore(in_memory: Path) -> None:
    """After each of 200 cuts the database is the old one or the restored one, whole, with nothing of the other."""
    service = Service.open(Settings(data_dir=str(in_memory / "live")), SteppedClock(1_795_624_200_000))
    begin(service)
    service.close()
    live = in_memory / "live" / "pourlog.sqlite3"
    made = back_up(live, in_memory / "backups", 1_795_624_200_000)
    disk_now = in_memory / "restore" / "disk" / live.name
    disk_now.parent.mkdir(parents=True)
    with closing(sqlite3.connect(live)) as database:
        database.execute("UPDATE pour SET title = 'Since the backup'")
        database.commit()
        # As after a kill: the newest is only in the log.
        for ending in ("", "-wal"):
            shutil.copyfile(f"{live}{ending}", f"{disk_now}{ending}")
    was = {path.name: (path.stat().st_ino, path.read_bytes()) for path in disk_now.parent.iterdir()}
    program = (
        "import sys; from pathlib import Path; from logger.store.backup import restore; "
        "restore(Path(sys.argv[1]), Path(sys.argv[2]))"
    )
    events = record_process(in_memory / "restore", ["-c", program, str(made.path), str(disk_now)])
    disk, chance, found = Disk(events, was), random.Random(1), set()
    for number, at in enumerate(sorted(chance.randint(1, len(events)) for _ in range(200))):
        disk.go_to(at)
        folder = in_memory / "cut"
        folder.mkdir()
        disk.cut(folder, tuple(Luck)[number % 3], chance)
        with closing(sqlite3.connect(folder / live.name)) as database:
            assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            found.add(database.execute("SELECT title FROM pour").fetchone()[0])
        shutil.rmtree(folder)
    assert found == {"Since the backup", "Recorded"}
