"""The card dies under service and station while a pour is watched: real processes, and a file system that is shut down.

Ext4 can be told to stop for good (EXT4_IOC_SHUTDOWN, as `xfs_io -c shutdown` and the kernel's own tests use it): from
then on nothing can be read or written, as on a card that has died.
"""

from __future__ import annotations

import ctypes
import fcntl
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import tomli_w
from needs import missing
from processes import Bench, Phone, Process, wait_for

from logger.store.database import Store

#: linux/ext4.h: _IOR('X', 125, __u32), and not even the journal is written any more.
EXT4_IOC_SHUTDOWN, NO_LOG_FLUSH = 0x8004587D, 2
CARD_BYTES = 48_000_000


class Card:
    """A small card that can die."""

    def __init__(self, image: Path, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        with image.open("wb") as file:
            file.truncate(CARD_BYTES)
        for command in (
            ["mkfs.ext4", "-q", "-F", str(image)],
            ["mount", "-o", "loop", str(image), str(folder)],
        ):
            if shutil.which(command[0]) is None:
                missing(f"{command[0]} is not installed; apt install e2fsprogs mount")
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode:
                pytest.skip(f"a card cannot be made here: {done.stderr.strip()}")

    def die(self) -> None:
        """Nothing can be read or written from now on."""
        handle = os.open(self.folder, os.O_RDONLY)
        try:
            fcntl.ioctl(handle, EXT4_IOC_SHUTDOWN, ctypes.c_uint32(NO_LOG_FLUSH))
        finally:
            os.close(handle)

    def close(self) -> None:
        """It is taken out."""
        subprocess.run(["umount", "--lazy", str(self.folder)], check=True)


@pytest.fixture
def card(tmp_path: Path) -> Iterator[Card]:
    """A card with both programs' files."""
    made = Card(tmp_path / "image", tmp_path / "card")
    yield made
    made.close()


@pytest.fixture
def phone() -> Iterator[Phone]:
    """A phone."""
    made = Phone()
    yield made
    made.close()


def station_of(folder: Path, token: str, port: int) -> subprocess.Popen[bytes]:
    """A station whose core warms from 57 °C by half a degree a second once 6 s have passed."""
    folder.mkdir()
    (folder / "station.token").write_text(f"{token}\n", encoding="utf-8")
    lines = ["t_s,core,room", *(f"{t},{57 + max(0, t - 6) / 2:.2f},21" for t in range(600))]
    (folder / "trace.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    probes = [
        {"id": f"28-0000000000c{n}", "place": place, "bench": f"trace.csv:{place}"}
        for n, place in enumerate(("core", "room"))
    ]
    told = {
        "name": "bench-1",
        "service_url": f"http://127.0.0.1:{port}",
        "token_file": "station.token",
        "spool_file": "spool.sqlite3",
        "hardware": "bench",
        "probe": probes,
    }
    (folder / "station.toml").write_text(tomli_w.dumps(told), encoding="utf-8")
    return subprocess.Popen(
        [sys.executable, "-m", "web.command", "station", str(folder / "station.toml")],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def test_a_core_that_becomes_too_hot_after_the_card_has_died_is_told(
    tmp_path: Path, card: Card, phone: Phone, plan_toml: str
) -> None:
    """Within a minute of its limit, from memory; both processes live on, and pages say what has failed."""
    data = card.folder / "service"
    data.mkdir()
    # The pour is there before the service starts, which then looks up its limit at once.
    store = Store(f"sqlite:///{data / 'pourlog.sqlite3'}")
    bench = Bench(store, plan_toml, "bench-1")
    store.close()
    process = Process(tmp_path / "elsewhere", None, [phone.url], data_dir=str(data))
    station = None
    try:
        process.ready()
        station = station_of(card.folder / "station", bench._token, process.port)
        wait_for(lambda: process.client.get("/api/ready").json()["seconds_ago"]["arrived"] is not None, 30)
        before = len(phone.taken)
        card.die()
        took_s = wait_for(lambda: any("core is too hot" in title for title in phone.taken[before:]), 120)
        assert phone.taken[before:].count("URGENT: The core is too hot - Table at bench-1") == 1
        assert took_s < 80, "it was over its limit some 20 s after the card had died"
        assert station.poll() is None
        answer = process.client.get("/", headers={"accept": "text/html"})
        assert (answer.status_code, "cannot read its database" in answer.text) == (503, True)
        assert process.client.get("/api/ready").status_code == 503
    finally:
        if station is not None:
            station.kill()
            station.wait()
        process.kill()
