"""The station's own disk: every row stays until the service has said that it stores it.

One SQLite file in WAL mode with synchronous=FULL: a commit that returned survives a power cut, if the card keeps its
promises. Sequence numbers count up by one without gaps within a spool, whose name is a UUID; both are the service's
means to store nothing twice. A spool never drops a row by itself: when it is full the newest rows are refused
(`SpoolFull`), since a gap in the numbers could never be closed.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
import uuid
from collections.abc import Sequence
from pathlib import Path

from hardware.clock import Stamp
from logger.errors import LoggerError
from logger.wire import UnnumberedReading, WireReading

log = logging.getLogger(__name__)

MEMORY = ":memory:"
MAX_ROWS = 5_000_000
"""About 400 MB: seven weeks of six probes every 5 s."""
FORGET_AT_ONCE = 200
"""Acknowledged rows are deleted together with an append, when there are this many: no commit of their own."""
BUSY_MS = 5000
CHECKED_BELOW_BYTES = 64_000_000
"""A larger spool is not checked at the start; it would take seconds. Damage then shows when it is read."""

SCHEMA = """
CREATE TABLE IF NOT EXISTS name (spool TEXT NOT NULL, forgotten INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS boot (id INTEGER PRIMARY KEY, boot_id TEXT NOT NULL UNIQUE);
CREATE TABLE IF NOT EXISTS row (
    seq INTEGER PRIMARY KEY,
    probe TEXT NOT NULL,
    place TEXT NOT NULL,
    wall_ms INTEGER NOT NULL,
    boot INTEGER NOT NULL REFERENCES boot (id),
    boot_ms INTEGER NOT NULL,
    clock_set INTEGER NOT NULL,
    milli_c INTEGER,
    milli_rh INTEGER,
    fault TEXT,
    raw TEXT,
    note TEXT
);
"""
_OLDEST = """
SELECT seq, probe, place, wall_ms, boot_id, boot_ms, clock_set, milli_c, fault, raw, note, milli_rh
FROM row JOIN boot ON boot.id = row.boot WHERE seq > ? ORDER BY seq LIMIT ?
"""
_NEWEST = _OLDEST.replace("ORDER BY seq", "ORDER BY seq DESC")


class SpoolFull(LoggerError):
    """The spool holds as many rows as it may."""


class Spool:
    """One spool, on disk or in memory. Safe to use from several threads."""

    def __init__(self, path: Path | str, *, max_rows: int = MAX_ROWS) -> None:
        """Open or make the spool at `path`. Raises sqlite3.Error if the disk refuses or the file is damaged."""
        self.path = path
        self.max_rows = max_rows
        self.name = ""
        self.last_seq = 0
        self.forgotten = 0
        self._deleted = 0
        self._lock = threading.Lock()
        self._boots: dict[str, int] = {}
        # Transactions are begun and ended here, by name.
        self._db = sqlite3.connect(
            path, isolation_level=None, check_same_thread=False, timeout=BUSY_MS / 1000
        )
        try:
            self._prepare()
        except BaseException:
            self._db.close()
            raise

    @property
    def pending(self) -> int:
        """Rows that the service has not yet acknowledged."""
        return self.last_seq - self.forgotten

    def append(self, rows: Sequence[UnnumberedReading]) -> int:
        """Store `rows` in one commit; return the last sequence number.

        Raises SpoolFull, or sqlite3.Error if the disk refuses: then none of the rows is stored.
        """
        with self._lock:
            if self.pending + len(rows) > self.max_rows:
                raise SpoolFull(f"{self.path} holds {self.pending} rows; allowed: {self.max_rows}")
            boots = dict(self._boots)
            try:
                self._db.execute("BEGIN IMMEDIATE")
                for seq, row in enumerate(rows, self.last_seq + 1):
                    self._insert(seq, row, boots)
                deleted = self.forgotten - self._deleted >= FORGET_AT_ONCE
                if deleted:
                    self._delete_forgotten()
                self._db.execute("COMMIT")
            except BaseException:
                self._roll_back()
                raise
            self._boots = boots
            if deleted:
                self._deleted = self.forgotten
            self.last_seq += len(rows)
            return self.last_seq

    def oldest(self, limit: int) -> list[WireReading]:
        """Return up to `limit` rows that the service has not acknowledged, in order."""
        return self._rows(_OLDEST, limit)

    def newest(self, limit: int) -> list[WireReading]:
        """Return the last `limit` rows that the service has not acknowledged, in order."""
        return self._rows(_NEWEST, limit)[::-1]

    def _rows(self, query: str, limit: int) -> list[WireReading]:
        with self._lock:
            rows = self._db.execute(query, (self.forgotten, limit)).fetchall()
        return [
            WireReading(
                seq=seq,
                probe=probe,
                place=place,
                stamp=Stamp(wall, boot, at, bool(was_set)),
                milli_c=milli_c,
                fault=fault,
                raw=raw,
                note=note,
                milli_rh=milli_rh,
            )
            for seq, probe, place, wall, boot, at, was_set, milli_c, fault, raw, note, milli_rh in rows
        ]

    def forget(self, up_to: int) -> None:
        """Drop everything up to `up_to`, which the service stores: never more than there is."""
        with self._lock:
            self.forgotten = max(self.forgotten, min(up_to, self.last_seq))

    def renew(self) -> None:
        """Take a new name and number the rows that are left from 1.

        For a service that has another past of this spool than the card (one of them was restored from a copy).
        """
        with self._lock:
            name = str(uuid.uuid4())
            try:
                self._db.execute("BEGIN IMMEDIATE")
                self._db.execute("DELETE FROM row WHERE seq <= ?", (self.forgotten,))
                self._db.execute("UPDATE row SET seq = seq - ?", (self.forgotten,))
                self._db.execute("UPDATE name SET spool = ?, forgotten = 0", (name,))
                self._db.execute("COMMIT")
            except BaseException:
                self._roll_back()
                raise
            log.warning("spool %s goes on as %s: the service knows another past of it", self.name, name)
            self.name = name
            self.last_seq -= self.forgotten
            self.forgotten = self._deleted = 0

    def close(self) -> None:
        """Write down what was acknowledged and close the file. Does nothing the second time."""
        with self._lock:
            try:
                if self.forgotten > self._deleted:
                    self._db.execute("BEGIN IMMEDIATE")
                    self._delete_forgotten()
                    self._db.execute("COMMIT")
            except sqlite3.Error as error:
                # Nothing is lost: the rows are offered again after the next start, and counted as repeated.
                log.warning("%s: acknowledged rows could not be deleted: %s", self.path, error)
            finally:
                self._db.close()
                self._deleted = self.forgotten

    def _prepare(self) -> None:
        if self.path != MEMORY and Path(self.path).stat().st_size < CHECKED_BELOW_BYTES:
            (verdict,) = self._db.execute("PRAGMA quick_check(1)").fetchone()
            if verdict != "ok":
                raise sqlite3.DatabaseError(f"{self.path} is damaged: {verdict}")
        self._db.execute("PRAGMA journal_mode=WAL")
        self._db.execute("PRAGMA synchronous=FULL")
        self._db.executescript(SCHEMA)
        self._db.execute("BEGIN IMMEDIATE")
        if self._db.execute("SELECT count(*) FROM name").fetchone() == (0,):
            self._db.execute("INSERT INTO name VALUES (?, 0)", (str(uuid.uuid4()),))
        self._db.execute("COMMIT")
        self.name, self.forgotten = self._db.execute("SELECT spool, forgotten FROM name").fetchone()
        self._deleted = self.forgotten
        (highest,) = self._db.execute("SELECT max(seq) FROM row").fetchone()
        self.last_seq = max(self.forgotten, highest or 0)
        self._boots = {boot_id: key for key, boot_id in self._db.execute("SELECT id, boot_id FROM boot")}

    def _insert(self, seq: int, row: UnnumberedReading, boots: dict[str, int]) -> None:
        stamp = row.stamp
        boot = boots.get(stamp.boot_id)
        if boot is None:
            boot = self._db.execute("INSERT INTO boot (boot_id) VALUES (?)", (stamp.boot_id,)).lastrowid
            assert boot is not None
            boots[stamp.boot_id] = boot
        self._db.execute(
            "INSERT INTO row VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                seq,
                row.probe,
                row.place,
                stamp.wall_ms,
                boot,
                stamp.boot_ms,
                stamp.clock_set,
                row.milli_c,
                row.milli_rh,
                row.fault,
                row.raw,
                row.note,
            ),
        )

    def _delete_forgotten(self) -> None:
        self._db.execute("DELETE FROM row WHERE seq <= ?", (self.forgotten,))
        self._db.execute("UPDATE name SET forgotten = ?", (self.forgotten,))

    def _roll_back(self) -> None:
        if self._db.in_transaction:
            self._db.execute("ROLLBACK")
