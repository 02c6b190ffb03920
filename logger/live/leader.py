"""Which of several service processes decides alarms, forecasts and messages; when it dies, another does soon.

The one that decides renews its lease every second. Another takes a lease that was not renewed for five, or at once when
it was given up. Each decision is written in a transaction that checks that the lease is still held (see lease.py).
"""

from __future__ import annotations

import logging
import os
import secrets
import socket
import threading
import time
from collections.abc import Callable
from typing import Protocol

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from logger.facts import fact
from logger.store import lease
from logger.store.database import Store, refuses
from logger.store.lease import LostLease

log = logging.getLogger(__name__)

#: A lease that was not renewed for this long may be taken over; it is renewed this often, s.
LEASE_S, RENEW_S = 5.0, 1.0


class Decides(Protocol):
    """Whether this process decides."""

    @property
    def mine(self) -> bool:
        """Whether it decides now."""

    def wait(self, stop: threading.Event) -> threading.Event | None:
        """Wait until it decides; return the event that ends its term, or None when `stop` was set before."""

    def check(self, tx: Connection) -> None:
        """Raise LostLease unless it decides."""

    def run(self, stop: threading.Event) -> None:
        """Hold the lease, or try to take it, until told to stop."""


class Alone:
    """The only process: it always decides."""

    mine = True

    def wait(self, stop: threading.Event) -> threading.Event | None:
        """Return at once: the term ends when the service stops."""
        return None if stop.is_set() else stop

    def check(self, tx: Connection) -> None:
        """Raise nothing: there is no other."""

    def run(self, stop: threading.Event) -> None:
        """End at once: there is no lease to hold."""


class Leadership:
    """One of several processes over one database. `status` gives (judged_ms, trouble) of its watch, for the others."""

    def __init__(
        self,
        store: Store,
        status: Callable[[], tuple[int | None, str | None]] = lambda: (None, None),
        *,
        lease_s: float = LEASE_S,
        renew_s: float = RENEW_S,
        seconds: Callable[[], float] = time.monotonic,
    ) -> None:
        self._store, self._status, self._seconds = store, status, seconds
        self._lease_s, self._renew_s = lease_s, renew_s
        self.holder = f"{socket.gethostname()[:30]}:{os.getpid()}:{secrets.token_hex(4)}"
        self._changed = threading.Condition()
        self._fence: int | None = None
        self._term: threading.Event | None = None
        self._until_s = 0.0

    @property
    def mine(self) -> bool:
        """Whether this process decides now, by its own clock."""
        return self._term is not None and self._seconds() < self._until_s

    def check(self, tx: Connection) -> None:
        """Raise LostLease unless this process still decides."""
        fence = self._fence
        if fence is None:
            raise LostLease(fact("not-deciding-now"))
        lease.check(tx, self.holder, fence)

    def wait(self, stop: threading.Event) -> threading.Event | None:
        """Wait until this process decides; return the event that ends its term, or None when `stop` was set."""
        with self._changed:
            self._changed.wait_for(lambda: stop.is_set() or self._term is not None)
            return None if stop.is_set() else self._term

    def step(self) -> None:
        """Take the lease if it is free, or renew it."""
        asked_s = self._seconds()
        judged_ms, trouble = self._status()
        try:
            with self._store.aside() as tx:
                fence = lease.hold(
                    tx, self.holder, round(self._lease_s * 1000), judged_ms=judged_ms, trouble=trouble
                )
        except DBAPIError as error:
            log.warning("the lease could not be renewed: %s", error.orig)
            # A full disk: nobody else can take the lease either, and the watch goes on from memory.
            if refuses(error) and self._still_written():
                self._until_s = asked_s + self._lease_s
            elif not self.mine:
                self._set(None)
            return
        except SQLAlchemyError:
            log.exception("the lease could not be asked for; it is tried again")
            return
        self._until_s = asked_s + self._lease_s
        self._set(fence)

    def run(self, stop: threading.Event) -> None:
        """Take and renew the lease until told to stop; then let another have it at once."""
        while not stop.is_set():
            self.step()
            stop.wait(self._renew_s)
        held = self._fence is not None
        self._set(None)
        with self._changed:
            self._changed.notify_all()
        if held:
            try:
                with self._store.aside() as tx:
                    lease.give_up(tx, self.holder)
            except DBAPIError as error:
                log.warning("the lease could not be given up, it runs out by itself: %s", error.orig)

    def _still_written(self) -> bool:
        try:
            with self._store.read() as connection:
                row = lease.holding(connection)
        except DBAPIError:
            return False
        return row is not None and (row.holder, row.fence) == (self.holder, self._fence)

    def _set(self, fence: int | None) -> None:
        with self._changed:
            if fence == self._fence:
                return
            if self._term is not None:
                self._term.set()
                log.warning("another service process decides now")
            self._fence = fence
            self._term = None if fence is None else threading.Event()
            if fence is not None:
                log.warning("this service process decides now (fence %d)", fence)
            self._changed.notify_all()
