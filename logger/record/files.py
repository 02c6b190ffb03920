"""A record's tables as CSV and everything as JSON, and back without a loss. The columns are in SCHEMA.md.

CSV as in RFC 4180. An empty field is null; text that is empty or starts with a quotation mark is written as a JSON
string, so that it cannot be taken for null; so is text that a spreadsheet would take for a formula. A column of JSON
holds JSON. Nothing is rounded.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

from sqlalchemy import Connection

from logger.errors import BadInput
from logger.facts import fact
from logger.record.bounds import MOST_ROWS, read_json
from logger.record.gather import gather
from logger.record.json_values import JsonValue, TableRow
from logger.record.shapes import StrictShape, fits
from logger.store.hash_chain import canonical
from logger.store.transfer import COLUMNS, pour_of, rows_of

#: Changes with the meaning of a file's columns.
FILES_VERSION = 1
#: What a column holds, where it is not text.
TYPES = {
    "readings": {
        "seq": int,
        "boot_ms": int,
        "wall_ms": int,
        "clock_set": bool,
        "milli_c": int,
        "milli_rh": int,
        "late": bool,
        "received_ms": int,
    },
    "events": {"at_ms": int, "data": dict},
    "alarms": {
        "activation": int,
        "value": float,
        "limit": float,
        "late": bool,
        "raised_ms": int,
        "acknowledged_ms": int,
        "returned_ms": int,
        "ended_ms": int,
    },
    "forecasts": {"made_ms": int, "at_h": float, "body": dict},
    "boots": {"offset_ms": int, "clock_set": bool},
}
#: What text begins with that is written as a JSON string: itself, and what begins a formula (OWASP, "CSV Injection").
QUOTED = ('"', "=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
SCHEMA = Path(__file__).with_name("SCHEMA.md")


def csv_lines(connection: Connection, pour_id: int, name: str) -> Iterator[str]:
    """Return one table of a pour as CSV, a heading first. Raises NotFound for an unknown pour, BadInput for a table."""
    if name not in COLUMNS:
        raise BadInput(
            "table",
            fact("choice-not-known"),
            value=name,
            allowed=", ".join(COLUMNS),
            remedy=fact("name-one-of-them"),
        )
    return as_csv(name, rows_of(connection, pour_id, name))


def as_csv(name: str, rows: Iterable[TableRow]) -> Iterator[str]:
    """Yield rows as CSV text, some thousand lines a piece."""
    yield from as_lines(COLUMNS[name], [TYPES[name].get(column, str) for column in COLUMNS[name]], rows)


def as_lines(heading: Sequence[str], kinds: Sequence[type], rows: Iterable[TableRow]) -> Iterator[str]:
    """Yield a heading and rows as CSV text. kinds: what each column holds."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\r\n")
    writer.writerow(heading)
    for number, row in enumerate(rows):
        writer.writerow([_cell(kind, value) for kind, value in zip(kinds, row, strict=True)])
        if number % 2000 == 1999:
            yield held.getvalue()
            held.seek(0)
            held.truncate()
    yield held.getvalue()


def from_csv(
    name: str, text: str | Iterable[str], shape: type[StrictShape] | None = None
) -> Iterator[TableRow]:
    """Yield the rows of a table's CSV, as text or by lines. Raises BadInput naming file, line and column.

    `shape`: what each row must be, and with it how many there may be: for files from elsewhere.
    """
    given = io.StringIO(text, newline="") if isinstance(text, str) else text
    lines = csv.reader(given, strict=True)
    try:
        heading = next(lines, None)
        if heading is None or tuple(heading) != COLUMNS[name]:
            raise BadInput(
                fact("table-line", table=name, line=1),
                fact("table-heading-wrong"),
                value=f"{heading!r:.200}",
                allowed=",".join(COLUMNS[name]),
                remedy=fact("take-file-as-exported"),
            )
        reads = [_READS[TYPES[name].get(column, str)] for column in COLUMNS[name]]
        if name == "forecasts":
            reads[-1] = _forecast
        for number, row in enumerate(lines, start=1):
            if len(row) != len(reads):
                raise BadInput(
                    fact("table-line", table=name, line=lines.line_num),
                    fact("row-has-fields", n=len(row)),
                    allowed=f"{len(reads)}",
                    remedy=fact("row-torn-take-again"),
                )
            try:
                values = tuple(read(cell) if cell else None for read, cell in zip(reads, row, strict=True))
            except (ValueError, KeyError, RecursionError, BadInput) as error:
                raise _unread(name, lines.line_num, reads, row) from error
            if shape is not None:
                fits(
                    shape,
                    dict(zip(COLUMNS[name], values, strict=True)),
                    fact("table-line", table=name, line=lines.line_num),
                )
                if number > MOST_ROWS[name]:
                    raise BadInput(
                        f"{name}.csv",
                        fact("table-too-many-rows"),
                        allowed=f"{MOST_ROWS[name]:,}",
                        remedy=fact("take-file-as-exported"),
                    )
            yield values
    except csv.Error as error:
        raise BadInput(
            fact("table-line", table=name, line=lines.line_num),
            fact("table-unreadable", error=str(error)),
            remedy=fact("take-file-as-exported"),
        ) from error


def everything(connection: Connection, pour_id: int, workshop: str) -> Iterator[str]:
    """Yield a pour's record and all of its rows as one JSON text, piece by piece."""
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


def _cell(kind: type, value: JsonValue) -> JsonValue:
    if value is None:
        return ""
    if kind is dict:
        return canonical(value)
    if kind is bool:
        return int(value)
    if kind is float:
        return repr(float(value))
    return json.dumps(value) if kind is str and (value == "" or value.startswith(QUOTED)) else value


def _whole(cell: str) -> int:
    # Python would take "1_0", blanks and other alphabets' digits as well.
    if not cell.isascii() or not cell.removeprefix("-").isdigit():
        raise ValueError("is no whole number")
    return int(cell)


def _text(cell: str) -> str:
    if cell[0] != '"':
        return cell
    value = json.loads(cell)
    if not isinstance(value, str):
        raise ValueError("is no text")
    return value


def _object(cell: str) -> JsonValue:
    return read_json(cell, fact("column-of-json"))


def _forecast(cell: str) -> JsonValue:
    # As it was: its hash is over an Infinity, where an earlier program wrote one.
    return read_json(cell, "a forecast", float)


#: How a cell that is not empty is read, by what its column holds.
_READS: dict[type, Callable[[str], JsonValue]] = {
    str: _text,
    int: _whole,
    float: float,
    dict: _object,
    bool: {"0": False, "1": True}.__getitem__,
}


def _unread(
    name: str, line: int, reads: Sequence[Callable[[str], JsonValue]], row: Sequence[str]
) -> BadInput:
    """Return the error of a row that cannot be read, with its first bad cell."""
    for column, read, cell in zip(COLUMNS[name], reads, row, strict=True):
        try:
            if cell:
                read(cell)
        except (ValueError, KeyError, RecursionError, BadInput) as error:
            problem = error.problem if isinstance(error, BadInput) else fact("cell-unreadable")
            return BadInput(
                fact("table-cell", table=name, line=line, column=column),
                problem,
                value=cell[:80],
                remedy=fact("take-file-as-exported"),
            )
    raise AssertionError("every cell can be read")
