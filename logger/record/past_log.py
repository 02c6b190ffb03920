"""Past temperature logs: CSV of any column order, through a mapping that says what each column is. Pure.

Units and time zone are asked for, never guessed: 68 may be a hot core in °C or a cool room in °F. Every row is either
read, listed as having no value, or listed as bad with its line; none is dropped in silence.
"""

from __future__ import annotations

import csv
import io
import math
import re
from array import array
from collections.abc import Callable, Iterable, Sequence
from collections.abc import Mapping as AnyMapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import islice
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import numpy.typing as npt

from logger.errors import BadInput, BadReadings
from logger.facts import fact, some_of
from logger.quantities import count, quantity, temperature
from logger.record.bounds import MOST_ROWS
from logger.record.readings_file import COLDEST_C, HOTTEST_C, PLACES
from logger.units import ZERO_CELSIUS_K, f_to_c

if TYPE_CHECKING:
    from _csv import Reader as CsvReader  # the standard library names the class nowhere else

Floats = npt.NDArray[np.float64]

#: Unit of a column → its value in the unit that is kept. `number` is kept as it is (a heat flow, a humidity).
UNITS: dict[str, Callable[[float], float]] = {
    "c": lambda value: value,
    "f": f_to_c,
    "k": lambda value: value - ZERO_CELSIUS_K,
    "number": lambda value: value,
}
#: Spans that count from the start of the log.
SPANS_S = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0, "ms": 0.001}
#: What loggers write where they have no value.
NO_VALUE = frozenset({"", "-", "--", "nan", "na", "n/a", "null", "none", "#n/a", "err", "error"})
#: Directives of a time format, in groups that say the same: a format has at most one of each group.
DIRECTIVES = ("d", "bBm", "yY", "HI", "M", "S", "f", "p", "z", "aAw", "j")
#: Years that a log may tell of, the same in s since 1970, and the longest span from its own start, s (ten years).
FIRST_YEAR, LAST_YEAR, LATEST_S, LONGEST_S = 1971, 2099, 4_102_444_800.0, 3.2e8
#: Bad rows that are named one by one; the rest is counted. With more than so many the mapping is wrong, not the rows.
NAMED, MOST_BAD = 50, 1000
#: How much of a bad row is kept.
ROW_KEPT = 500


@dataclass(frozen=True, slots=True)
class Column:
    """One column to read: its heading (or "#3": the third), what it is, and its unit.

    `to` is a place (core, surface, underside, room, with -2 …) for c, f and k, any name for `number`.
    """

    heading: str
    to: str
    unit: str


