"""The spool: kept, numbered without gaps, forgotten only when told."""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from logger.daemon.spool import FORGET_AT_ONCE, MEMORY, Spool, SpoolFull


def numbers(spool: Spool) -> list[int]:
    """Numbers of all rows that are left."""
    return [row.seq for row in spool.oldest(100_000)]


def test_rows_come_back_as_they_were_kept(tmp_path: Path, row: Any) -> None:
    """Temperatures, faults, notes, humidity, and stamps of two boots."""
    kept = [
        row(1),
        row(2, milli_c=None, fault="empty-read", raw=None, note="no bytes"),
        row(3, boot_id="boot-b", milli_rh=45_200),
    ]
    spool = Spool(tmp_path / "spool.sqlite3")
    assert spool.append(kept) == 3
    spool.close()
    spool = Spool(tmp_path / "spool.sqlite3")
    assert [asdict(found) for found in spool.oldest(10)] == [
        {**asdict(row), "seq": seq} for seq, row in enumerate(kept, 1)
    ]
    spool.close()


def test_a_commit_waits_for_the_disk(tmp_path: Path) -> None:
    """WAL and synchronous=FULL (2): what append has returned for survives a power cut."""
    spool = Spool(tmp_path / "spool.sqlite3")
    assert spool._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert spool._db.execute("PRAGMA synchronous").fetchone() == (2,)
    spool.close()


def test_numbers_go_on_after_a_restart_even_if_all_was_forgotten(tmp_path: Path, row: Any) -> None:
    """A number is never used twice within one spool."""
    spool = Spool(tmp_path / "spool.sqlite3")
    name = spool.name
    spool.append([row(n) for n in range(5)])
    spool.forget(5)
    assert numbers(spool) == []
    spool.close()
    spool = Spool(tmp_path / "spool.sqlite3")
    assert spool.name == name
    assert spool.append([row(6)]) == 6
    assert numbers(spool) == [6]
    spool.close()


def test_forgotten_rows_leave_the_file_with_a_later_append(tmp_path: Path, row: Any) -> None:
    """No commit of their own: the card is not written for forgetting."""
    spool = Spool(tmp_path / "spool.sqlite3")
    spool.append([row(n) for n in range(FORGET_AT_ONCE)])
    spool.forget(FORGET_AT_ONCE)
    assert spool._db.execute("SELECT count(*) FROM row").fetchone() == (FORGET_AT_ONCE,)
    spool.append([row(1)])
    assert spool._db.execute("SELECT count(*) FROM row").fetchone() == (1,)
    spool.close()


def test_nobody_can_make_it_forget_what_it_has_not_sent(tmp_path: Path, row: Any) -> None:
    """An acknowledgement far beyond the last number forgets no later row."""
    spool = Spool(tmp_path / "spool.sqlite3")
    spool.append([row(1)])
    spool.forget(1_000_000)
    spool.append([row(2)])
    assert numbers(spool) == [2]
    spool.forget(0)
    assert numbers(spool) == [2]
    spool.close()


def test_a_full_spool_keeps_the_oldest_and_refuses_the_newest(row: Any) -> None:
    """A gap could never be closed; and after some are acknowledged there is room again."""
    spool = Spool(MEMORY, max_rows=3)
    spool.append([row(1), row(2)])
    with pytest.raises(SpoolFull, match="allowed: 3"):
        spool.append([row(3), row(4)])
    assert numbers(spool) == [1, 2]
    spool.forget(1)
    assert spool.append([row(3), row(4)]) == 4
    spool.close()


def test_a_refused_commit_keeps_nothing_and_uses_no_number(tmp_path: Path, row: Any) -> None:
    """The disk is full in the middle: all of the sweep is kept, or none of it."""
    spool = Spool(tmp_path / "spool.sqlite3")
    spool.append([row(1)])
    (pages,) = spool._db.execute("PRAGMA page_count").fetchone()
    spool._db.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(sqlite3.OperationalError, match="full"):
        spool.append([row(n, note="x" * 300, boot_id="boot-b") for n in range(2, 60)])
    spool._db.execute("PRAGMA max_page_count = 100000")
    assert spool.append([row(2, boot_id="boot-b")]) == 2
    assert numbers(spool) == [1, 2]
    spool.close()


def test_a_row_that_cannot_be_written_leaves_no_half_sweep(row: Any) -> None:
    """The third row of four is beyond what a column holds: none is kept, and the next sweep is."""
    spool = Spool(MEMORY)
    with pytest.raises(OverflowError):
        spool.append([row(1), row(2), row(3, milli_c=2**70), row(4)])
    assert spool.append([row(5)]) == 1
    assert [kept.milli_c for kept in spool.oldest(10)] == [20_005]
    spool.close()


def test_renewing_numbers_what_is_left_from_one_under_another_name(tmp_path: Path, row: Any) -> None:
    """In the same order, on disk as well."""
    spool = Spool(tmp_path / "spool.sqlite3")
    name = spool.name
    spool.append([row(n) for n in range(1, 8)])
    spool.forget(4)
    spool.renew()
    assert spool.name != name
    assert [(found.seq, found.milli_c) for found in spool.oldest(10)] == [
        (1, 20_005),
        (2, 20_006),
        (3, 20_007),
    ]
    spool.append([row(8)])
    renewed = spool.name
    spool.close()
    spool = Spool(tmp_path / "spool.sqlite3")
    assert spool.name == renewed
    assert numbers(spool) == [1, 2, 3, 4]
    spool.close()


def test_a_damaged_spool_is_refused_when_it_is_opened(tmp_path: Path, row: Any) -> None:
    """It is not read as if it were whole."""
    path = tmp_path / "spool.sqlite3"
    spool = Spool(path)
    spool.append([row(n, note="x" * 100) for n in range(500)])
    spool.close()
    content = bytearray(path.read_bytes())
    content[8192:12288] = bytes(4096)
    path.write_bytes(content)
    with pytest.raises(sqlite3.DatabaseError):
        Spool(path)


WRITER = """
import sys
from pathlib import Path
from hardware.clock import Stamp
from logger.daemon.spool import Spool
from logger.wire import UnnumberedReading
spool = Spool(Path(sys.argv[1]))
n = spool.last_seq
while True:
    rows = [UnnumberedReading("28-0000000000a1", "core", Stamp(n + i, "boot-a", n + i, True), n + i, None, None, None)
            for i in range(1, 7)]
    n = spool.append(rows)
    spool.forget(n - 400)
    print(n, flush=True)
"""


def test_a_killed_station_has_every_row_whose_commit_returned(tmp_path: Path) -> None:
    """Six SIGKILLs at random moments: nothing lost, nothing doubled, no gap, nothing torn."""
    path = tmp_path / "spool.sqlite3"
    dice = random.Random(7)
    last = 0
    for _ in range(6):
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True
        ) as writer:
            assert writer.stdout is not None
            for _ in range(dice.randrange(5, 150)):
                last = int(writer.stdout.readline())
            writer.send_signal(signal.SIGKILL)
            rest = writer.stdout.read().splitlines()
            # A last line may have been cut by the kill.
            last = max([last, *(int(line) for line in rest[:-1])])
        spool = Spool(path)
        assert spool._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert last <= spool.last_seq
        assert spool.last_seq % 6 == 0, "a sweep was kept in part"
        found = spool.oldest(100_000)
        assert [row.seq for row in found] == list(range(spool.forgotten + 1, spool.last_seq + 1))
        assert all(row.milli_c == row.seq for row in found)
        spool.close()
