"""A recorded pour's readings: `elapsed_s,place,celsius[,fault]`, one reading a line.

An empty `celsius` is a failed reading. A malformed row refuses the whole file with its line number.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from logger.errors import BadReadings
from logger.facts import fact

PLACES = re.compile(r"(core|surface|underside|room)(-[1-9]\d?)?")
#: A DS18B20 reads −55…125 °C; a type K thermocouple further. Beyond this it is not a pour.
COLDEST_C, HOTTEST_C = -55.0, 400.0


@dataclass(frozen=True, slots=True)
class FileReading:
    """One line: seconds since pouring, place, °C or None, and the fault's name where it is known."""

    elapsed_s: float
    place: str
    celsius: float | None
    fault: str | None


def read_readings(path: Path) -> list[FileReading]:
    """Return all lines of a readings file, in the order of the file.

    Raises BadReadings with the line's number, the value, what is allowed and the remedy.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as lines:
            return list(_rows(lines, str(path)))
    except (OSError, UnicodeDecodeError) as error:
        raise BadReadings(
            str(path), fact("readings-unreadable", error=str(error)), remedy=fact("give-path-of-csv")
        ) from error
    except csv.Error as error:
        raise BadReadings(
            str(path), fact("not-a-csv-file", error=str(error)), remedy=fact("export-it-again")
        ) from error


def _rows(lines: Iterator[str], where: str) -> Iterator[FileReading]:
    rows = csv.reader(lines, strict=True)
    header = next(rows, None)
    if header is None or header[:3] != ["elapsed_s", "place", "celsius"] or header[3:] not in ([], ["fault"]):
        raise BadReadings(
            f"{where}: line 1",
            fact("readings-heading-wrong"),
            value=",".join(header or []),
            allowed=fact("readings-headings"),
            remedy=fact("name-columns-so"),
        )
    last_s = -math.inf
    for row in rows:
        place = f"{where}: line {rows.line_num}"
        if len(row) != len(header):
            raise BadReadings(
                place,
                fact("row-has-fields", n=len(row)),
                value=",".join(row),
                allowed=f"{len(header)} fields",
                remedy=fact("row-torn-complete"),
            )
        elapsed_s = _number(place, "elapsed_s", row[0], -86_400.0, 86_400.0 * 60, "s")
        if elapsed_s < last_s:
            raise BadReadings(
                place,
                fact("row-goes-back"),
                value=f"{elapsed_s:g} s after {last_s:g} s",
                remedy=fact("sort-by-elapsed"),
            )
        last_s = elapsed_s
        if not PLACES.fullmatch(row[1]):
            raise BadReadings(
                place,
                fact("mapping-place-not-known"),
                value=row[1],
                allowed=fact("places-of-a-log"),
                remedy=fact("correct-the-place"),
            )
        fault = row[3] if len(row) > 3 and row[3] else None
        celsius = _number(place, "celsius", row[2], COLDEST_C, HOTTEST_C, "°C") if row[2].strip() else None
        if celsius is not None and fault is not None:
            raise BadReadings(
                place,
                fact("temperature-and-fault"),
                value=",".join(row),
                remedy=fact("failed-reading-is-empty"),
            )
        yield FileReading(elapsed_s, row[1], celsius, fault or (None if celsius is not None else "failed"))


def _number(place: str, name: str, text: str, low: float, high: float, unit: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise BadReadings(
            place,
            fact("cell-not-in-range", column=name),
            value=text,
            allowed=f"{low:g} to {high:g} {unit}",
            remedy=fact("correct-or-delete-row"),
        )
    return value
