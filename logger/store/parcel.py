"""A database of its own for one pour, in a file beside the service's: what comes in is put together and proven there.

Nobody else looks into it, and it is thrown away afterwards. It has the service's tables, and none of its care: nothing
is synced, nothing can be rolled back.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, create_engine, event
from sqlmodel import SQLModel

from logger.store.events import EVENT
from logger.store.readings import READING

#: Memory for its pages, KiB; less than a file of three days.
CACHE_KIB = 8_000


class Parcel:
    """One such database. The pour in it has the number 1."""

    POUR = 1

    def __init__(self, path: Path, *, new: bool = False) -> None:
        self.path = path
        mode = "rwc" if new else "ro"
        self._engine = create_engine(
            f"sqlite:///file:{path}?mode={mode}&uri=true", connect_args={"check_same_thread": False}
        )
        event.listen(self._engine, "connect", _pragmas)
        event.listen(self._engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN"))
        if new:
            with self.open() as tx:
                SQLModel.metadata.create_all(tx)
                # With one pour every look at it is a look at all: an index would only be written.
                for index in (*READING.indexes, *EVENT.indexes):
                    index.drop(tx)

    @contextmanager
    def open(self) -> Iterator[Connection]:
        """Yield a connection; what is written is there when the block ends."""
        with self._engine.begin() as connection:
            yield connection

    def readings(self, connection: Connection, after: int, most: int) -> list[tuple[Any, ...]]:
        """Return some readings as plain tuples, in order: their own number, then the columns of transfer.COLUMNS."""
        rows: Any = connection.exec_driver_sql(_READINGS, (after, most)).cursor
        return list(rows.fetchall())

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()


_READINGS = (
    "SELECT r.id, r.spool, r.seq, r.probe, r.place, b.boot_id, r.boot_ms, r.wall_ms, r.clock_set, r.milli_c, r.fault, "
    "r.raw, r.note, r.milli_rh, r.late, r.received_ms, r.link FROM reading r JOIN boot b ON b.id = r.boot "
    "WHERE r.id > ? ORDER BY r.id LIMIT ?"
)


def _pragmas(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # transactions are ours to begin, not the driver's
    for pragma in ("journal_mode=OFF", "synchronous=OFF", f"cache_size=-{CACHE_KIB}", "temp_store=FILE"):
        connection.execute(f"PRAGMA {pragma}")
