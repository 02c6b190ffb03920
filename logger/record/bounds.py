"""What a file from elsewhere may cost, looked at before the work begins. Pure but for the file that it is given.

A packed file is judged by its own directory: how many entries, how large each says it is, how much smaller it was
packed. Reading then stops where an entry passes what it said.
"""

from __future__ import annotations

import json
import math
import zipfile
from collections.abc import Callable, Iterator
from typing import IO, NoReturn

from logger.errors import BadInput
from logger.facts import fact
from logger.quantities import quantity
from logger.record.json_values import JsonValue
from logger.worker import WorkerLimits

#: Largest file that is read at all, packed or not, bytes. Three days of six probes every 5 s (311,040 readings) are
#: 14 MB packed, and 51 MB as earlier programs packed them.
LARGEST = 2_000_000_000
#: Rows that a table of one pour may have, and its bytes. Three days of six probes every 5 s are 311,040 readings.
MOST_ROWS = {"readings": 2_000_000, "events": 50_000, "alarms": 20_000, "forecasts": 5_000, "boots": 5_000}
TABLE_BYTES = {
    "readings": 700_000_000,
    "events": 100_000_000,
    "alarms": 40_000_000,
    "forecasts": 100_000_000,
    "boots": 1_000_000,
}
#: Bytes of a file of JSON, of a photo, of any other text.
JSON_BYTES, PHOTO_BYTES, TEXT_BYTES = 8_000_000, 15_000_000, 200_000
#: Photos of a record.
MOST_PHOTOS = 300
#: Bytes of a line, and characters of a cell, in a table. A forecast's body is some ten thousand.
LINE_BYTES, CELL_CHARS = 2_000_000, 1_000_000
#: Photos and JSON of ours shrink to a tenth at most, and tables to a fifth: each row ends in a hash.
MOST_RATIO, SMALL_BYTES = 60, 1_000_000
#: What follows an entry's 46 bytes in the directory: its name, and a little more.
_NAME_BYTES = 200
#: How deep JSON goes, and how long a text in it is. A plan file is the longest.
DEEPEST, LONGEST_TEXT = 24, 500_000
#: The process that reads such a file. Beside it stand the service and its forecasts, within the unit's MemoryMax.
#: Half of what it may ask for it needs to load the libraries, and never touches.
PROCESS = WorkerLimits(memory_bytes=220_000_000, cpu_s=1200, file_bytes=2_000_000_000)

_AGAIN = fact("take-file-as-exported")


def open_packed(file: IO[bytes], where: str) -> zipfile.ZipFile:
    """Return a packed file, once its entries are neither too many nor too large nor too well packed.

    Raises BadInput saying which, before anything is unpacked; zipfile's own errors where it is no such file.
    """
    _check_directory(file, where)
    packed = zipfile.ZipFile(file)
    names: set[str] = set()
    total = 0
    for entry in packed.infolist():
        total += entry.file_size
        if entry.filename in names:
            raise BadInput(
                fact("in-file", file=where, what=entry.filename[:80]),
                fact("bundle-entry-twice"),
                remedy=_AGAIN,
            )
        names.add(entry.filename)
        if entry.flag_bits & 0x1 or entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise BadInput(
                fact("in-file", file=where, what=entry.filename[:80]),
                fact("bundle-entry-packed-unusually"),
                remedy=_AGAIN,
            )
        if entry.file_size > SMALL_BYTES and entry.file_size > MOST_RATIO * entry.compress_size:
            raise BadInput(
                fact("in-file", file=where, what=entry.filename[:80]),
                fact("bundle-entry-packed-too-tight"),
                value=f"1 to {entry.file_size / max(entry.compress_size, 1):.0f}",
                allowed=f"1 to {MOST_RATIO}",
                remedy=_AGAIN,
            )
    if total > LARGEST:
        raise BadInput(
            where,
            fact("bundle-too-large"),
            value=fact("megabytes-unpacked", size=quantity(total / 1e6, "MB", 0)),
            allowed=quantity(LARGEST / 1e6, "MB", 0),
            remedy=fact("leave-photos-out"),
        )
    return packed


