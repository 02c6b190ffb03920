"""A pour's tables as CSV for people: temperatures in their units, named in the heading.

What is kept and proved is the table as it is stored (logger/record/files.py): this one is read, and never read back.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection

from logger.alarms.registry import KINDS
from logger.errors import BadInput
from logger.facts import Quantity
from logger.record.files import TYPES, as_lines, csv_lines
from logger.store.transfer import COLUMNS, rows_of
from logger.units import k_to_f
from logger.words.phrase import phrase
from logger.words.reader import US, Reader
from logger.words.render import say
from web.views.reader_units import SYSTEMS


def lines_for(connection: Connection, pour_id: int, name: str, units: str, reader: Reader) -> Iterator[str]:
    """Return a table as CSV: as it is stored where no units are asked for. Raises BadInput, NotFound."""
    if not units:
        return csv_lines(connection, pour_id, name)
    if units not in SYSTEMS:
        raise BadInput(
            phrase("units"),
            phrase("are not known"),
            value=units,
            allowed=", ".join(SYSTEMS),
            remedy=phrase("name one"),
        )
    if name == "readings":
        return _readings(connection, pour_id, reader)
    if name == "alarms":
        return _alarms(connection, pour_id, reader)
    return csv_lines(
        connection, pour_id, name
    )  # nothing in it has a unit of its own: the rest is JSON, in SI


def _readings(connection: Connection, pour_id: int, reader: Reader) -> Iterator[str]:
    columns = COLUMNS["readings"]
    at = columns.index("milli_c")
    heading = [
        *columns[:at],
        say(phrase("temperature ({unit})", unit=reader.degree), reader),
        *columns[at + 1 :],
    ]
    kinds = [TYPES["readings"].get(column, str) for column in columns]
    kinds[at] = float

    def rows() -> Iterator[tuple[Any, ...]]:
        for row in rows_of(connection, pour_id, "readings"):
            milli_c = row[at]
            value = None if milli_c is None else round(reader.degrees(milli_c / 1000), 3)
            yield (*row[:at], value, *row[at + 1 :])

    return as_lines(heading, kinds, rows())


def _alarms(connection: Connection, pour_id: int, reader: Reader) -> Iterator[str]:
    # An alarm's value and limit are of its kind's unit: a column more names it.
    columns = COLUMNS["alarms"]
    value, limit, kind, reason = (columns.index(name) for name in ("value", "limit", "kind", "reason"))
    kinds = [TYPES["alarms"].get(column, str) for column in columns]

    def rows() -> Iterator[tuple[Any, ...]]:
        for row in rows_of(connection, pour_id, "alarms"):
            shown = list(row)
            unit = KINDS[row[kind]].unit if row[kind] in KINDS else ""
            for at in (value, limit):
                shown[at] = None if row[at] is None else _changed(row[at], unit, reader)
            shown[reason] = say(row[reason] or "", reader)
            yield (*shown, _unit(unit, reader))

    return as_lines([*columns, "unit"], [*kinds, str], rows())


def _changed(value: float, unit: str, reader: Reader) -> float:
    if unit == "°C":
        return round(reader.degrees(value), 3)
    return round(k_to_f(value), 3) if unit in ("K", "K/h") and reader.temperature == US.temperature else value


def _unit(unit: str, reader: Reader) -> str:
    """Return the unit alone, as the reader has it."""
    return say(Quantity(1.0, unit, 0), reader).partition(" ")[2] if unit in ("°C", "K", "K/h") else unit
