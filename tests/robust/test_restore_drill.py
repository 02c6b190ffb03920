"""The restore drill, with the commands themselves: a backup under full load comes back as the same record."""

from __future__ import annotations

import hashlib
import json
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Protocol

import httpx
import pytest
import recorded_pour as recorded

from hardware.clock import SystemClock
from logger.daemon.forward import batch_json
from logger.settings import Settings
from logger.store.photos import put
from logger.wire import WireReading
from web.command import main
from web.service.service import Service

ROWS = 500
"""A batch is at most this long."""
PHOTO = b"a picture (invented)"
PHOTO_NAME = f"{hashlib.sha256(PHOTO).hexdigest()}.jpg"


class Command(Protocol):
    """Runs `pourlog` with these words in this process, as a person would; gives its exit code."""

    def __call__(self, *words: str) -> int: ...


@pytest.fixture
def pourlog(monkeypatch: pytest.MonkeyPatch) -> Command:
    """The command; a process of its own would only load the same modules for seconds."""

    def run(*words: str) -> int:
        monkeypatch.setattr(sys, "argv", ["pourlog", *words])
        with pytest.raises(SystemExit) as ended:
            main()
        return int(ended.value.code or 0)

    return run


class Loaded:
    """A served workshop whose station sends batch after batch without a pause."""

    def __init__(self, folder: Path) -> None:
        self.database = folder / "data" / "pourlog.sqlite3"
        self.settings = folder / "settings.toml"
        self.acknowledged = 0
        self._clock = SystemClock()
        service = Service.open(Settings(data_dir=str(folder / "data")), self._clock)
        recorded.begin(service)
        service.close()
        put(PHOTO, folder / "data" / "photos", PHOTO_NAME)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = int(probe.getsockname()[1])
        self.settings.write_text(f'data_dir = "{folder / "data"}"\nport = {port}\n', encoding="utf-8")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "web.command", "serve", str(self.settings)], stdout=subprocess.DEVNULL
        )
        self._client = httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False, timeout=30)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._load)
        self._thread.start()

    def _load(self) -> None:
        headers = {"Authorization": f"Bearer {recorded.TOKEN}", "Content-Type": "application/json"}
        while not self._stop.is_set():
            stamp = self._clock.stamp()
            rows = [
                WireReading(
                    f"28-{seq % 4:012x}",
                    recorded.PLACES[seq % 4],
                    stamp,
                    21_000,
                    None,
                    f"{seq:018x}",
                    None,
                    seq=seq,
                )
                for seq in range(self.acknowledged + 1, self.acknowledged + ROWS + 1)
            ]
            try:
                answer = self._client.post(
                    "/api/batches",
                    content=batch_json(recorded.STATION, "drill", stamp, rows),
                    headers=headers,
                )
            except httpx.TransportError:
                time.sleep(0.01)  # it is starting, or has stopped
                continue
            self.acknowledged = int(answer.raise_for_status().json()["acknowledged_seq"])

    def wait_for(self, acknowledged: int) -> None:
        """Until so many rows are acknowledged."""
        while self.acknowledged < acknowledged:
            assert self.process.poll() is None, "the service ended"
            assert self._thread.is_alive(), "the load ended"
            time.sleep(0.01)

    def stop(self) -> None:
        """The load ends, then the service."""
        self._stop.set()
        self._thread.join()
        self.process.send_signal(signal.SIGTERM)
        self.process.wait(30)
        self._client.close()


@pytest.fixture
def loaded(tmp_path: Path) -> Iterator[Loaded]:
    """The running workshop."""
    made = Loaded(tmp_path / "live")
    yield made
    if made.process.poll() is None:
        made.stop()


def test_a_backup_under_full_load_comes_back_as_the_same_record(
    loaded: Loaded, pourlog: Command, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Backup, restore on another machine, verify: the chain ends in the very row in which it ended then."""
    loaded.wait_for(4 * ROWS)
    acknowledged = loaded.acknowledged
    assert pourlog("backup", str(loaded.settings), str(tmp_path / "backups")) == 0
    assert "verified" in capsys.readouterr().out
    (backup,) = (tmp_path / "backups").glob("*.sqlite3")
    assert pourlog("restore", str(backup), str(loaded.settings)) == 1
    assert "in use: stop the service first" in capsys.readouterr().err
    loaded.wait_for(loaded.acknowledged + 2 * ROWS)
    loaded.stop()

    other = tmp_path / "other.toml"
    other.write_text(f'data_dir = "{tmp_path / "other"}"\n', encoding="utf-8")
    assert pourlog("restore", str(backup), str(other)) == 0
    with (
        closing(sqlite3.connect(tmp_path / "other" / "pourlog.sqlite3")) as restored,
        closing(sqlite3.connect(loaded.database)) as live,
    ):
        head, readings = restored.execute(
            "SELECT reading_head, (SELECT count(*) FROM reading) FROM pour"
        ).fetchone()
        (last,) = live.execute(
            "SELECT link FROM reading ORDER BY id LIMIT 1 OFFSET ?", (readings - 1,)
        ).fetchone()
    assert readings >= acknowledged
    assert head == last
    assert json.loads(backup.with_suffix(".json").read_text(encoding="utf-8"))["readings"] == readings
    assert (tmp_path / "other" / "photos" / PHOTO_NAME).read_bytes() == PHOTO
    assert pourlog("verify", "1", "--settings", str(other)) == 0

    damaged = bytearray(backup.read_bytes())
    damaged[len(damaged) // 2] ^= 1
    backup.write_bytes(damaged)
    before = loaded.database.read_bytes()
    assert pourlog("restore", str(backup), str(loaded.settings)) == 1
    assert "damaged" in capsys.readouterr().err
    assert loaded.database.read_bytes() == before
