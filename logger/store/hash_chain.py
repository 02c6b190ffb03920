"""The hash chain: each row's link covers the row and the link before it, so that an altered row is found and named.

SHA-256 (FIPS 180-4) over the previous link's hex, a line feed and the row as a JSON array without blanks (RFC 8259,
characters kept as they are, false and true of a column as 0 and 1). Nothing in it depends on this database's own
numbers: a boot goes in by its name, so that a record stays provable in another workshop's database.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Generator, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select
from sqlalchemy.exc import SQLAlchemyError

from logger.store.database import table
from logger.store.dialect import on_postgres
from logger.store.tables import Boot, Event, ReadingRow

#: The fields of a reading that its link covers, in order. `boot_id` is the name of its boot.
READING_FIELDS = (
    "spool",
    "seq",
    "probe",
    "place",
    "boot_id",
    "boot_ms",
    "wall_ms",
    "clock_set",
    "milli_c",
    "fault",
    "raw",
    "note",
    "milli_rh",
    "late",
    "received_ms",
)
#: The same for an event.
EVENT_FIELDS = ("at_ms", "kind", "by", "text", "data")

_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode
_READING, _EVENT, _BOOT = table(ReadingRow), table(Event), table(Boot)

#: A pour's readings with their bodies, in SQLite's words.
_AS_JSON = (
    "SELECT r.id, json_array("  # noqa: S608 - names of our own
    + ", ".join("b.boot_id" if name == "boot_id" else f"r.{name}" for name in READING_FIELDS)
    + "), r.link, r.station_id FROM reading r LEFT JOIN boot b ON b.id = r.boot WHERE r.pour_id = ? ORDER BY r.id"
)


def canonical(value: Any) -> str:
    """Return the one text of a JSON value that hashes are taken over."""
    return _encode(value)


def sha256(text: str) -> str:
    """SHA-256 of a text in UTF-8, hex. A text that is no Unicode hashes to something that no true text does."""
    return hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()


def body_of(row: Mapping[str, Any], fields: tuple[str, ...]) -> str:
    """Return a row as its link covers it."""
    values = (row[name] for name in fields)
    return _encode([int(value) if isinstance(value, bool) else value for value in values])


def next_link(previous: str, body: str) -> str:
    """Return the link of a body, hex, after `previous` (empty at the start of a chain)."""
    return sha256(f"{previous}\n{body}")


def link(previous: str, row: Mapping[str, Any], fields: tuple[str, ...]) -> str:
    """Return the next link, hex, after `previous` (empty at the start of a chain)."""
    return next_link(previous, body_of(row, fields))


@dataclass(frozen=True, slots=True)
class Linked:
    """One row of a chain as it is stored now. `body` is None when the row cannot be read as what it was."""

    id: int
    body: str | None
    link: str | None
    #: Readings only: the row of the station that it says it came from.
    station_id: int | None = None


def proven_readings(connection: Connection, pour_id: int, station_id: int | None) -> tuple[int, str]:
    """(rows, last link) of a pour's readings as far as all of them fit: stops before the first that does not.

    The quick way of saying that nothing is wrong; `linked_readings` says what is.
    """
    count, previous, digest = 0, "", hashlib.sha256
    if on_postgres(connection):
        with closing(_readings_in_a_stream(connection, pour_id)) as stream:
            for row in stream:
                if next_link(previous, row.body or "") != row.link or row.station_id != station_id:
                    break
                previous, count = row.link, count + 1
        return count, previous
    # The driver's own rows: 311 040 of them come in half a second, wrapped ones in three.
    rows: Any = connection.exec_driver_sql(_AS_JSON, (pour_id,)).cursor
    try:
        for _id, body, stored, station in rows:
            if digest(f"{previous}\n{body}".encode()).hexdigest() != stored or station != station_id:
                break
            previous, count = stored, count + 1
    except Exception as error:
        if not _is_drivers(error) and not isinstance(error, ValueError):
            raise
    return count, previous


def linked_readings(connection: Connection, pour_id: int) -> Iterator[Linked]:
    """Yield a pour's readings in the order of their chain. SQLite writes the JSON itself: that takes half the time."""
    if on_postgres(connection):
        yield from _readings_in_a_stream(connection, pour_id)
        return
    last_id = -(2**63)
    try:
        rows: Any = connection.exec_driver_sql(_AS_JSON, (pour_id,)).cursor
        for last_id, body, stored, station_id in rows:
            yield Linked(last_id, body, stored, station_id)
    except Exception as error:
        if not _is_drivers(error):
            raise
        yield from _readings_one_by_one(connection, pour_id, last_id)