@dataclass(frozen=True, slots=True)
class Mapping:
    """How to read a log.

    `time`: headings of the time, joined by a blank (date and time may stand apart). `time_as`: s, min, h, d or ms
    since the start of the log; "iso" (ISO 8601); "unix" (seconds since 1970); or a format such as "%d/%m/%Y %H:%M"
    (Python's strptime). `zone`: an IANA name for times of day without an offset of their own. `delimiter`: "," ";" or
    a tab. `decimal_comma`: numbers are written 21,5. `skip`: lines above the heading.
    """

    time: tuple[str, ...]
    time_as: str
    columns: tuple[Column, ...]
    zone: str | None = None
    delimiter: str = ","
    decimal_comma: bool = False
    skip: int = 0


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that cannot be used: its line in the file, what is wrong, and the row."""

    line: int
    problem: str
    row: str


@dataclass(frozen=True)
class Log:
    """A log as read. seconds (N,) rising: since 1970 UTC if `absolute`, else since the log's own start.

    values: name → (N,), NaN where the row has no value. `no_value`: name → lines without one.
    """

    seconds: Floats
    absolute: bool
    values: dict[str, Floats]
    bad: tuple[BadRow, ...]
    no_value: AnyMapping[str, Sequence[int]] = field(default_factory=dict)
    lines: Sequence[int] = ()

    def summary(self) -> str:
        """Return what was read and what was not, in one sentence."""
        empty = sum(len(lines) for lines in self.no_value.values())
        counts = {"rows": count(len(self.seconds)), "empty": count(empty), "bad": count(len(self.bad))}
        if not self.bad:
            return fact("log-read", **counts)
        first = self.bad[0]
        return fact("log-read-first-bad", line=first.line, problem=first.problem, **counts)


def read_log(
    text: str | Iterable[str], mapping: Mapping, where: str = fact("the-log"), *, leave_out_bad: bool = False
) -> Log:
    """Read a log, as text or by lines.

    Bad rows refuse it with their lines, unless `leave_out_bad`: then they are listed in the answer.

    Raises BadReadings (a bad row, a missing column, no rows, too many of either) and BadInput (the mapping).
    """
    check_mapping(mapping)
    lines = io.StringIO(text.lstrip("\ufeff"), newline="") if isinstance(text, str) else text
    rows = csv.reader(islice(lines, mapping.skip, None), delimiter=mapping.delimiter)
    try:
        heading = next(rows, [])
        places = _places(heading, mapping, fact("line-of-file", file=where, line=mapping.skip + 1))
        log = _read(rows, heading, places, mapping, where)
    except csv.Error as error:
        raise BadReadings(
            fact("line-of-file", file=where, line=mapping.skip + rows.line_num),
            fact("table-unreadable", error=str(error)),
            remedy=fact("export-again-or-delimiter"),
        ) from error
    if log.bad and not leave_out_bad:
        first = log.bad[0]
        problem = first.problem
        if len(log.bad) > 1:
            problem = fact("more-bad-rows-at", problem=problem, n=len(log.bad), lines=_lines(log.bad))
        raise BadReadings(
            fact("line-of-file", file=where, line=first.line),
            problem,
            value=first.row[:120],
            remedy=fact("mend-or-leave-out"),
        )
    if not len(log.seconds):
        raise BadReadings(where, fact("log-without-rows"), remedy=fact("check-mapping-delimiter"))
    return log


def check_mapping(mapping: Mapping) -> None:
    """Raise BadInput naming the part of the mapping that makes no sense."""
    if not mapping.columns or not mapping.time:
        raise BadInput("mapping", fact("mapping-names-no-column"), remedy=fact("name-time-and-one-more"))
    for column in mapping.columns:
        if column.unit not in UNITS:
            raise BadInput(
                fact("mapping-column", column=column.heading),
                fact("mapping-unit-not-known"),
                value=column.unit,
                allowed="c, f, k, number",
                remedy=fact("say-what-numbers-are"),
            )
        if column.unit != "number" and not PLACES.fullmatch(column.to):
            raise BadInput(
                fact("mapping-column", column=column.heading),
                fact("mapping-place-not-known"),
                value=column.to,
                allowed=fact("places-of-a-log"),
                remedy=fact("say-where-probe-was"),
            )
    if len({column.to for column in mapping.columns}) < len(mapping.columns):
        raise BadInput(
            "mapping",
            fact("mapping-two-columns-one-place"),
            value=[c.to for c in mapping.columns],
            remedy=fact("number-the-second"),
        )
    of_day = mapping.time_as == "iso" or "%" in mapping.time_as
    if "%" in mapping.time_as:
        _check_format(mapping.time_as)
    if not of_day and mapping.time_as not in (*SPANS_S, "unix"):
        raise BadInput(
            fact("mapping-time"),
            fact("choice-not-known"),
            value=mapping.time_as,
            allowed=fact("ways-of-time"),
            remedy=fact("say-how-times-are-written"),
        )
    if of_day and "%z" not in mapping.time_as:
        if mapping.zone is None and mapping.time_as != "iso":
            raise BadInput(
                fact("mapping-zone"),
                fact("zone-missing"),
                allowed=fact("iana-name-or-utc"),
                remedy=fact("say-zone-never-guessed"),
            )
        if mapping.zone is not None:
            _zone(mapping.zone)
    if len(mapping.delimiter) != 1:
        raise BadInput(
            fact("mapping-delimiter"),
            fact("not-one-character"),
            value=mapping.delimiter,
            remedy=fact("give-one-character"),
        )


def _check_format(written: str) -> None:
    """Raise BadInput for a format that cannot be read by, or whose meaning is open."""
    named = re.findall(r"%(.?)", written.replace("%%", ""), re.DOTALL)
    letters = "".join(DIRECTIVES)
    for name in named:
        if not name or name not in letters:
            raise BadInput(
                fact("mapping-time"),
                fact("mapping-directive-not-known"),
                value=f"%{name}",
                allowed=", ".join(f"%{letter}" for letter in letters),
                remedy=fact("say-how-times-are-written-such-as"),
            )
    for group in DIRECTIVES:
        if sum(name in group for name in named) > 1:
            raise BadInput(
                fact("mapping-time"),
                fact("mapping-same-thing-twice"),
                value=written,
                allowed=fact("each-part-once"),
                remedy=fact("leave-one-part-out"),
            )
    if not {"y", "Y"} & set(named):
        raise BadInput(
            fact("mapping-time"),
            fact("mapping-names-no-year"),
            value=written,
            allowed=fact("year-among-others"),
            remedy=fact("give-date-column"),
        )


def guess_columns(text: str, delimiter: str = ",", skip: int = 0) -> tuple[list[str], list[list[str]]]:
    """Return a log's headings and first three rows, for a person to say what is what. Raises BadReadings."""
    lines = islice(io.StringIO(text.lstrip("\ufeff"), newline=""), skip, None)
    try:
        rows = [row for row in islice(csv.reader(lines, delimiter=delimiter), 4) if row]
    except csv.Error as error:
        raise BadReadings(
            fact("the-log"),
            fact("table-unreadable", error=str(error)),
            remedy=fact("export-again-or-delimiter"),
        ) from error
    return (rows[0], rows[1:]) if rows else ([], [])


