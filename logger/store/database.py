"""Opens the database, migrates it, and hands out transactions: one writer at a time, readers beside it.

SQLite runs with WAL and synchronous=FULL: a batch is acknowledged only after its commit has reached the disk.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Table, create_engine, event, inspect
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlmodel import SQLModel

from logger.errors import StoreError, UnknownSchema
from logger.store import tables  # noqa: F401 - registers the tables

MIGRATIONS = Path(__file__).parent / "migrations"
#: Seconds that a transaction waits for another process's write before it gives up.
BUSY_S = 10


def table(model: type[SQLModel]) -> Table:
    """The SQL table of a model."""
    return SQLModel.metadata.tables[str(model.__tablename__)]


class Store:
    """The database. `write()` is the only way to change it; `read()` cannot.

    Raises StoreError when it cannot be opened, UnknownSchema when it is newer than this program.
    """

    def __init__(self, url: str) -> None:
        self.url = make_url(url)
        self._lock = threading.Lock()
        #: Called when the disk is full; whether it has made room.
        self.make_room: Callable[[], bool] = lambda: False
        #: Why the last write was refused, until one is taken again; None while all is well.
        self.refused: str | None = None
        if self.is_sqlite and self.url.database:
            Path(self.url.database).parent.mkdir(parents=True, exist_ok=True)
        self._writer = self._engine(read_only=False)
        try:
            self._migrate()
        except OperationalError as error:
            self._writer.dispose()
            raise StoreError(
                f"{self.url.render_as_string()}: cannot be opened ({error.orig}); "
                "check the path, its owner, and the free space"
            ) from error
        self._reader = self._engine(read_only=True)

    @property
    def is_sqlite(self) -> bool:
        """Whether this is the Pi's own database rather than a server's."""
        return self.url.get_backend_name() == "sqlite"

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A write transaction: committed when the block ends, rolled back when it raises."""
        try:
            with self._lock, self._writer.begin() as connection:
                before = _changes(connection)
                yield connection
                wrote = before is None or _changes(connection) != before
        except DBAPIError as error:
            # Whoever wrote tries again, or goes on without; the room is there for the next try.
            if refuses(error):
                self.refused = str(error.orig)
                self.make_room()
            raise
        if wrote:  # an empty transaction proves nothing
            self.refused = None

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A read transaction: one consistent view; the database refuses writes in it."""
        with self._reader.begin() as connection:
            yield connection

    def close(self) -> None:
        """Lets go of every connection. May be called twice."""
        self._writer.dispose()
        if hasattr(self, "_reader"):
            self._reader.dispose()

    def _engine(self, *, read_only: bool) -> Engine:
        if not self.is_sqlite:
            options = {"options": "-c default_transaction_read_only=on"} if read_only else {}
            return create_engine(self.url, pool_size=5 if read_only else 1, connect_args=options)
        path = Path(self.url.database or "")
        url = f"sqlite:///file:{path}?mode=ro&uri=true" if read_only else str(self.url)
        engine = create_engine(
            url, pool_size=8 if read_only else 1, connect_args={"check_same_thread": False, "timeout": BUSY_S}
        )
        event.listen(engine, "connect", _quiet_pragmas if read_only else _durable_pragmas)
        # BEGIN IMMEDIATE takes the write lock at once: a transaction never fails half-way for want of it.
        start = "BEGIN" if read_only else "BEGIN IMMEDIATE"
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql(start))
        return engine

    def _migrate(self) -> None:
        # alembic costs 25 MB and 0.2 s: imported only when there is something to migrate.
        with self._writer.begin() as connection:
            there = inspect(connection).get_table_names()
            revision = (
                connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
                if "alembic_version" in there
                else None
            )
        if revision == latest_revision():
            return
        from alembic import command
        from alembic.config import Config

        if revision is not None and revision not in known_revisions():
            raise UnknownSchema(
                f"{self.url.render_as_string()}: its schema {revision!r} is newer than this program knows "
                f"({latest_revision()!r}); upgrade the program, or restore a backup made by this version"
            )
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS))
        # One transaction: an interrupted migration leaves the old schema usable.
        with self._writer.begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")


def _changes(connection: Connection) -> int | None:
    """How many rows this connection has ever changed; None where the driver does not say."""
    count = getattr(connection.connection.dbapi_connection, "total_changes", None)
    return None if count is None else int(count)


def refuses(error: DBAPIError) -> bool:
    """Whether the database cannot be written at present: disk full, or failing."""
    code = getattr(error.orig, "sqlite_errorcode", None)
    if code is None:
        return isinstance(error, OperationalError)
    return code & 0xFF in (
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_READONLY,
    )


def known_revisions() -> list[str]:
    """Names of the migrations that this program ships, oldest first (their files start with a four-digit number)."""
    return sorted(path.stem for path in (MIGRATIONS / "versions").glob("[0-9]*.py"))


def latest_revision() -> str:
    """The newest schema that this program knows."""
    return known_revisions()[-1]


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
