"""Opens the database, migrates it, and hands out transactions: one writer at a time, readers beside it.

A batch is acknowledged only after its commit has reached the disk. What the kinds of database do differently is in
dialect.py.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from copy import copy
from pathlib import Path

from sqlalchemy import Connection, Table, inspect
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DataError, DBAPIError, OperationalError
from sqlmodel import SQLModel

from logger.errors import BadInput, BadSettings, StoreError, UnknownSchema
from logger.facts import fact
from logger.store import tables  # noqa: F401 - registers the tables
from logger.store.dialect import damaged, dialect_of, out_of_reach, refuses

__all__ = [
    "MIGRATIONS",
    "SEES",
    "Store",
    "check_schema",
    "known_revisions",
    "latest_revision",
    "refuses",
    "table",
]

MIGRATIONS = Path(__file__).parent / "migrations"
#: Databases that can be named by `database_url`.
KINDS = ("sqlite", "postgresql")
#: For which shop transactions are begun (see shops.py); None: for the service itself.
SEES: ContextVar[int | None] = ContextVar("sees", default=None)


def table(model: type[SQLModel]) -> Table:
    """Return the SQL table of a model."""
    return SQLModel.metadata.tables[str(model.__tablename__)]


class Store:
    """The database. `write()` is the only way to change it; `read()` cannot.

    Raises StoreError when it cannot be opened, UnknownSchema when it is newer than this program.
    """

    def __init__(self, url: str) -> None:
        try:
            self.url = make_url(url)
        except ArgumentError:
            self.url = make_url("unknown://")
        if self.url.get_backend_name() not in KINDS:
            # Without its value: it may hold a password.
            raise BadSettings(
                "database_url",
                fact("not-a-known-database"),
                allowed=", ".join(KINDS),
                remedy=fact("such-as-postgresql"),
            )
        self._dialect = dialect_of(self.url)
        self._check: Callable[[Connection], None] = lambda _tx: None
        self._lock = threading.Lock()
        #: Called when the disk is full; whether it has made room.
        self.make_room: Callable[[], bool] = lambda: False
        #: Why the last write was refused, until one is taken again; None while all is well.
        self.refused: str | None = None
        #: Why the last read failed, until one succeeds again; None while all is well.
        self.unread: str | None = None
        #: How many writes were refused so far: a large one may be while a small one still finds room.
        self.refusals = 0
        if self.is_sqlite and self.url.database:
            Path(self.url.database).parent.mkdir(parents=True, exist_ok=True)
        try:
            self._writer = self._dialect.engine(self.url, read_only=False)
        except ModuleNotFoundError as error:
            raise StoreError(fact("no-postgresql-driver")) from error
        try:
            self._migrate()
        except OperationalError as error:
            self._writer.dispose()
            raise StoreError(
                fact(
                    "file-cannot-be-opened" if self.is_sqlite else "server-cannot-be-opened",
                    database=self.url.render_as_string(),
                    error=str(error.orig),
                )
            ) from error
        self._reader = self._dialect.engine(self.url, read_only=True)
        self._aside = self._dialect.engine(self.url, read_only=False, alone=False)

    @property
    def is_sqlite(self) -> bool:
        """Whether this is the Pi's own database rather than a server's."""
        return self.url.get_backend_name() == "sqlite"

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """Yield a write transaction: committed when the block ends, rolled back when it raises."""
        try:
            with self._lock, self._writer.begin() as connection:
                self._dialect.for_shop(connection, SEES.get())
                before = self._dialect.changes(connection)
                self._check(connection)
                yield connection
                wrote = before is None or self._dialect.changes(connection) != before
        except DataError as error:
            raise _unfit(error) from error
        except DBAPIError as error:
            # Whoever wrote tries again, or goes on without; the room is there for the next try.
            # A server out of reach has refused nothing: reading it fails too, until all is well again.
            if refuses(error) and not out_of_reach(error):
                self.refused = str(error.orig)
                self.refusals += 1
                if not damaged(error):
                    self.make_room()
            raise
        if wrote:  # an empty transaction proves nothing
            self.refused = None

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Yield a read transaction: one consistent view; the database refuses writes in it."""
        try:
            with self._reader.begin() as connection:
                self._dialect.for_shop(connection, SEES.get())
                yield connection
        except DataError as error:
            raise _unfit(error) from error
        except DBAPIError as error:
            if refuses(error):
                self.unread = str(error.orig)
            raise
        self.unread = None

    @property
    def fails(self) -> bool:
        """Whether the database could not be written, or not be read, when that was last tried."""
        return self.refused is not None or self.unread is not None

    @contextmanager
    def aside(self) -> Iterator[Connection]:
        """Yield a write transaction that waits for no other writer, where there can be several: for the lease alone."""
        if self.is_sqlite:
            with self.write() as tx:
                yield tx
            return
        with self._aside.begin() as tx:
            yield tx

    def fenced(self, check: Callable[[Connection], None]) -> Store:
        """Return the same database for whoever decides: `check` looks in each write transaction whether it still
        may.
        """
        other = copy(self)
        other._check = check
        return other

    def close(self) -> None:
        """Let go of every connection. May be called twice."""
        self._writer.dispose()
        if hasattr(self, "_reader"):
            self._reader.dispose()
            self._aside.dispose()

    def _migrate(self) -> None:
        # alembic costs 25 MB and 0.2 s: imported only when there is something to migrate.
        with self._writer.begin() as connection:
            revision = _revision(connection)
        if revision == latest_revision():
            return
        from alembic import command
        from alembic.config import Config

        _refuse_unknown(self.url, revision)
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS))
        # One transaction: an interrupted migration leaves the old schema usable.
        with self._writer.begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")


def check_schema(url: str) -> str:
    """Return what schema a database has, in words; only read. Raises UnknownSchema when it is newer than this
    program.
    """
    address = make_url(url)
    if address.get_backend_name() == "sqlite" and not Path(address.database or "").is_file():
        return fact("no-database-yet")
    engine = dialect_of(address).engine(address, read_only=True)
    try:
        with engine.begin() as connection:
            revision = _revision(connection)
    finally:
        engine.dispose()
    _refuse_unknown(address, revision)
    return fact("other-schema", schema=str(revision), latest=latest_revision())


def _revision(connection: Connection) -> str | None:
    """Return the name of the last migration that a database went through; None for an empty one."""
    if "alembic_version" not in inspect(connection).get_table_names():
        return None
    return connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()


def _refuse_unknown(url: URL, revision: str | None) -> None:
    if revision is not None and revision not in known_revisions():
        raise UnknownSchema(
            fact(
                "newer-schema",
                database=url.render_as_string(),
                schema=str(revision),
                latest=latest_revision(),
            )
        )


def _unfit(error: DataError) -> BadInput:
    """Return a text with a zero byte in it, or too long for its column: a server's database takes none."""
    return BadInput(
        fact("a-value"),
        fact("database-cannot-keep", error=str(error.orig).splitlines()[0]),
        remedy=fact("no-control-characters-or-shorter"),
    )


def known_revisions() -> list[str]:
    """Names of the migrations that this program ships, oldest first (their files start with a four-digit number)."""
    return sorted(path.stem for path in (MIGRATIONS / "versions").glob("[0-9]*.py"))


def latest_revision() -> str:
    """Return the newest schema that this program knows."""
    return known_revisions()[-1]
