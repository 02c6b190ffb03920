"""The disk is full: nothing acknowledged is lost, alarms go on and are delivered, people are told, and it heals itself.

Both ways in which SQLite meets it: no space left on a small file system (SQLITE_FULL), and a file that may not grow
(SQLITE_IOERR).
"""

from __future__ import annotations

import errno
import os
import resource
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import OperationalError
from whole_shop import RESERVE_BYTES, Shop

from logger.store.ballast import Ballast
from logger.words.render import say

SMALL_BYTES = 16_000_000


class Disk:
    """A small file system that can be filled and cleared."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def fill(self) -> None:
        """Not a byte is left."""
        handle = os.open(self.folder / "filler", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
        try:
            for size in (65_536, 4096, 1):
                try:
                    while True:
                        os.write(handle, bytes(size))
                except OSError as error:
                    if error.errno != errno.ENOSPC:
                        raise
        finally:
            os.close(handle)

    def clear(self) -> None:
        """Somebody makes room."""
        (self.folder / "filler").unlink()


class NoGrowing:
    """Files of this process may not grow, until they may again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._before = resource.getrlimit(resource.RLIMIT_FSIZE)

    def fill(self) -> None:
        """No file may become larger than what there is by now."""
        largest = max(path.stat().st_size for path in self.folder.rglob("*.sqlite3*"))
        resource.setrlimit(resource.RLIMIT_FSIZE, (largest, self._before[1]))

    def clear(self) -> None:
        """They may grow again."""
        resource.setrlimit(resource.RLIMIT_FSIZE, self._before)


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Disk]:
    """A file system of 16 MB in memory."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={SMALL_BYTES}", "tmpfs", str(folder)]
    done = subprocess.run(mount, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"a small file system cannot be mounted here: {done.stderr.strip()}")
    yield Disk(folder)
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


@pytest.fixture
def limited(tmp_path: Path) -> Iterator[NoGrowing]:
    """A limit on the size of files."""
    made = NoGrowing(tmp_path)
    yield made
    made.clear()


@pytest.fixture
def shop() -> Iterator[Callable[[Path], Shop]]:
    """Makes a shop in a folder."""
    made: list[Shop] = []

    def make(folder: Path) -> Shop:
        made.append(Shop(folder))
        return made[-1]

    yield make
    for one in made:
        one.close()


def warm_up(shop: Shop) -> None:
    """A quiet start: nothing is hot yet."""
    for _ in range(15):
        shop.sweep()
    assert shop.stored() == list(range(1, shop.kept + 1))


HOT = "URGENT: The core is too hot - Recorded"
SILENT = "Soon: The station is silent - Recorded"


def full_and_healed(shop: Shop, disk: Any) -> None:
    """For 100 s the service can store nothing; then there is room again."""
    disk.fill()
    stored, began, told_after_s = shop.stored(), shop.clock.stamp().boot_s, None
    for _ in range(20):
        shop.sweep()
        if told_after_s is None and shop.service.watch.trouble is not None:
            told_after_s = shop.clock.stamp().boot_s - began
            assert "disk is full: make room" in say(shop.service.watch.trouble)
    assert shop.kept == shop.sweeps * 4, "the station keeps every row, on disk or in memory"
    assert told_after_s is not None
    assert told_after_s <= 10
    assert SILENT in shop.took, "an alarm is raised and delivered though the database cannot take it"
    assert shop.stored()[: len(stored)] == stored, "what was acknowledged is there"
    assert shop.keeper.pending == shop.kept - len(shop.stored()) > 0, "and the rest waits"
    disk.clear()
    for _ in range(20):
        shop.sweep()
    assert shop.service.watch.trouble is None
    assert sorted(shop.stored()) == list(range(1, shop.kept + 1)), "everything, each once, without hands"
    assert shop.took.count(SILENT) == 1, "told once, also after it was written down"
    with shop.service.store.read() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
        kinds = set(connection.exec_driver_sql("SELECT kind FROM alarm").scalars())
    assert {"station-silent", "core-hot"} <= kinds, "what came late is judged as well"


def test_a_full_disk_loses_nothing_and_silences_nothing(small: Disk, shop: Any) -> None:
    """The reserve carries the watch on; when that is used up as well, it goes on from memory."""
    one = shop(small.folder)
    warm_up(one)
    small.fill()
    for _ in range(18):
        one.sweep()
    assert HOT in one.took, "with the reserve the core that became too hot is stored, judged and told"
    assert one.stored() == list(range(1, one.kept + 1))
    full_and_healed(one, small)
    assert one.took.count(HOT) == 1


def test_files_that_may_not_grow_lose_nothing_and_silence_nothing(limited: NoGrowing, shop: Any) -> None:
    """Every write beyond a size fails with an input/output error."""
    one = shop(limited.folder)
    warm_up(one)
    full_and_healed(one, limited)


def test_a_service_that_starts_on_a_full_disk_gives_up_its_reserve_and_watches(
    small: Disk, shop: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The power trips while the disk is full: the watch stands again, and takes readings."""
    one = shop(small.folder)
    warm_up(one)
    one.stop()
    monkeypatch.setattr(
        "web.service.service.Ballast", lambda folder: Ballast(folder, RESERVE_BYTES, beside_bytes=0)
    )
    assert (small.folder / "service" / "reserve.bin").stat().st_size == RESERVE_BYTES
    small.fill()
    one.clock.reboot("the-next-boot")
    one.open()
    for _ in range(3):
        one.sweep()
    assert one.service.watch.trouble is None
    assert sorted(one.stored()) == list(range(1, one.kept + 1))


def test_batches_that_find_no_room_are_told_though_small_writes_still_find_some(
    tmp_path: Path, shop: Any
) -> None:
    """The last few pages of a disk: sessions and alarms still go in, readings do not."""
    one = shop(tmp_path)
    warm_up(one)
    store = one.service.store
    store.make_room = lambda: False
    with store.write() as tx:
        pages = tx.exec_driver_sql("PRAGMA page_count").scalar()
        tx.exec_driver_sql(f"PRAGMA max_page_count={pages + 2}")
        tx.exec_driver_sql("CREATE TABLE small (x)")

    def small() -> None:
        with store.write() as tx:
            tx.exec_driver_sql("DELETE FROM small")
            tx.exec_driver_sql("INSERT INTO small VALUES (1)")

    with pytest.raises(OperationalError, match="full"), store.write() as tx:
        tx.exec_driver_sql("INSERT INTO small VALUES (zeroblob(100000))")
    small()
    assert store.refused is None
    one.service.watch.judge_all()
    assert "disk is full: make room" in say(one.service.watch.trouble or "")
    one.clock.advance(31)
    small()
    one.service.watch.judge_all()
    assert one.service.watch.trouble is None
