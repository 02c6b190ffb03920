"""A record's tables as CSV and everything as JSON, and back without a loss. The columns are in SCHEMA.md.

CSV as in RFC 4180. An empty field is null; text that is empty or starts with a quotation mark is written as a JSON
string, so that it cannot be taken for null; so is text that a spreadsheet would take for a formula. A column of JSON
holds JSON. Nothing is rounded.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from logger.errors import BadInput
from logger.record.gather import gather
from logger.store.chain import canonical
from logger.store.transfer import COLUMNS, pour_of, rows_of

#: Changes with the meaning of a file's columns.
FILES_VERSION = 1
#: What a column holds, where it is not text.
TYPES = {
    "readings": {"seq": int, "boot_ms": int, "wall_ms": int, "clock_set": bool, "milli_c": int, "milli_rh": int,
                 "late": bool, "received_ms": int},
    "events": {"at_ms": int, "data": dict},
    "alarms": {"activation": int, "value": float, "limit": float, "late": bool, "raised_ms": int,
               "acknowledged_ms": int, "returned_ms": int, "ended_ms": int},
    "forecasts": {"made_ms": int, "at_h": float, "body": dict},
    "boots": {"offset_ms": int, "clock_set": bool},
}  # fmt: skip
#: What text begins with that is written as a JSON string: itself, and what begins a formula (OWASP, "CSV Injection").
QUOTED = ('"', "=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
SCHEMA = Path(__file__).with_name("SCHEMA.md")


def csv_lines(connection: Connection, pour_id: int, name: str) -> Iterator[str]:
    """One table of a pour as CSV, a heading first. Raises NotFound for an unknown pour, BadInput for a table."""
    if name not in COLUMNS:
        raise BadInput(
            "table", "is not known", value=name, allowed=", ".join(COLUMNS), remedy="name one of them"
        )
    return as_csv(name, rows_of(connection, pour_id, name))


def as_csv(name: str, rows: Iterable[tuple[Any, ...]]) -> Iterator[str]:
    """Rows as CSV text, some thousand lines a piece."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\r\n")
    writer.writerow(COLUMNS[name])
    kinds = [TYPES[name].get(column, str) for column in COLUMNS[name]]
    for number, row in enumerate(rows):
        writer.writerow([_cell(kind, value) for kind, value in zip(kinds, row, strict=True)])
        if number % 2000 == 1999:
            yield held.getvalue()
            held.seek(0)
            held.truncate()
    yield held.getvalue()


def from_csv(name: str, text: str) -> Iterator[tuple[Any, ...]]:
    """The rows of a table's CSV. Raises BadInput naming file, line and column."""
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        heading = next(lines, None)
        if heading is None or tuple(heading) != COLUMNS[name]:
            raise BadInput(f"{name}.csv: line 1", "is not the heading of this table", value=heading,
                           allowed=",".join(COLUMNS[name]), remedy="take the file as it was exported")  # fmt: skip
        kinds = [TYPES[name].get(column, str) for column in COLUMNS[name]]
        for row in lines:
            where = f"{name}.csv: line {lines.line_num}"
            if len(row) != len(kinds):
                raise BadInput(where, f"has {len(row)} fields", allowed=f"{len(kinds)}",
                               remedy="the row is torn: take the file as it was exported")  # fmt: skip
            yield tuple(
                _value(kind, cell, where, column)
                for kind, cell, column in zip(kinds, row, COLUMNS[name], strict=True)
            )
    except csv.Error as error:
        raise BadInput(f"{name}.csv: line {lines.line_num}", f"is not CSV ({error})",
                       remedy="take the file as it was exported") from error  # fmt: skip


def everything(connection: Connection, pour_id: int, workshop: str) -> Iterator[str]:
    """A pour's record and all of its rows as one JSON text, piece by piece."""
    record = gather(connection, pour_id, workshop)
    yield '{"files_version":' + str(FILES_VERSION) + ',"record":' + canonical(record)
    yield ',"pour":' + canonical(pour_of(connection, pour_id)) + ',"tables":{'
    for at, name in enumerate(COLUMNS):
        yield ("," if at else "") + f'"{name}":{{"columns":{canonical(COLUMNS[name])},"rows":['
        some: list[str] = []
        for number, row in enumerate(rows_of(connection, pour_id, name)):
            some.append(("," if number else "") + canonical(row))
            if len(some) == 2000:
                yield "".join(some)
                some = []
        yield "".join(some) + "]}"
    yield "}}"


def _cell(kind: type, value: Any) -> Any:
    if value is None:
        return ""
    if kind is dict:
        return canonical(value)
    if kind is bool:
        return int(value)
    if kind is float:
        return repr(float(value))
    return json.dumps(value) if kind is str and (value == "" or value.startswith(QUOTED)) else value


def _value(kind: type, cell: str, where: str, column: str) -> Any:
    if cell == "":
        return None
    try:
        if kind is dict:
            return json.loads(cell)
        if kind is bool:
            return {"0": False, "1": True}[cell]
        if kind is str:
            return json.loads(cell) if cell[0] == '"' else cell
        return kind(cell)
    except (ValueError, KeyError) as error:
        raise BadInput(f"{where}, {column}", "cannot be read", value=cell[:80],
                       remedy="take the file as it was exported") from error  # fmt: skip
