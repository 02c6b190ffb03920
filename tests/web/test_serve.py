"""`pourlog serve` as systemd runs it: says when it listens, feeds the watchdog, stops at once with live pages open."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

READ_S = 60


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Served:
    """The service in a process of its own, with a notify socket."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        (folder / "settings.toml").write_text(
            f'data_dir = "{folder / "data"}"\nport = {self.port}\nwatch_period_s = 0.1\n', encoding="utf-8"
        )
        self.notified = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.notified.bind(str(folder / "notify"))
        self.notified.settimeout(READ_S)
        environment = os.environ | {"NOTIFY_SOCKET": str(folder / "notify"), "WATCHDOG_USEC": "900000"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "web.command", "serve", str(folder / "settings.toml")],
            stdout=subprocess.PIPE,
            text=True,
            env=environment,
        )

    def told(self) -> str:
        """The next thing that systemd hears."""
        return self.notified.recv(4096).decode()

    def catch_up(self) -> None:
        """Hears what was said until now: few words fit into the socket, and a slow machine takes seconds."""
        self.notified.setblocking(False)
        try:
            while True:
                self.notified.recv(4096)
        except BlockingIOError:
            self.notified.settimeout(READ_S)

    def close(self) -> None:
        """Ends it, whatever the test did."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()
        self.notified.close()


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    """A running service."""
    made = Served(tmp_path)
    yield made
    made.close()


def test_it_says_when_it_listens_and_feeds_the_watchdog(served: Served) -> None:
    """READY=1 comes when the port answers; WATCHDOG=1 while the watch comes round."""
    said = served.told()
    assert "READY=1" in said
    assert httpx.get(f"http://127.0.0.1:{served.port}/api/health", timeout=10).status_code == 200
    while "WATCHDOG=1" not in said:
        said = served.told()
    assert "watching" in said


def test_it_stops_within_five_seconds_with_fifty_live_pages_open(served: Served) -> None:
    """A page that listens for news must not hold the service open."""
    assert "READY=1" in served.told()
    assert served.process.stdout is not None
    printed = ""
    while not (code := re.search(r"\b(\d{4}-\d{4})\b", printed)):
        printed += served.process.stdout.readline()
    base = f"http://127.0.0.1:{served.port}"
    with httpx.Client(base_url=base, timeout=10, limits=httpx.Limits(max_connections=60)) as client:
        answer = client.post(
            "/set-up", data={"code": code[1], "name": "Ada", "password": "four plain words here"}
        )
        assert answer.status_code == 303, answer.text
        pages = [client.send(client.build_request("GET", "/live"), stream=True) for _ in range(50)]
        assert all(page.status_code == 200 for page in pages)
        served.catch_up()
        served.process.send_signal(signal.SIGTERM)
        started = time.monotonic()
        assert served.process.wait(30) == 0
        took_s = time.monotonic() - started
        for page in pages:
            page.close()
    assert took_s < 5
    said = served.told()
    while "STOPPING=1" not in said:
        said = served.told()
