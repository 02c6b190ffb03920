"""What SQLite and PostgreSQL do differently, in this one file: connections, locks, refusals, many rows at once.

Both have one writer at a time. On PostgreSQL every write transaction first takes one advisory lock, so that several
processes write one after the other, and ids come in the order of their commits: what was judged up to an id stays so.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Protocol

from sqlalchemy import (
    URL,
    BigInteger,
    Boolean,
    Connection,
    Engine,
    Float,
    Integer,
    Table,
    create_engine,
    event,
)
from sqlalchemy.exc import DBAPIError, OperationalError

#: Seconds that a transaction waits for another's write before it gives up.
BUSY_S = 10
#: The advisory lock of whoever writes: any number, the same in every process of one database.
WRITER_LOCK = 7_310_441


class Dialect(Protocol):
    """One kind of database."""

    def engine(self, url: URL, *, read_only: bool, alone: bool = True) -> Engine:
        """Open connections to it, each transaction begun as ours must be. Not `alone`: waits for no other writer."""

    def changes(self, connection: Connection) -> int | None:
        """How many rows this connection has ever changed; None where the driver does not say."""

    def for_shop(self, connection: Connection, shop_id: int | None) -> None:
        """Make what follows in this transaction one shop's alone; None: the service's own."""


class Sqlite:
    """The Pi's own file. WAL and synchronous=FULL: a commit has reached the disk."""

    def engine(self, url: URL, *, read_only: bool, alone: bool = True) -> Engine:  # noqa: ARG002 - one file, one writer
        """Readers beside one writer."""
        path = Path(url.database or "")
        address = f"sqlite:///file:{path}?mode=ro&uri=true" if read_only else str(url)
        engine = create_engine(
            address,
            pool_size=8 if read_only else 1,
            connect_args={"check_same_thread": False, "timeout": BUSY_S},
        )
        event.listen(engine, "connect", _quiet_pragmas if read_only else _durable_pragmas)
        # BEGIN IMMEDIATE takes the write lock at once: a transaction never fails half-way for want of it.
        start = "BEGIN" if read_only else "BEGIN IMMEDIATE"
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql(start))
        return engine

    def changes(self, connection: Connection) -> int | None:
        """Return how many the driver counts."""
        return int(connection.connection.dbapi_connection.total_changes)  # type: ignore[union-attr]

    def for_shop(self, connection: Connection, shop_id: int | None) -> None:
        """Do nothing: a Pi has one shop."""


class Postgres:
    """A server's database, for many stations and several processes."""

    def engine(self, url: URL, *, read_only: bool, alone: bool = True) -> Engine:
        """Readers see one moment; writers take the lock first, and see what was committed before they got it."""
        # No compiler: our questions are over before it is. Among 50 million rows it made a pour's page twice as slow.
        options = [
            f"-c lock_timeout={BUSY_S * 1000}",
            "-c idle_in_transaction_session_timeout=60000",
            "-c jit=off",
        ]
        if read_only:
            options.append("-c default_transaction_read_only=on")
        engine = create_engine(
            url.set(drivername="postgresql+psycopg"),
            pool_size=8 if read_only else 1,
            # A server that was restarted costs nobody an error.
            pool_pre_ping=True,
            isolation_level="REPEATABLE READ" if read_only else "READ COMMITTED",
            connect_args={
                "options": " ".join(options),
                "connect_timeout": BUSY_S,
                "application_name": "pourlog",
                # A process that is gone without a word loses its transaction, and with it the lock.
                "keepalives_idle": 5,
                "keepalives_interval": 2,
                "keepalives_count": 3,
                "tcp_user_timeout": 10_000,
            },
        )
        if not read_only and alone:
            lock = f"SELECT pg_advisory_xact_lock({WRITER_LOCK})"
            event.listen(engine, "begin", lambda connection: connection.exec_driver_sql(lock))
        return engine

    def changes(self, connection: Connection) -> int | None:  # noqa: ARG002 - the other kind needs it
        """Not told."""
        return None

    def for_shop(self, connection: Connection, shop_id: int | None) -> None:
        """Said to the server, whose row security does the rest; forgotten with the transaction."""
        if shop_id is not None:
            connection.exec_driver_sql("SELECT set_config('pourlog.shop', %s, true)", (str(shop_id),))


def dialect_of(url: URL) -> Dialect:
    """Return the kind of database that an address names."""
    return Sqlite() if url.get_backend_name() == "sqlite" else Postgres()


def refuses(error: DBAPIError) -> bool:
    """Whether the database cannot be written at present: full, failing, damaged, read-only, or out of reach.

    Not: that another's write was waited for too long.
    """
    code = getattr(error.orig, "sqlite_errorcode", None)
    if code is not None:
        return code & 0xFF in _SQLITE_REFUSES
    state = getattr(error.orig, "sqlstate", None)
    if state is None:
        return isinstance(error, OperationalError)
    return state[:2] in _POSTGRES_REFUSES or state == "25006"