def _read(
    rows: CsvReader, heading: Sequence[str], places: tuple[list[int], list[int]], mapping: Mapping, where: str
) -> Log:
    times, columns = places
    # Plain numbers, eight bytes each: a list of lists would take ten times that.
    seconds, values, lines = array("d"), array("d"), array("q")
    bad: list[BadRow] = []
    no_value = {column.to: array("q") for column in mapping.columns}
    when = _Clock(mapping)
    for row in rows:
        line = mapping.skip + rows.line_num
        if not row or all(not cell.strip() for cell in row):
            continue  # an empty line is no row
        try:
            if len(row) < len(heading):
                raise _Bad(fact("row-has-fields-not", n=len(row), expected=len(heading)))
            at_s = when.seconds(" ".join(row[index].strip() for index in times))
            if seconds and at_s < seconds[-1]:
                raise _Bad(fact("row-goes-back"))
            got = [
                _value(row[index], column, mapping)
                for index, column in zip(columns, mapping.columns, strict=True)
            ]
        except _Bad as problem:
            bad.append(BadRow(line, problem.args[0], mapping.delimiter.join(row)[:ROW_KEPT]))
            if len(bad) > MOST_BAD:
                raise BadReadings(
                    fact("line-of-file", file=where, line=bad[0].line),
                    fact("more-bad-rows", problem=bad[0].problem, most=MOST_BAD),
                    remedy=fact("check-mapping-delimiter-units"),
                ) from None
            continue
        if len(values) + len(got) > MOST_ROWS["readings"]:
            raise BadReadings(
                fact("line-of-file", file=where, line=line),
                fact("one-row-too-many"),
                allowed=quantity(MOST_ROWS["readings"], "values", 0),
                remedy=fact("cut-log-or-thin"),
            )
        for column, value in zip(mapping.columns, got, strict=True):
            if math.isnan(value):
                no_value[column.to].append(line)
        seconds.append(at_s)
        values.extend(got)
        lines.append(line)
    # Without a copy; an empty buffer is refused, and an empty log anyhow.
    table = (np.frombuffer(values) if values else np.array([])).reshape(len(seconds), len(mapping.columns))
    return Log(
        np.frombuffer(seconds) if seconds else np.array([]),
        when.absolute,
        {c.to: table[:, i] for i, c in enumerate(mapping.columns)},
        tuple(bad),
        {name: lines_without for name, lines_without in no_value.items() if lines_without},
        lines,
    )


class _Bad(Exception):
    """Why a row is bad."""


