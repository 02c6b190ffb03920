"""A process of its own for heavy work, made anew when it dies, and gone when its parent is."""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import threading
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

#: prctl(2): the signal that a process gets when its parent dies.
_PR_SET_PDEATHSIG = 1
#: How much less than the service the heavy work counts with the scheduler (nice 10: about a tenth of the share).
_NICE = 10


@dataclass(frozen=True, slots=True)
class WorkerLimits:
    """What a process may take before the system ends it, or refuses it more.

    `memory_bytes`: its own data (RLIMIT_DATA), without libraries and files that it shares; past it, MemoryError.
    `cpu_s`: time on the processor; past it, the process is killed. `file_bytes`: the largest file that it may write.
    """

    memory_bytes: int
    cpu_s: int
    file_bytes: int


class OwnProcess:
    """Runs one function call at a time in another process, so that nobody here waits for its arithmetic."""

    def __init__(self, limits: WorkerLimits | None = None) -> None:
        self._limits = limits
        self._lock = threading.Lock()
        self._pool: ProcessPoolExecutor | None = None
        self._closed = False

    def __call__(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """Return the function's answer, or its exception. Raises BrokenExecutor when the process died of it."""
        with self._lock:
            if self._closed:
                raise BrokenExecutor("closed")
            if self._pool is None:
                self._pool = ProcessPoolExecutor(
                    max_workers=1,
                    mp_context=get_context("spawn"),
                    initializer=_as_child,
                    initargs=(os.getpid(), self._limits),
                )
            pool = self._pool
        try:
            return pool.submit(function, *arguments).result()
        except BrokenExecutor:
            with self._lock:
                self._pool = None
            pool.shutdown(wait=False, cancel_futures=True)
            raise

    def close(self) -> None:
        """End the process, also in the midst of its work."""
        with self._lock:
            self._closed = True
            pool, self._pool = self._pool, None
        if pool is None:
            return
        # There is no public way to end a worker before its work is done, and nobody will read the answer.
        for worker in list((pool._processes or {}).values()):
            worker.terminate()
        # Waited for, which takes no time now: else the interpreter's end finds the pool half closed and complains.
        pool.shutdown(wait=True, cancel_futures=True)


def _as_child(parent: int, limits: WorkerLimits | None) -> None:
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    # A parent that was killed while this process was still importing sends no signal any more, and the pipes do
    # not tell either: this end holds both ends of them.
    if os.getppid() != parent:
        os._exit(1)
    # A system that forbids even this (a unit's SystemCallFilter) takes nothing from the work but its politeness.
    with suppress(PermissionError):
        os.nice(_NICE)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if limits is None:
        return
    signal.signal(
        signal.SIGXFSZ, signal.SIG_IGN
    )  # a write past the limit is then an OSError that can be told
    for what, most in (
        (resource.RLIMIT_DATA, limits.memory_bytes),
        (resource.RLIMIT_CPU, limits.cpu_s),
        (resource.RLIMIT_FSIZE, limits.file_bytes),
        (resource.RLIMIT_CORE, 0),
    ):
        hardest = resource.getrlimit(what)[1]
        soft = most if hardest == resource.RLIM_INFINITY else min(most, hardest)
        resource.setrlimit(what, (soft, soft))
