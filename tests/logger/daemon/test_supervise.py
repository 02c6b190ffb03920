"""What systemd hears, on real notify sockets; and signals."""

from __future__ import annotations

import os
import signal
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.daemon.supervise import Supervisor, stop_on_signals


@pytest.fixture(params=["path", "abstract"])
def systemd(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[socket.socket]:
    """A socket in systemd's place, as a path and as an abstract name."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        name = str(tmp_path / "notify") if request.param == "path" else f"@pourlog-test-{os.getpid()}"
        listener.bind(name.replace("@", "\0", 1))
        listener.setblocking(False)
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        yield listener


def heard(listener: socket.socket) -> list[str]:
    """Everything that was said so far."""
    said = []
    while True:
        try:
            said.append(listener.recv(4096).decode())
        except BlockingIOError:
            return said


def test_readiness_is_said_once_and_then_signs_of_life(systemd: socket.socket) -> None:
    """READY=1 after the first sweep, WATCHDOG=1 with each, STOPPING=1 at the end."""
    supervisor = Supervisor()
    supervisor.ready("1 sweep")
    supervisor.ready("2 sweeps")
    supervisor.alive("2 sweeps")
    supervisor.alive()
    supervisor.stopping()
    supervisor.close()
    assert heard(systemd) == [
        "READY=1\nSTATUS=1 sweep",
        "WATCHDOG=1\nSTATUS=2 sweeps",
        "WATCHDOG=1",
        "STOPPING=1",
    ]


def test_a_systemd_that_is_gone_does_not_end_the_watch(
    systemd: socket.socket, caplog: pytest.LogCaptureFixture
) -> None:
    """Said in the log, and the sweeps go on; a socket that was never there is the same."""
    supervisor = Supervisor()
    systemd.close()
    supervisor.alive()
    supervisor.close()
    Supervisor({"NOTIFY_SOCKET": "/nowhere/notify"}).ready("")
    assert len(caplog.records) == 2


def test_a_systemd_that_does_not_listen_holds_nothing_up(
    systemd: socket.socket, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Its mailbox is full after a dozen words; the sweeps go on, and what is lost is said."""
    monkeypatch.setattr("logger.daemon.supervise.SEND_S", 0.01)
    supervisor = Supervisor()
    for _ in range(400):
        supervisor.alive("x" * 1000)
        if caplog.records:
            break
    supervisor.close()
    assert "systemd does not hear" in caplog.text


def test_without_systemd_nothing_is_said_and_nothing_breaks() -> None:
    """A station started by hand."""
    supervisor = Supervisor({})
    supervisor.ready("")
    supervisor.alive()
    supervisor.stopping()
    supervisor.close()
    assert supervisor.watchdog_s is None


def test_the_watchdogs_time_is_taken_only_if_it_is_meant_for_this_process() -> None:
    """WATCHDOG_PID names another process when a child inherits the environment."""
    mine = {"WATCHDOG_USEC": "120000000", "WATCHDOG_PID": str(os.getpid())}
    assert Supervisor(mine).watchdog_s == 120
    assert Supervisor({"WATCHDOG_USEC": "120000000"}).watchdog_s == 120
    assert Supervisor({**mine, "WATCHDOG_PID": "1"}).watchdog_s is None


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_sets_the_stop_event_and_the_old_handlers_come_back(number: int) -> None:
    """Nothing is torn down in the handler itself."""
    before = signal.getsignal(number)
    stop = threading.Event()
    with stop_on_signals(stop):
        os.kill(os.getpid(), number)
        assert stop.wait(5)
    assert signal.getsignal(number) == before