class _Clock:
    """Reads times as the mapping says.

    A time of day that a clock change makes twofold is the later one where the earlier one would go back in time.
    """

    def __init__(self, mapping: Mapping) -> None:
        self._as = mapping.time_as
        self._comma = mapping.decimal_comma
        self._zone = None if mapping.zone is None else _zone(mapping.zone)
        self.absolute = mapping.time_as not in SPANS_S
        self._last = -math.inf

    def seconds(self, text: str) -> float:
        """Return a time in seconds. Raises _Bad."""
        if self._as in SPANS_S or self._as == "unix":
            value = _number(text, fact("column-time"), self._comma)
            since_s = value * SPANS_S.get(self._as, 1.0)
        else:
            since_s = self._of_day(text)
        if self.absolute and not 0 <= since_s <= LATEST_S:
            raise _Bad(fact("time-not-between", text=repr(text), first=str(FIRST_YEAR), last=str(LAST_YEAR)))
        if not self.absolute and not abs(since_s) <= LONGEST_S:
            raise _Bad(fact("time-ten-years-off", text=repr(text)))
        self._last = max(since_s, self._last)
        return since_s

    def _of_day(self, text: str) -> float:
        try:
            at = datetime.fromisoformat(text) if self._as == "iso" else datetime.strptime(text, self._as)  # noqa: DTZ007
        except ValueError as error:
            raise _Bad(fact("time-not-written-so", text=repr(text), form=self._as)) from error
        if not FIRST_YEAR <= at.year <= LAST_YEAR:
            raise _Bad(fact("time-not-between", text=repr(text), first=str(FIRST_YEAR), last=str(LAST_YEAR)))
        if at.tzinfo is not None:
            return at.timestamp()
        if self._zone is None:
            raise _Bad(fact("time-without-offset", text=repr(text)))
        first = at.replace(tzinfo=self._zone, fold=0)
        there = first.astimezone(UTC).astimezone(self._zone).replace(tzinfo=None)
        if there != at and abs(there - at) <= timedelta(hours=2):
            raise _Bad(fact("time-does-not-exist", text=repr(text)))
        second = at.replace(tzinfo=self._zone, fold=1)
        if first.timestamp() < self._last <= second.timestamp():
            return second.timestamp()
        return first.timestamp()


def _value(text: str, column: Column, mapping: Mapping) -> float:
    if text.strip().casefold() in NO_VALUE:
        return math.nan
    value = UNITS[column.unit](_number(text, column.heading, mapping.decimal_comma))
    if column.unit != "number" and not COLDEST_C <= value <= HOTTEST_C:
        raise _Bad(
            fact(
                "temperature-outside",
                column=column.heading,
                value=temperature(value),
                coldest=temperature(COLDEST_C, 0),
                hottest=temperature(HOTTEST_C, 0),
            )
        )
    return value


def _number(text: str, name: str, comma: bool) -> float:
    cleaned = text.strip()
    if comma:
        cleaned = cleaned.replace(".", "").replace(",", ".")
    try:
        value = float(cleaned)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or "_" in cleaned:
        raise _Bad(fact("cell-not-a-number", column=name, text=repr(text)))
    return value


def _places(heading: Sequence[str], mapping: Mapping, where: str) -> tuple[list[int], list[int]]:
    names = [name.strip() for name in heading]

    def place(name: str) -> int:
        if name.startswith("#") and name[1:].isdigit() and 1 <= int(name[1:]) <= len(names):
            return int(name[1:]) - 1
        if names.count(name) == 1:
            return names.index(name)
        problem = fact("column-twice") if name in names else fact("column-not-there")
        raise BadReadings(
            f"{where}: column {name!r}",
            problem,
            allowed=", ".join(names),
            remedy=fact("name-a-column"),
        )

    return [place(name) for name in mapping.time], [place(column.heading) for column in mapping.columns]


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise BadInput(
            fact("mapping-zone"),
            fact("choice-not-known"),
            value=name,
            allowed=fact("iana-name"),
            remedy=fact("check-spelling"),
        ) from error


def _lines(bad: Iterable[BadRow]) -> str:
    return some_of([str(row.line) for row in bad], NAMED)
