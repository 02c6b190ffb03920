"""News between service processes over one PostgreSQL database: pages of all show what one publishes (LISTEN/NOTIFY).

What happens within a tenth of a second goes out together: a thousand batches are one notice of the same pour.
"""

from __future__ import annotations

import json
import logging
import secrets
import threading
from collections.abc import Callable
from typing import Any

from sqlalchemy.exc import DBAPIError

from logger.store.database import Store
from logger.store.notices import Listener, notify

log = logging.getLogger(__name__)

#: News wait this long for others, s.
GATHER_S = 0.1
#: A lost connection is tried again after this, s.
AGAIN_S = 1.0


class EventBridge:
    """Sends this process's news to the others, and hands on theirs."""

    def __init__(self, store: Store, on_news: Callable[[dict[str, Any]], None]) -> None:
        self._store, self._on_news = store, on_news
        self._me = secrets.token_hex(4)
        self._lock = threading.Lock()
        self._waiting: dict[str, None] = {}
        self._more = threading.Event()

    def enqueue(self, news: dict[str, Any]) -> None:
        """Have this news sent to the other processes soon."""
        with self._lock:
            self._waiting[json.dumps({"from": self._me, **news}, sort_keys=True)] = None
        self._more.set()

    def send(self, stop: threading.Event) -> None:
        """Send what is enqueued until the service stops."""
        while not stop.is_set():
            self._more.wait(1.0)
            if not self._more.is_set() or stop.wait(GATHER_S):
                continue
            self._more.clear()
            with self._lock:
                gathered, self._waiting = list(self._waiting), {}
            try:
                with self._store.aside() as tx:
                    notify(tx, gathered)
            except DBAPIError as error:
                # Pages of other processes look again by themselves; the watch looks every few seconds.
                log.warning("news could not be sent to the other processes: %s", error.orig)

    def listen(self, stop: threading.Event) -> None:
        """Hand on the other processes' news until the service stops."""
        while not stop.is_set():
            try:
                with Listener(self._store.url) as listener:
                    while not stop.is_set():
                        for text in listener.wait(1.0):
                            news = json.loads(text)
                            if news.pop("from") != self._me:
                                self._on_news(news)
            except OSError as error:
                log.warning("other processes are not heard: %s", error)
                stop.wait(AGAIN_S)
