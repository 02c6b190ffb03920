"""What a file from elsewhere may cost: refused before the work where its size says so, else ended within its limits."""

from __future__ import annotations

import io
import itertools
import json
import re
import time
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from bundles import verify_bundle
from forged import Forged, packed

from logger.errors import BadInput, LoggerError, NotAllowed
from logger.record import bounds
from logger.record.bundle import accept
from logger.record.import_log import Imports, LogAsked
from logger.record.past_log import Column, Mapping, read_log
from logger.record.verify import verify
from logger.store import readings
from logger.store.database import Store
from logger.store.transfer import COLUMNS
from logger.words.reader import METRIC
from logger.words.render import say
from logger.worker import WorkerLimits

#: What an honest small record's names are filled with.
EMPTY = {
    "pour.json": b"{}",
    "record.json": b"{}",
    "SCHEMA.md": b"",
    **{f"{name}.csv": b"" for name in COLUMNS},
}


def refused(raw: bytes, tmp_path: Path) -> str:
    """Why a file is refused, in this process; how much memory that took is asked for by the caller."""
    (tmp_path / "sent.zip").write_bytes(raw)
    folder = tmp_path / "parcel"
    folder.mkdir(exist_ok=True)
    with pytest.raises(LoggerError) as told:
        accept(tmp_path / "sent.zip", folder, "sent.zip")
    (folder / "parcel.sqlite3").unlink(missing_ok=True)
    return str(told.value)


def zeros(size: int) -> bytes:
    """A well packed file: every table as it should be, but one of a great many noughts."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as out:
        for name, raw in EMPTY.items():
            if name != "readings.csv":
                out.writestr(name, raw)
        with out.open("readings.csv", "w", force_zip64=True) as entry:
            for _ in range(size // 1_000_000):
                entry.write(b"0" * 1_000_000)
    return made.getvalue()


def many_entries() -> bytes:
    """70,000 files without anything in them."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as out:
        for number in range(70_000):
            out.writestr(f"{number}", b"")
    return made.getvalue()


def twice() -> bytes:
    """One name for two files: which is the one that was hashed?"""
    made = io.BytesIO(packed(EMPTY))
    with zipfile.ZipFile(made, "a") as out, pytest.warns(UserWarning, match="Duplicate name"):
        out.writestr("pour.json", b"{}")
    return made.getvalue()


def named(name: str) -> bytes:
    """One file more."""
    return packed(EMPTY | {name: b"x"})


BOMBS: list[tuple[str, Callable[[], bytes], str]] = [
    ("300 MB of noughts in 300 kB", lambda: zeros(300_000_000), "is packed tighter than any record"),
    ("many files", many_entries, "holds more files than any record"),
    ("a file twice", twice, "is in it twice"),
    (
        "another way of packing",
        lambda: packed(EMPTY, compress=zipfile.ZIP_LZMA),
        "packed in a way that is not read",
    ),
    ("JSON without an end", lambda: packed(EMPTY | {"pour.json": b"[" * 100_000}), "is nested too deep"),
    (
        "JSON that is only deep",
        lambda: packed(EMPTY | {"pour.json": b"[" * 200 + b"]" * 200}),
        "is nested too deep",
    ),
    (
        "much JSON",
        lambda: packed(EMPTY | {"pour.json": b'{"a": "' + b"x" * 9_000_000 + b'"}'}, compress=0),
        "pour.json: is too large",
    ),
    ("a number without an end", lambda: packed(EMPTY | {"pour.json": b"9" * 5000}), "is not JSON"),
    ("no number", lambda: packed(EMPTY | {"pour.json": b'{"title": NaN}'}), "NaN is no number"),
    ("a way up", lambda: named("../settings.toml"), "is no file of a record"),
    ("another folder's photo", lambda: named("photos/../../x.jpg"), "is no file of a record"),
    ("a photo without a hash", lambda: named("photos/crack.jpg"), "is no file of a record"),
    ("a program", lambda: named("setup.py"), "is no file of a record"),
]