def body_of_reading(connection: Connection, reading_id: int) -> str | None:
    """One reading's body by our own JSON, to judge a row whose text SQLite may have written otherwise."""
    linked = _one(connection, reading_id)
    return None if linked is None else linked.body


def linked_events(connection: Connection, pour_id: int) -> Iterator[Linked]:
    """Yield a pour's events in the order of their chain."""
    ids = list(
        connection.execute(
            select(_EVENT.c.id).where(_EVENT.c.pour_id == pour_id).order_by(_EVENT.c.id)
        ).scalars()
    )
    for event_id in ids:
        try:
            row = connection.execute(select(_EVENT).where(_EVENT.c.id == event_id)).mappings().one()
            yield Linked(event_id, body_of(dict(row), EVENT_FIELDS), row["link"])
        except (SQLAlchemyError, ValueError, TypeError):
            yield Linked(event_id, None, None)


def _readings_in_a_stream(connection: Connection, pour_id: int) -> Generator[Linked, None, None]:
    """Yield a server's columns hold what their types say: a row that cannot be read does not happen there."""
    columns = [_BOOT.c.boot_id if name == "boot_id" else _READING.c[name] for name in READING_FIELDS]
    query = select(_READING.c.id, _READING.c.link, _READING.c.station_id, *columns)
    query = query.join(_BOOT, _BOOT.c.id == _READING.c.boot, isouter=True)
    query = query.where(_READING.c.pour_id == pour_id).order_by(_READING.c.id)
    rows = connection.execute(query, execution_options={"stream_results": True, "yield_per": 5000})
    try:
        for row_id, stored, station_id, *values in rows:
            body = _encode([int(value) if isinstance(value, bool) else value for value in values])
            yield Linked(row_id, body, stored, station_id)
    finally:
        rows.close()  # whoever has seen enough leaves no cursor open on the server


def _readings_one_by_one(connection: Connection, pour_id: int, after_id: int = -(2**63)) -> Iterator[Linked]:
    asked = select(_READING.c.id).where(_READING.c.pour_id == pour_id, _READING.c.id > after_id)
    for reading_id in list(connection.execute(asked.order_by(_READING.c.id)).scalars()):
        yield _one(connection, reading_id) or Linked(reading_id, None, None)


def _one(connection: Connection, reading_id: int) -> Linked | None:
    """One reading as the driver gives it: a type that repairs a value would hide what was done to it."""
    columns = [_BOOT.c.boot_id if name == "boot_id" else _READING.c[name] for name in READING_FIELDS]
    query = select(_READING.c.link, _READING.c.station_id, *columns)
    query = query.join(_BOOT, _BOOT.c.id == _READING.c.boot, isouter=True).where(_READING.c.id == reading_id)
    try:
        row = connection.execute(query).cursor.fetchone()
        return (
            None
            if row is None
            else Linked(
                reading_id,
                body_of(dict(zip(READING_FIELDS, row[2:], strict=True)), READING_FIELDS),
                row[0],
                row[1],
            )
        )
    except Exception as error:
        if not _is_drivers(error) and not isinstance(error, ValueError | TypeError):
            raise
        return None


def _is_drivers(error: Exception) -> bool:
    return isinstance(error, SQLAlchemyError) or type(error).__module__.startswith("sqlite3")
