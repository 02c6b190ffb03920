"""Between systemd and the daemon: readiness, the watchdog, and signals that stop it.

The watchdog is fed by the loop that sweeps, and only while sweeps come back: a read that is stuck in the kernel, or
a loop that hangs, ends in a restart. A probe that is dead does not.
"""

from __future__ import annotations

import logging
import os
import signal
import socket
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import FrameType

log = logging.getLogger(__name__)

SEND_S = 0.5
"""Real seconds that a message to systemd may take."""


class Supervisor:
    """Reports to systemd how the daemon is. Without systemd nothing is sent."""

    def __init__(self, environ: Mapping[str, str] | None = None) -> None:
        environ = os.environ if environ is None else environ
        self._systemd = _notify_socket(environ.get("NOTIFY_SOCKET", ""))
        self.watchdog_s = _watchdog_s(environ)
        self._ready = False

    def ready(self, status: str) -> None:
        """Say once that the first sweep was attempted."""
        if not self._ready:
            self._ready = True
            self._say(f"READY=1\nSTATUS={status}")

    def alive(self, status: str | None = None) -> None:
        """Feed the watchdog: a sweep is finished and its rows are kept, or the loop waits for the next one."""
        self._say("WATCHDOG=1" if status is None else f"WATCHDOG=1\nSTATUS={status}")

    def stopping(self) -> None:
        """Say that the daemon ends on purpose."""
        self._say("STOPPING=1")

    def close(self) -> None:
        """Close the socket."""
        if self._systemd is not None:
            self._systemd.close()
        self._systemd = None

    def _say(self, text: str) -> None:
        if self._systemd is None:
            return
        try:
            self._systemd.send(text.encode())
        except OSError as error:
            # The watch goes on; if systemd really hears nothing any more, its watchdog ends this process.
            log.warning("systemd does not hear: %s", error)


def _notify_socket(name: str) -> socket.socket | None:
    """Return a connected datagram socket to systemd; None without one.

    sd_notify(3): '@' in front means an abstract name.
    """
    if not name:
        return None
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
    # A systemd that does not read its socket must not hold up a sweep.
    connection.settimeout(SEND_S)
    try:
        connection.connect("\0" + name[1:] if name.startswith("@") else name)
    except OSError as error:
        connection.close()
        log.warning("systemd's socket %s cannot be reached: %s", name, error)
        return None
    return connection


def _watchdog_s(environ: Mapping[str, str]) -> float | None:
    """Return the seconds within which systemd expects a sign of life from this process; None where it expects none."""
    usec, pid = environ.get("WATCHDOG_USEC", ""), environ.get("WATCHDOG_PID", "")
    if not usec.isdigit() or (pid and pid != str(os.getpid())):
        return None
    return int(usec) / 1_000_000


@contextmanager
def stop_on_signals(stop: threading.Event) -> Iterator[None]:
    """Have SIGTERM and SIGINT set `stop` meanwhile. Only for the main thread of a process."""

    def end(number: int, _frame: FrameType | None) -> None:
        log.info("%s: stopping", signal.Signals(number).name)
        stop.set()

    before = {number: signal.signal(number, end) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
