"""What each resin means in the shop is worked out by another process, one at a time, so that no page waits for it."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import BrokenExecutor
from typing import Any

from logger.errors import LoggerError
from logger.words.phrase import phrase
from logger.worker import OwnProcess
from web.actions.plan_work import Process
from web.service.service import Service
from web.views.resin_meaning import Meaning, asked_of, keep_meaning, meaning_kept, work_out_meaning

log = logging.getLogger(__name__)
DIED = phrase("The work on this resin broke off. Save its datasheet again, or restart the service.")


class ResinWork:
    """Has resins worked out. Safe to call from any thread."""

    def __init__(self, service: Service, make_process: Callable[[], Process] = OwnProcess) -> None:
        self._service, self._make_process = service, make_process
        self._changed = threading.Condition()
        self._wanted: OrderedDict[str, tuple[dict[str, Any], str]] = OrderedDict()
        self._now: str | None = None
        self._process: Process | None = None
        self._thread: threading.Thread | None = None
        self._closed = False

    def ask(self, facts: Mapping[str, Any]) -> bool:
        """Have a resin of the list worked out. Returns whether an answer is on its way."""
        asked = asked_of(facts)
        if asked is None or meaning_kept(facts) is not None:
            return False
        with self._changed:
            if self._closed:
                return False
            if asked != self._now:
                self._wanted[asked] = (facts["table"], facts["sheet_toml"])
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="resin-work")
                self._thread.start()
            self._changed.notify_all()
        return True

    def wait(self, longest_s: float) -> None:
        """Wait until nothing is wanted any more."""
        with self._changed:
            self._changed.wait_for(lambda: self._now is None and not self._wanted, longest_s)

    def close(self) -> None:
        """End the work, also in the midst of it."""
        with self._changed:
            self._closed = True
            if self._process is not None:
                self._process.close()
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        while True:
            with self._changed:
                self._now = None
                self._changed.notify_all()
                self._changed.wait_for(lambda: self._closed or bool(self._wanted))
                if self._closed:
                    return
                self._now, (table, sheet_toml) = self._wanted.popitem(last=False)
                asked, self._process = self._now, self._make_process()
            keep_meaning(asked, self._work(self._process, table, sheet_toml))
            # A process that is seldom needed holds no memory meanwhile.
            self._process.close()
            self._service.news.publish("resins")

    def _work(self, process: Process, table: dict[str, Any], sheet_toml: str) -> Meaning:
        try:
            meaning: Meaning = process(work_out_meaning, table, sheet_toml)
        except LoggerError as error:
            return Meaning(trouble=error.fact)
        except BrokenExecutor:
            return Meaning(trouble=DIED)
        except Exception:
            log.exception("a resin could not be worked out")
            return Meaning(trouble=DIED)
        return meaning