def damaged(error: DBAPIError) -> bool:
    """Whether what is stored cannot be understood: room on the disk would not help."""
    code = getattr(error.orig, "sqlite_errorcode", None)
    return code is not None and code & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def out_of_reach(error: DBAPIError) -> bool:
    """Whether the server, or the line to it, is away: `refuses` is true of that too."""
    state = getattr(error.orig, "sqlstate", None)
    if state is None:
        return isinstance(error, OperationalError) and not hasattr(error.orig, "sqlite_errorcode")
    return state[:2] in _POSTGRES_AWAY


_SQLITE_REFUSES = (
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_CORRUPT,
    sqlite3.SQLITE_NOTADB,
)
#: Classes of SQLSTATE: connection and operator's doing; beside them resources (a full disk) and the system's failure.
_POSTGRES_AWAY = ("08", "57")
_POSTGRES_REFUSES = (*_POSTGRES_AWAY, "53", "58")


def on_postgres(connection: Connection) -> bool:
    """Whether this connection is to a server."""
    return connection.dialect.name == "postgresql"


def server_ms(connection: Connection) -> int:
    """Return the database server's own time, ms since 1970: the same for every process."""
    asked = (
        "SELECT (extract(epoch FROM clock_timestamp()) * 1000)::bigint"
        if on_postgres(connection)
        else "SELECT CAST((julianday('now') - 2440587.5) * 86400000 AS INTEGER)"
    )
    return int(connection.exec_driver_sql(asked).scalar_one())


def insert_many(tx: Connection, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    """Put rows of numbers, texts and truths in, each with the same columns in the same order, one after the other.

    The driver's own words: what a statement costs otherwise is several times what the row costs.
    """
    if not rows:
        return
    columns = tuple(rows[0])
    if on_postgres(tx):
        tx.exec_driver_sql(_insert_text(table, columns), (json.dumps(rows),))
        return
    names, marks = _named(columns), ", ".join("?" for _ in columns)
    text = f'INSERT INTO "{table.name}" ({names}) VALUES ({marks})'  # noqa: S608 - our own names
    tx.exec_driver_sql(text, [tuple(row.values()) for row in rows])


def update_many(tx: Connection, table: Table, key: str, rows: Sequence[dict[str, Any]]) -> None:
    """Change rows by a key column, all with the same other columns, each of numbers, texts and truths."""
    if not rows:
        return
    columns = tuple(rows[0])
    if on_postgres(tx):
        keys = [row[key] for row in rows]
        tx.exec_driver_sql(_update_text(table, key, columns), (json.dumps(rows), keys))
        return
    others = [name for name in columns if name != key]
    to = ", ".join(f'"{name}" = ?' for name in others)
    text = f'UPDATE "{table.name}" SET {to} WHERE "{key}" = ?'  # noqa: S608 - our own names
    tx.exec_driver_sql(text, [tuple(row[name] for name in (*others, key)) for row in rows])


# One text of JSON for all rows: the statement is the same for any number of them, and the server unpacks it in less
# time than the driver needs to write arrays. (COPY is quicker still, but is refused where row security is on.)


@cache
def _insert_text(table: Table, columns: tuple[str, ...]) -> str:
    unpacked = _unpacked(table, columns)
    return f'INSERT INTO "{table.name}" ({_named(columns)}) SELECT new.* FROM {unpacked}'  # noqa: S608 - our own names


@cache
def _update_text(table: Table, key: str, columns: tuple[str, ...]) -> str:
    to = ", ".join(f'"{name}" = new."{name}"' for name in columns if name != key)
    # The keys once more: without them the planner reads the whole table, which may have a row for each of 10,000
    # stations' probes.
    return (
        f'UPDATE "{table.name}" SET {to} FROM {_unpacked(table, columns)} '  # noqa: S608 - our own names
        f'WHERE "{table.name}"."{key}" = new."{key}" AND "{table.name}"."{key}" = ANY(%s::{_kind(table, key)}[])'
    )


def _unpacked(table: Table, columns: tuple[str, ...]) -> str:
    kinds = ", ".join(f'"{name}" {_kind(table, name)}' for name in columns)
    return f"json_to_recordset(%s::json) AS new ({kinds})"


def _named(columns: tuple[str, ...]) -> str:
    return ", ".join(f'"{name}"' for name in columns)


def _kind(table: Table, name: str) -> str:
    kind = table.c[name].type
    for column_type, word in (
        (BigInteger, "bigint"),
        (Integer, "integer"),
        (Boolean, "boolean"),
        (Float, "double precision"),
    ):
        if isinstance(kind, column_type):
            return word
    return "text"


def _durable_pragmas(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # transactions are ours to begin, not the driver's
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
        f"busy_timeout={BUSY_S * 1000}",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _quiet_pragmas(connection: Any, _record: Any) -> None:
    connection.isolation_level = None
    for pragma in ("query_only=ON", f"busy_timeout={BUSY_S * 1000}"):
        connection.execute(f"PRAGMA {pragma}")
