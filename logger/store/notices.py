"""Notices between processes through PostgreSQL's LISTEN and NOTIFY. SQLite has none: there is one process."""

from __future__ import annotations

from collections.abc import Sequence
from types import TracebackType
from typing import Any

from sqlalchemy import URL, Connection

from logger.facts import fact

#: The channel of all notices.
CHANNEL = "pourlog_news"


def notify(tx: Connection, texts: Sequence[str]) -> None:
    """Send texts, each up to 8000 bytes, to every process that listens; they go out with the commit."""
    for text in texts:
        tx.exec_driver_sql("SELECT pg_notify(%s, %s)", (CHANNEL, text))


class Listener:
    """A connection of its own that listens. Raises OSError when it cannot be made, or is lost."""

    def __init__(self, url: URL) -> None:
        # Imported here: the driver is there only where a server is used.
        import psycopg

        self._lost = psycopg.OperationalError
        address = url.set(drivername="postgresql").render_as_string(hide_password=False)
        try:
            self._connection = psycopg.connect(
                address, autocommit=True, application_name="pourlog-listens", connect_timeout=10
            )
            self._connection.execute(f"LISTEN {CHANNEL}")
        except psycopg.OperationalError as error:
            raise OSError(fact("notices-not-heard", error=str(error))) from error

    def wait(self, seconds: float) -> list[str]:
        """Return what has come within so many seconds."""
        try:
            return [notice.payload for notice in self._connection.notifies(timeout=seconds, stop_after=1)]
        except self._lost as error:
            raise OSError(fact("notices-lost", error=str(error))) from error

    def __enter__(self) -> Listener:
        """Itself."""
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> Any:
        """Close the connection."""
        self._connection.close()
