"""Plans are worked out by another process, one at a time, so that no page waits for it.

A pour's newest plan counts: what is being worked out for an older one is ended. The prediction that is kept with the
pour until then is a first answer (`rough`); the whole one takes its place, and pages hear of it.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import BrokenExecutor
from contextlib import suppress
from typing import Any, Protocol

from logger.cure.solver.prediction import MODEL_VERSION
from logger.errors import LoggerError, NotFound
from logger.planning.chances import Chances
from logger.pour import Stage
from logger.store import pours
from logger.store.rows import PourRow
from logger.words.phrase import phrase
from logger.worker import OwnProcess
from web.service.service import Service
from web.views.assessed import (
    WorkedOut,
    assessment_kept,
    chances_kept,
    keep,
    keep_chances,
    work_out,
    work_out_chances,
)
from web.views.kept import Kept
from web.views.predicted import frozen

log = logging.getLogger(__name__)
#: Longest that somebody who acts on a plan waits for it, s.
LONGEST_WAIT_S = 120.0
#: A process that dies of a plan is tried again so often.
TRIES = 2
#: A process that nobody has asked for so long is ended: its memory is a tenth of a small machine's, s.
IDLE_S = 300.0
DIED = phrase(
    "This plan could not be worked out. Save it again, or restart the service; the plan itself is kept."
)


class Process(Protocol):
    """Where the work is done: as OwnProcess."""

    def __call__(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """Return the function's answer, or its exception. Raises BrokenExecutor when it is closed meanwhile."""

    def close(self) -> None:
        """End the work, also in the midst of it."""


class PlanWork:
    """Has plans worked out. Safe to call from any thread."""

    def __init__(
        self, service: Service, make_process: Callable[[], Process] = OwnProcess, idle_s: float = IDLE_S
    ) -> None:
        self._service, self._make_process, self._idle_s = service, make_process, idle_s
        self._changed = threading.Condition()
        self._wanted: OrderedDict[int, str] = OrderedDict()
        self._now: tuple[int, str] | None = None
        self._troubles: Kept[str] = Kept(32)
        self._process, self._used = make_process(), False
        self._thread: threading.Thread | None = None
        self._closed = False

    def ask(self, pour_id: int, plan_toml: str) -> None:
        """Have a pour's plan worked out; an older plan of the same pour is wanted no more."""
        with self._changed:
            if self._closed or self._now == (pour_id, plan_toml) or self._wanted.get(pour_id) == plan_toml:
                return
            if self._troubles.get(plan_toml) is not None:
                return
            self._wanted[pour_id] = plan_toml
            if self._now is not None and self._now[0] == pour_id:
                # Its plan was changed meanwhile: nobody reads that answer.
                self._renew()
            self._start()
            self._changed.notify_all()

    def wait(self, pour_id: int, plan_toml: str) -> None:
        """Have it worked out, and wait for it."""
        self.ask(pour_id, plan_toml)
        with self._changed:
            self._changed.wait_for(
                lambda: (
                    self._closed
                    or not ((pour_id, plan_toml) == self._now or self._wanted.get(pour_id) == plan_toml)
                ),
                LONGEST_WAIT_S,
            )

    def warm_up(self) -> None:
        """Have the process ready for a plan that is about to come."""
        with self._changed:
            if not self._closed:
                self._start()
        threading.Thread(target=self._load, name="plan-warm-up", daemon=True).start()

    def trouble(self, plan_toml: str) -> str | None:
        """Return why a plan could not be worked out; None where it could, or is not yet."""
        return self._troubles.get(plan_toml)

    def close(self) -> None:
        """End the work, also in the midst of it."""
        with self._changed:
            self._closed = True
            self._process.close()
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join()

    def _start(self) -> None:
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="plan-work")
            self._thread.start()

    def _renew(self) -> None:
        """End the process; the next starts when there is something to do."""
        self._process.close()
        self._process, self._used = self._make_process(), False

    def _load(self) -> None:
        with suppress(BrokenExecutor):
            self._used = True
            self._process(_loaded)

    def _run(self) -> None:
        while True:
            with self._changed:
                self._now = None
                self._changed.notify_all()
                while not self._changed.wait_for(lambda: self._closed or bool(self._wanted), self._idle_s):
                    if self._used:
                        self._renew()
                if self._closed:
                    return
                self._now = pour_id, plan_toml = self._wanted.popitem(last=False)
                process, self._used = self._process, True
            try:
                self._work(process, pour_id, plan_toml)
            except Exception:
                log.exception("pour %s: its plan could not be worked out", pour_id)
                self._troubles.put(plan_toml, DIED)
            self._service.news.publish("pour", pour=pour_id)

    def _work(self, process: Process, pour_id: int, plan_toml: str) -> None:
        for left in reversed(range(TRIES)):
            try:
                chances = chances_kept(plan_toml)
                if chances is None:
                    chances = process(work_out_chances, plan_toml)
                    keep_chances(plan_toml, chances)
                    self._service.news.publish("pour", pour=pour_id)
                if assessment_kept(plan_toml) is None:
                    worked: WorkedOut = process(work_out, plan_toml, chances)
                    self._store(pour_id, plan_toml, worked, chances)
                    keep(plan_toml, worked)
                return
            except LoggerError as error:
                self._troubles.put(plan_toml, error.fact)
                return
            except BrokenExecutor:
                if self._closed or pour_id in self._wanted:
                    return
                if not left:
                    self._troubles.put(plan_toml, DIED)

    def _store(self, pour_id: int, plan_toml: str, worked: WorkedOut, chances: Chances) -> None:
        with suppress(NotFound), self._service.store.write() as tx:
            pour = pours.get_pour(tx, pour_id)
            if pour.plan_toml == plan_toml and is_rough(pour):
                pours.freeze_prediction(tx, pour_id, frozen(worked.course, chances), MODEL_VERSION)


def is_rough(pour: PourRow) -> bool:
    """Whether a pour that is not poured yet has only a first answer, or none."""
    ahead = pour.stage in (Stage.PLANNED, Stage.READY)
    return ahead and (pour.prediction is None or bool(pour.prediction.get("rough")))


def _loaded() -> None:
    """Do nothing: a process that is called with it has loaded this module."""
