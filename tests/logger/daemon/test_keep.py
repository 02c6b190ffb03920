"""Keeping on when the disk does not."""

from __future__ import annotations

import logging
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from logger.daemon.keep import Keeper
from logger.wire import UnnumberedReading


def fill(keeper: Keeper) -> None:
    """Let the disk be full: SQLite may use no further page."""
    assert keeper._disk is not None
    keeper._disk._db.execute("PRAGMA max_page_count = 1")


def empty(keeper: Keeper) -> None:
    """Somebody made room."""
    assert keeper._disk is not None
    keeper._disk._db.execute("PRAGMA max_page_count = 100000")


def everything(keeper: Keeper) -> list[UnnumberedReading]:
    """All rows, in the order in which they would be sent."""
    return [row for spool in keeper.spools for row in spool.oldest(1000)]


def test_a_full_disk_does_not_stop_the_watch_and_says_so(
    tmp_path: Path, row: Any, caplog: pytest.LogCaptureFixture
) -> None:
    """Rows are held in memory, each with the note; one message is logged, not one a sweep."""
    keeper = Keeper(tmp_path / "spool.sqlite3")
    keeper.store([row(1)], 5)
    fill(keeper)
    with caplog.at_level(logging.CRITICAL):
        assert all(keeper.store([row(n, raw="x" * 350) for _ in range(40)], 5 * n) for n in (2, 3))
    assert keeper.pending == 81
    assert keeper.trouble is not None
    assert "full" in keeper.trouble
    assert len(caplog.records) == 1
    notes = [kept.note for kept in everything(keeper)]
    assert notes[0] is None
    assert notes[-1] == f"held in memory only: {keeper.trouble}"
    keeper.close()


def test_the_disk_is_used_again_as_soon_as_there_is_room(tmp_path: Path, row: Any) -> None:
    """Without hands; what was in memory is sent in its place between the older and the newer rows."""
    keeper = Keeper(tmp_path / "spool.sqlite3")
    keeper.store([row(1)], 5)
    fill(keeper)
    keeper.store([row(2, raw="x" * 5000)], 10)
    empty(keeper)
    keeper.store([row(3)], 15)
    assert keeper.trouble is None
    first, second = keeper.spools
    assert [kept.milli_c for kept in first.oldest(10)] == [20_001, 20_003]
    first.forget(1)
    assert keeper.spools == [second, first]
    keeper.close()


def test_memory_is_bounded_and_what_is_lost_is_counted(
    tmp_path: Path, row: Any, caplog: pytest.LogCaptureFixture
) -> None:
    """Three rows fit; the fourth is lost, the log says LOST, and `keep` says that it is not kept."""
    keeper = Keeper(tmp_path / "spool.sqlite3", memory_rows=3)
    fill(keeper)
    with caplog.at_level(logging.CRITICAL):
        kept = [keeper.store([row(n, raw="x" * 5000)], 5 * n) for n in range(1, 6)]
    assert kept == [True, True, True, False, False]
    assert keeper.lost == 2
    assert sum("LOST" in record.getMessage() for record in caplog.records) == 1
    keeper.close()


def test_a_damaged_spool_is_set_aside_and_a_new_one_begun(tmp_path: Path, row: Any) -> None:
    """The file is kept for a person to look at; the watch goes on with a spool of another name."""
    path = tmp_path / "spool.sqlite3"
    path.write_bytes(b"this was a database once" * 500)
    keeper = Keeper(path)
    assert keeper.store([row(1)], 5)
    assert keeper.trouble is None
    assert keeper.spools[0].path == path
    (aside,) = [
        found for found in tmp_path.iterdir() if "damaged" in found.name and not found.name.endswith("m")
    ]
    assert aside.read_bytes().startswith(b"this was a database once")
    keeper.close()


def test_a_spool_that_cannot_be_opened_is_tried_again_every_minute(tmp_path: Path, row: Any) -> None:
    """A folder in its place, or a card mounted read-only: memory until it opens."""
    path = tmp_path / "spool.sqlite3"
    path.mkdir()
    keeper = Keeper(path)
    assert keeper.store([row(1)], 5)
    path.rmdir()
    assert keeper.store([row(2)], 30)
    assert not path.exists()
    assert keeper.store([row(3)], 61)
    assert path.exists()
    assert keeper.trouble is None
    assert [kept.milli_c for kept in everything(keeper)] == [20_001, 20_002, 20_003]
    keeper.close()


LIMITED = """
import resource, sys
from pathlib import Path
from hardware.clock import Stamp
from logger.daemon.keep import Keeper
from logger.wire import UnnumberedReading
keeper = Keeper(Path(sys.argv[1]))
resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, resource.RLIM_INFINITY))
def reading(n):
    return UnnumberedReading("p", "core", Stamp(n, "b", n, True), n, None, None, None)
kept = [keeper.store([reading(n)], n / 1000) for n in range(100)]
print(all(kept), keeper.pending, bool(keeper.trouble))
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
keeper.store([reading(100)], 1)
rows = sorted(row.milli_c for spool in keeper.spools for row in spool.oldest(1000))
print(rows == list(range(101)), bool(keeper.trouble))
keeper.close()
"""


def test_a_limit_on_the_file_itself_is_survived_too(tmp_path: Path) -> None:
    """The other way in which a disk refuses: the write fails (EFBIG), SQLite says I/O error. Nothing is doubled."""
    script = [sys.executable, "-c", LIMITED, str(tmp_path / "spool.sqlite3")]
    ran = subprocess.run(script, capture_output=True, text=True, check=False)
    assert ran.stdout.splitlines() == ["True 100 True", "True False"], ran.stderr
