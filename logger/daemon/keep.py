"""Where rows wait for the service: on disk, and in memory for as long as the disk refuses. The watch goes on.

The memory is a second spool with a name of its own, so that its rows reach the service by the same rules. It is
small; when it is full as well, the newest rows are lost, counted and logged.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from logger.daemon.spool import MAX_ROWS, MEMORY, Spool, SpoolFull
from logger.wire import UnnumberedReading

log = logging.getLogger(__name__)

MEMORY_ROWS = 20_000
"""Five hours of six probes every 5 s, a day every 30 s; about 10 MB."""
REOPEN_S = 60.0


class Keeper:
    """Stores rows as safely as the machine allows. `trouble`: why they are not safe; `lost`: rows that were dropped."""

    def __init__(self, path: Path, *, max_rows: int = MAX_ROWS, memory_rows: int = MEMORY_ROWS) -> None:
        self.trouble: str | None = None
        self.lost = 0
        self._path = path
        self._max_rows = max_rows
        self._memory = Spool(MEMORY, max_rows=memory_rows)
        self._disk: Spool | None = None
        self._tried_s = 0.0
        self._open(0.0)

    @property
    def spools(self) -> list[Spool]:
        """All spools, the one whose rows are to be sent first at the head."""
        spools = [spool for spool in (self._disk, self._memory) if spool is not None]
        if len(spools) == 2 and self._memory.pending and spools[0].pending:
            try:
                on_disk, in_memory = spools[0].oldest(1)[0].stamp, self._memory.oldest(1)[0].stamp
            except sqlite3.Error:
                return spools[::-1]  # the disk cannot be read: what is in memory goes first
            if on_disk.boot_id == in_memory.boot_id and in_memory.boot_ms < on_disk.boot_ms:
                spools.reverse()
        return spools

    @property
    def pending(self) -> int:
        """Rows that the service has not yet acknowledged."""
        return sum(spool.pending for spool in (self._disk, self._memory) if spool is not None)

    def store(self, rows: Sequence[UnnumberedReading], now_s: float) -> bool:
        """Store `rows`; return False if they had to be dropped. A disk that refuses raises nothing."""
        if self._disk is None and now_s - self._tried_s >= REOPEN_S:
            self._open(now_s)
        if self._disk is not None:
            try:
                self._disk.append(rows)
            except (sqlite3.Error, SpoolFull) as error:
                self._report(f"rows are held in memory only: {error}")
                self._set_aside_if_damaged(error, now_s)
            else:
                self._recover()
                return True
        note = f"held in memory only: {self.trouble}"
        try:
            self._memory.append([replace(row, note=row.note or note) for row in rows])
        except SpoolFull:
            if not self.lost:
                log.critical("memory is full as well: rows are LOST from now on; make room at %s", self._path)
            self.lost += len(rows)
            return False
        return True

    def close(self) -> None:
        """Close the spools. Rows that are in memory only are lost, and logged."""
        if self._memory.pending:
            log.critical("%d rows were in memory only and are lost now", self._memory.pending)
        for spool in (self._disk, self._memory):
            if spool is not None:
                spool.close()
        self._disk = None

    def _open(self, now_s: float) -> None:
        self._tried_s = now_s
        try:
            self._disk = Spool(self._path, max_rows=self._max_rows)
        except (sqlite3.Error, OSError) as error:
            self._report(f"the spool cannot be opened: {error}")
            if self._set_aside_if_damaged(error, now_s):
                self._open(now_s)

    def _set_aside_if_damaged(self, error: Exception, now_s: float) -> bool:
        code = getattr(error, "sqlite_errorcode", None)
        damaged = code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) or "damaged" in str(error)
        if not damaged:
            return False
        if self._disk is not None:
            self._disk.close()
            self._disk = None
        aside = f"{self._path.name}.damaged-{round(now_s * 1000)}"
        try:
            for suffix in ("", "-wal", "-shm"):
                old = self._path.with_name(self._path.name + suffix)
                if old.exists():
                    old.rename(self._path.with_name(aside + suffix))
        except OSError as refused:
            log.critical("%s is damaged and cannot be moved aside: %s", self._path, refused)
            return False
        log.critical("%s was damaged; kept as %s, and a new one begun", self._path, aside)
        return True

    def _report(self, trouble: str) -> None:
        if trouble != self.trouble:
            log.critical("%s: %s", self._path, trouble)
        self.trouble = trouble

    def _recover(self) -> None:
        if self.trouble is not None:
            log.warning("%s: the disk takes rows again", self._path)
            self.trouble = None