def _check_directory(file: IO[bytes], where: str) -> None:
    """Refuse a directory of more entries than any record has: reading it alone would take the memory."""
    end = file.seek(0, 2)
    if end > LARGEST:
        raise BadInput(
            where,
            fact("bundle-too-large"),
            value=quantity(end / 1e6, "MB", 0),
            allowed=quantity(LARGEST / 1e6, "MB", 0),
            remedy=fact("leave-photos-out"),
        )
    begin = max(0, end - 22 - 65_535)
    file.seek(begin)
    tail = file.read()
    file.seek(0)
    at = tail.rfind(b"PK\x05\x06")
    if at < 0 or len(tail) - at < 22:
        return  # no packed file: zipfile says so
    size = int.from_bytes(tail[at + 12 : at + 16], "little")
    most = (MOST_PHOTOS + 20) * (46 + _NAME_BYTES)
    # Beyond four billion bytes or 65,535 entries a second kind of directory counts: no record has one.
    if size > most or b"PK\x06\x07" in tail[max(0, at - 20) : at]:
        raise BadInput(
            where,
            fact("bundle-too-many-files"),
            value=fact("directory-of-bytes", size=quantity(size, "bytes", 0)),
            allowed=fact("directory-at-most", most=quantity(most, "bytes", 0), photos=MOST_PHOTOS),
            remedy=_AGAIN,
        )


def bytes_for(name: str) -> int:
    """Return how large a file of a bundle may be, unpacked, bytes."""
    if name.endswith(".csv"):
        return TABLE_BYTES.get(name.removesuffix(".csv"), TEXT_BYTES)
    if name.startswith("photos/"):
        return PHOTO_BYTES
    return JSON_BYTES if name.endswith(".json") else TEXT_BYTES


def lines_of(text: IO[str], where: str) -> Iterator[str]:
    """Yield the lines of a text, none of them longer than a line may be. Raises BadInput with the line's number."""
    number = 0
    while line := text.readline(LINE_BYTES + 1):
        number += 1
        if len(line) > LINE_BYTES:
            raise BadInput(
                fact("line-of-file", file=where, line=number),
                fact("bundle-line-too-long"),
                value=fact("over-characters", n=LINE_BYTES),
                remedy=_AGAIN,
            )
        yield line


def read_json(text: str | bytes, where: str, constant: Callable[[str], object] | None = None) -> JsonValue:
    """Return a JSON value that is safe to keep, to show and to write again.

    No deeper than our own, every number finite and within 64 bits, every text whole Unicode. Raises BadInput.
    `constant`: what becomes of an Infinity, which is no JSON: earlier programs wrote it where a forecast says never.
    """
    try:
        value = json.loads(text, parse_constant=constant or _no_number)
    except (ValueError, RecursionError) as error:
        problem = (
            fact("json-too-deep")
            if isinstance(error, RecursionError)
            else fact("json-unreadable", error=str(error))
        )
        raise BadInput(where, problem, remedy=_AGAIN) from error
    sound(value, where, endless=constant is float)
    return value


def never(_word: str) -> None:
    """Refuse an Infinity where it is shown."""


def sound(value: JsonValue, where: str, *, endless: bool = False) -> None:
    """Look through a JSON value. Raises BadInput for what `read_json` refuses. `endless`: an infinity is not."""
    held = [(value, 0)]
    while held:
        one, depth = held.pop()
        if isinstance(one, str):
            if len(one) > LONGEST_TEXT:
                raise BadInput(
                    where,
                    fact("json-text-too-long"),
                    value=quantity(len(one), "characters", 0),
                    allowed=quantity(LONGEST_TEXT, "characters", 0),
                    remedy=_AGAIN,
                )
            try:
                one.encode()
            except UnicodeEncodeError as error:
                raise BadInput(where, fact("json-half-a-character"), remedy=_AGAIN) from error
        elif isinstance(one, bool) or one is None:
            continue
        elif isinstance(one, int | float):
            if one != one or (abs(one) >= 2**63 and not (endless and abs(one) == math.inf)):
                raise BadInput(
                    where,
                    fact("json-number-too-large"),
                    value=f"{one!r:.40}",
                    allowed=quantity(64, "bits", 0),
                    remedy=_AGAIN,
                )
        elif depth >= DEEPEST:
            raise BadInput(
                where, fact("json-too-deep"), allowed=quantity(DEEPEST, "levels", 0), remedy=_AGAIN
            )
        elif isinstance(one, dict):
            held += [(part, depth + 1) for pair in one.items() for part in pair]
        else:
            held += [(part, depth + 1) for part in one]


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")