@pytest.mark.parametrize(("name", "make", "said"), BOMBS, ids=[bomb[0] for bomb in BOMBS])
def test_a_bomb_is_refused_before_it_is_unpacked(
    tmp_path: Path, name: str, make: Callable[[], bytes], said: str
) -> None:
    """By what its directory says, or at the first file that is looked into: with little memory and little time."""
    raw = make()
    refused(packed({}), tmp_path)  # what is loaded for good by now is not counted
    tracemalloc.start()
    began = time.process_time()
    try:
        told = refused(raw, tmp_path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert said in told
    assert peak < 40_000_000
    assert time.process_time() - began < 20
    assert not verify_bundle(io.BytesIO(raw)).ok


def lied(raw: bytes, name: str, said: int) -> bytes:
    """A zip whose directory says another size of one of its files."""
    held = bytearray(raw)
    at = raw.rindex(name.encode()) - 46
    assert held[at : at + 4] == b"PK\x01\x02"
    held[at + 24 : at + 28] = said.to_bytes(4, "little")
    return bytes(held)


def test_a_file_that_is_larger_than_it_says_ends_where_it_said(tmp_path: Path) -> None:
    """What its directory promises is what is unpacked at most."""
    told = refused(lied(zeros(50_000_000), "readings.csv", 100), tmp_path)
    assert "is not a whole bundle" in told or "missing" in told or "manifest" in told


def test_a_line_and_a_cell_have_an_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A table without a single line end is not read into memory to find that out."""
    forged = Forged()
    forged.event("note")["text"] = "x" * 1_100_000
    assert "field larger than field limit" in refused(forged.packed(zipfile.ZIP_STORED), tmp_path)
    monkeypatch.setattr(bounds, "LINE_BYTES", 10_000)
    forged.event("note")["text"] = "x" * 12_000
    assert re.search(r"events\.csv: line \d+: is too long", refused(forged.packed(), tmp_path))


def test_there_are_only_so_many_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One more than a pour may have."""
    monkeypatch.setitem(bounds.MOST_ROWS, "readings", 110)
    assert "readings.csv: has too many rows for one pour; allowed: 110" in refused(
        Forged().packed(), tmp_path
    )


@pytest.fixture
def imports(tmp_path: Path, store: Store) -> Imports:
    """As the service has it: the work is done in a process of its own."""
    return Imports(store, tmp_path / "data", lambda: 1)


def test_json_that_becomes_much_more_in_memory_ends_with_its_process(
    imports: Imports, tmp_path: Path
) -> None:
    """Eight million bytes of empty lists would take 400 MB: told as what it is, and the next file comes in."""
    (tmp_path / "wide.zip").write_bytes(
        packed(EMPTY | {"pour.json": b"[" + b"[]," * 2_600_000 + b"[]]"}, compress=zipfile.ZIP_STORED)
    )
    with pytest.raises(BadInput, match="takes more memory than a file from elsewhere may"):
        imports.record(tmp_path / "wide.zip", "wide.zip", "Ada")
    (tmp_path / "good.zip").write_bytes(Forged().packed())
    assert imports.record(tmp_path / "good.zip", "good.zip", "Ada").pour_id


def endless(_file: Path, _folder: Path, _where: str) -> None:
    """Work that never ends."""
    while True:
        pass


def test_work_without_an_end_is_ended(
    imports: Imports, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told as what it is."""
    quick = WorkerLimits(memory_bytes=200_000_000, cpu_s=1, file_bytes=1_000_000)
    monkeypatch.setattr("logger.record.import_log.PROCESS", quick)
    with pytest.raises(BadInput, match="takes more time or memory"):
        imports._away(endless, tmp_path, tmp_path, "x.zip")


def log_asked(plan_toml: str, **other: Any) -> LogAsked:
    """A log of one probe, in seconds from its start."""
    mapping = Mapping(("t",), "s", (Column("T", "core", "c"),))
    given: dict[str, Any] = {
        "mapping": mapping,
        "plan_toml": plan_toml,
        "title": "",
        "client": "",
        "poured_ms": 1_795_593_600_000,
        "leave_out_bad": False,
    }
    return LogAsked(**(given | other))


def test_a_long_log_is_read_in_little_memory() -> None:
    """30,000 rows line by line: some ten bytes a value, where a list of lists takes two hundred."""
    mapping = Mapping(("t",), "s", (Column("T", "core", "c"), Column("A", "room", "c")))
    lines = itertools.chain(["t,T,A\n"], (f"{5 * n},{21 + n % 30},21\n" for n in range(30_000)))
    read_log("t,T,A\n0,1,2\n", mapping)
    tracemalloc.start()
    try:
        log = read_log(lines, mapping)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert (len(log.seconds), log.values["core"][-1]) == (30_000, 21 + 29_999 % 30)
    assert peak < 4_000_000


def test_a_log_comes_in_to_the_last_row(imports: Imports, tmp_path: Path, plan_toml: str) -> None:
    """More rows than one transaction takes, each with its link."""
    path = tmp_path / "long.csv"
    path.write_text("t,T\n" + "".join(f"{5 * n},{21 + n % 30}\n" for n in range(2_345)), encoding="utf-8")
    taken = imports.log(path, "long.csv", log_asked(plan_toml), "Ada")
    assert say(taken.summary, METRIC) == "2,345 rows read, 0 fields without a value, 0 bad rows"
    with imports._store.read() as connection:
        assert readings.counts(connection, taken.pour_id) == (2_345, 0)
        assert verify(connection, taken.pour_id).readings == 2_345


def test_a_log_of_nothing_but_bad_rows_is_refused_early(
    imports: Imports, tmp_path: Path, plan_toml: str
) -> None:
    """A wrong mapping is told after a thousand rows; a record would list every one of them."""
    path = tmp_path / "bad.csv"
    path.write_text("t,T\n" + "x,1\n" * 50_000, encoding="utf-8")
    with pytest.raises(BadInput, match="more than 1000 bad rows; check mapping, delimiter and units"):
        imports.log(path, "bad.csv", log_asked(plan_toml, leave_out_bad=True), "Ada")


def test_a_log_comes_in_once(imports: Imports, tmp_path: Path, plan_toml: str) -> None:
    """Said before its plan is solved again."""
    path = tmp_path / "old.csv"
    path.write_text("t,T\n0,21\n60,22\n", encoding="utf-8")
    taken = imports.log(path, "old.csv", log_asked(plan_toml), "Ada")
    with pytest.raises(NotAllowed, match=f"this log is here already: it is pour {taken.pour_id}"):
        imports.log(path, "again.csv", log_asked("nonsense"), "Ada")


@pytest.mark.parametrize(
    "value", [2**63, -(2**63), 10**400, 1e308 * 10, float("nan"), "\ud800", {"a" * 600_000: 1}, "x" * 600_000]
)
def test_a_value_that_no_page_could_write_is_no_value(value: Any) -> None:
    """Neither as it is nor somewhere inside."""
    for one in (value, [value], {"a": {"b": [value]}}):
        with pytest.raises(BadInput):
            bounds.sound(one, "x")
    bounds.sound(json.loads('{"a": [1, 2.5, "x", null, true, {"b": []}]}'), "x")
