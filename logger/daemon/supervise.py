"""Between systemd and the daemon: readiness, the watchdog, and signals that stop it.

The watchdog is fed by the loop that sweeps, and only while sweeps come back: a read that is stuck in the kernel, or
a loop that hangs, ends in a restart. A probe that is dead does not.
"""

from __future__ import annotations

import logging
import os
import signal
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import FrameType
from typing import Any

log = logging.getLogger(__name__)


class Supervisor:
    """Tells systemd how the daemon is. Without systemd it tells nobody, and nothing changes."""

    def __init__(self, environ: Mapping[str, str] | None = None) -> None:
        environ = os.environ if environ is None else environ
        self._notifier: Any = None
        if environ.get("NOTIFY_SOCKET"):
            # The library opens a socket even when there is nobody to talk to, and leaves it open.
            from sdnotify import SystemdNotifier

            self._notifier = SystemdNotifier()
        self.watchdog_s = _watchdog_s(environ)
        self._ready = False

    def ready(self, status: str) -> None:
        """The first sweep was attempted: say so once."""
        if not self._ready:
            self._ready = True
            self._say(f"READY=1\nSTATUS={status}")

    def alive(self, status: str | None = None) -> None:
        """A sweep is finished and its rows are kept, or the loop waits for the next one."""
        self._say("WATCHDOG=1" if status is None else f"WATCHDOG=1\nSTATUS={status}")

    def stopping(self) -> None:
        """The daemon ends on purpose."""
        self._say("STOPPING=1")

    def close(self) -> None:
        """Close the socket."""
        if self._notifier is not None and self._notifier.socket is not None:
            self._notifier.socket.close()
        self._notifier = None

    def _say(self, text: str) -> None:
        if self._notifier is not None:
            self._notifier.notify(text)


def _watchdog_s(environ: Mapping[str, str]) -> float | None:
    """Seconds within which systemd wants to hear from this process; None if it does not."""
    usec, pid = environ.get("WATCHDOG_USEC", ""), environ.get("WATCHDOG_PID", "")
    if not usec.isdigit() or (pid and pid != str(os.getpid())):
        return None
    return int(usec) / 1_000_000


@contextmanager
def stop_on_signals(stop: threading.Event) -> Iterator[None]:
    """Within it, SIGTERM and SIGINT set `stop`. Only for the main thread of a process."""

    def end(number: int, _frame: FrameType | None) -> None:
        log.info("%s: stopping", signal.Signals(number).name)
        stop.set()

    before = {number: signal.signal(number, end) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
