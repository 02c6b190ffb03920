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

import httpx
import pytest
import recorded_pour as recorded
from fastapi.testclient import TestClient

from hardware.bench.clock import SteppedClock
from logger.daemon.forward import Forwarder, Step, open_client
from logger.daemon.keep import Keeper
from logger.delivery.channels import Outcome
from logger.delivery.sender import Sender
from logger.settings import Messages, Settings
from logger.store.reserve import Reserve
from web.app import make_app
from web.service import Service

SMALL_BYTES = 16_000_000
RESERVE_BYTES = 5_000_000


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


class Shop:
    """A station and its service on one disk, with a phone."""

    def __init__(self, folder: Path) -> None:
        self.clock = SteppedClock(1_795_624_200_000, boot_ms=3_600_000)
        self.folder = folder
        self.took: list[str] = []
        self.kept = 0
        self.sweeps = 0
        self.keeper = Keeper(folder / "spool.sqlite3")
        self.open()
        recorded.begin(self.service)

    def open(self) -> None:
        """The service's process starts."""
        settings = Settings(data_dir=str(self.folder / "service"), messages=Messages(urls=["one://first"]))
        self.service = Service.open(settings, self.clock)
        reserve = Reserve(self.folder / "service", RESERVE_BYTES, beside_bytes=0)
        reserve.keep()
        self.service._reserve, self.service.store.make_room = reserve, reserve.give_up

        def take(_url: str, title: str, _body: str) -> Outcome:
            self.took.append(title)
            return Outcome(True)

        self.sender = Sender(
            self.service.store, self.service.timeline, settings.messages, take, self.service.watch.held
        )
        self._client = TestClient(make_app(self.service), raise_server_exceptions=False).__enter__()
        shop = self

        class Line(httpx.BaseTransport):
            def handle_request(self, request: httpx.Request) -> httpx.Response:
                answer = shop._client.post(
                    "/api/batches", content=request.read(), headers=dict(request.headers)
                )
                return httpx.Response(answer.status_code, content=answer.content, request=request)

        self._out = open_client("http://s.invalid", Line())
        self.forwarder = Forwarder(
            recorded.STATION, self.keeper, self._out, self.clock.beside(), lambda: recorded.TOKEN, linger_s=0
        )

    def sweep(self) -> None:
        """One sweep of four probes, every 5 s; the watch judges and the sender sends."""
        rows = recorded.rows_of(self.sweeps, self.clock)
        self.sweeps += 1
        if self.keeper.keep(rows, self.clock.stamp().boot_s):
            self.kept += len(rows)
        while self.forwarder.step() is Step.SENT:
            pass
        self.service.watch.judge_all()
        self.sender.send_due()
        self.clock.advance(5)

    def stored(self) -> list[int]:
        """The numbers of all rows that the service stores, in order of their arrival."""
        with self.service.store.read() as connection:
            raws = connection.exec_driver_sql("SELECT raw FROM reading ORDER BY id").scalars()
            return [int(raw, 16) for raw in raws]

    def stop(self) -> None:
        """The service's process ends."""
        self._out.close()
        self._client.__exit__()
        self.service.close()

    def close(self) -> None:
        """Everything ends."""
        self.stop()
        self.keeper.close()


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
            assert "disk is full: make room" in shop.service.watch.trouble
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
    monkeypatch.setattr("web.service.Reserve", lambda folder: Reserve(folder, RESERVE_BYTES, beside_bytes=0))
    assert (small.folder / "service" / "reserve.bin").stat().st_size == RESERVE_BYTES
    small.fill()
    one.clock.reboot("the-next-boot")
    one.open()
    for _ in range(3):
        one.sweep()
    assert one.service.watch.trouble is None
    assert sorted(one.stored()) == list(range(1, one.kept + 1))
