"""The threads of a service: each is started again when it fails, and none ends another.

Whatever a thread raises is logged, stands in `failed` until it works again, and is tried again after a growing pause. A
thread that hangs raises nothing: its loop notes each round, and one without a round for too long stands in `hung`.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

log = logging.getLogger(__name__)

#: Pauses before a thread that failed is started again, s; the last one holds from then on.
BACK_OFF_S = (0.5, 1.0, 2.0, 5.0, 10.0, 30.0)
#: A thread that has run so long without failing works again, s.
WELL_S = 60.0


@dataclass(slots=True)
class _Worker:
    #: How long one round of its loop may take; None: it has no loop that notes its rounds.
    within_s: float | None
    #: When its loop last came round; None while it is not meant to run.
    round_s: float | None = None
    began_s: float | None = None
    failed: str | None = None
    failures: int = 0


@dataclass(frozen=True, slots=True)
class Term:
    """When a thread may run: not always, but while its process has the lease.

    `wait`: waits for the next term and gives the event that ends it; None: there is no other. `lost`: what is raised
    when a term ends in the midst of something, which is no fault; the next is waited for after `pause_s`.
    """

    wait: Callable[[], threading.Event | None]
    lost: type[Exception] | tuple[type[Exception], ...] = ()
    pause_s: float = 0.5


class Workers:
    """Makes the threads, and watches over them. Safe to call from any of them."""

    def __init__(self, stop: threading.Event, seconds: Callable[[], float] = time.monotonic) -> None:
        self._stop, self._seconds = stop, seconds
        self._workers: dict[str, _Worker] = {}

    def thread(
        self,
        name: str,
        run: Callable[[threading.Event], None],
        *,
        term: Term | None = None,
        within_s: float | None = None,
        once: bool = False,
    ) -> threading.Thread:
        """Return a thread, not yet started, that runs `run` until the service stops, or until it is done (`once`).

        `term`: when it may run; None: always. `within_s`: see `_Worker`.
        """
        self._workers[name] = _Worker(within_s)
        term = term or Term(lambda: None if self._stop.is_set() else self._stop)

        def keep_up() -> None:
            while (until := term.wait()) is not None:
                try:
                    self._begun(name)
                    run(until)
                    if once:
                        return
                    if not until.is_set():
                        raise RuntimeError(f"{name} ended before its time")
                except term.lost:
                    log.warning("%s: another process decides now", name)
                    self._stop.wait(term.pause_s)
                except Exception as error:
                    log.exception("%s failed; it is started again", name)
                    self._stop.wait(self._failed(name, error))
                finally:
                    self._workers[name].round_s = None

        return threading.Thread(target=keep_up, name=name)

    def came_round(self, name: str) -> None:
        """Note that a thread's loop has come round once more, and all was well."""
        worker = self._workers[name]
        worker.round_s, worker.failed, worker.failures = self._seconds(), None, 0

    def still_at_it(self, name: str) -> None:
        """Note that a thread is in a long round, and goes on."""
        worker = self._workers[name]
        if worker.round_s is not None:
            worker.round_s = self._seconds()

    def _begun(self, name: str) -> None:
        worker = self._workers[name]
        worker.round_s = worker.began_s = self._seconds()

    def _failed(self, name: str, error: Exception) -> float:
        worker, now_s = self._workers[name], self._seconds()
        if worker.began_s is not None and now_s - worker.began_s >= WELL_S:
            worker.failures = 0
        worker.failures += 1
        worker.failed = f"{type(error).__name__}: {error}"
        return BACK_OFF_S[min(worker.failures, len(BACK_OFF_S)) - 1]

    def failed(self) -> dict[str, str]:
        """Return thread → why it failed, of those that have not worked since."""
        now_s = self._seconds()
        for worker in self._workers.values():
            # One that notes no rounds works again once it has run for long enough.
            if worker.within_s is None and worker.round_s is not None and worker.began_s is not None:
                worker.failed = None if now_s - worker.began_s >= WELL_S else worker.failed
        return {name: worker.failed for name, worker in self._workers.items() if worker.failed is not None}

    def hung(self) -> dict[str, float]:
        """Return thread → for how many seconds it has not come round, of those that should have by now."""
        now_s = self._seconds()
        return {
            name: now_s - worker.round_s
            for name, worker in self._workers.items()
            if worker.within_s is not None
            and worker.round_s is not None
            and now_s - worker.round_s > worker.within_s
        }
