"""CSV, JSON and bundle hold everything and lose nothing; a damaged one is told by file and row."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import random
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bundles import bundle_bytes, verify_bundle
from PIL import Image

from logger.errors import NotAllowed
from logger.record.files import SCHEMA, as_csv, csv_lines, everything, from_csv
from logger.record.gather import gather
from logger.record.import_log import Imports
from logger.record.seal import seal_hash
from logger.record.verify import verify
from logger.store import pours
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.transfer import COLUMNS, rows_of
from logger.words.reader import METRIC
from logger.words.render import say

#: Text that breaks careless files: quotes, commas, line ends, an empty string, other scripts, a NUL.
AWKWARD = [
    'say "no", twice',
    "",
    '"',
    "line\r\nline",
    "\r",
    "Ångström – 木",
    "=1+1",
    '=HYPERLINK("http://127.0.0.1/?"&A1)',
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\n=1",
    "\uff1d1+1",
    "a\x00b",
    " blank ends ",
    ",",
]


@pytest.fixture
def awkward(sealed: Any) -> Any:
    """A sealed casting with additions whose text is awkward."""
    for text in AWKWARD:
        sealed.note("addition", text, {"reason": text, "number": 0.1 + 0.2})
    return sealed


def bundle_of(casting: Any, photos: Path | None = None) -> bytes:
    """The bundle of a casting."""
    with casting.store.read() as connection:
        return bundle_bytes(connection, casting.pour_id, "Wharf Lane", photos, 5)


@pytest.mark.parametrize("name", COLUMNS)
def test_a_table_comes_back_from_its_csv_as_it_was(awkward: Any, name: str) -> None:
    """Exact round trip, also of nulls, empty text, line ends and long fractions."""
    with awkward.store.read() as connection:
        rows = list(rows_of(connection, awkward.pour_id, name))
        text = "".join(csv_lines(connection, awkward.pour_id, name))
    assert rows
    assert list(from_csv(name, text)) == rows
    assert "".join(as_csv(name, from_csv(name, text))) == text


def test_the_csv_is_what_the_standard_library_reads(sealed: Any) -> None:
    """RFC 4180, judged by Python's own reader: one heading, then as many fields on every line."""
    with sealed.store.read() as connection:
        text = "".join(csv_lines(connection, sealed.pour_id, "readings"))
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(rows) == 270
    assert {row["place"] for row in rows} == {"core", "surface", "room"}
    assert sum(row["milli_c"] == "" for row in rows) == 1, "a failed read has no temperature"
    assert text.count("\r\n") == 271


def test_no_cell_of_text_is_a_formula_to_a_spreadsheet(awkward: Any) -> None:
    """Somebody's own words are shown, not worked out; numbers below zero stay numbers (OWASP, "CSV Injection")."""
    awkward.sweep(core=21.0)
    with awkward.store.read() as connection:
        events = "".join(csv_lines(connection, awkward.pour_id, "events"))
        rows = list(rows_of(connection, awkward.pour_id, "readings"))
    cold = tuple(
        -5250 if column == "milli_c" else value
        for column, value in zip(COLUMNS["readings"], rows[0], strict=True)
    )
    for cell in (cell for row in csv.reader(io.StringIO(events, newline="")) for cell in row):
        assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d")), cell
    assert ",-5250," in "".join(as_csv("readings", [cold]))


def test_the_json_of_everything_holds_every_row(awkward: Any) -> None:
    """One file with the record and all its rows."""
    with awkward.store.read() as connection:
        whole = json.loads("".join(everything(connection, awkward.pour_id, "Wharf Lane")))
        for name in COLUMNS:
            rows = list(rows_of(connection, awkward.pour_id, name))
            assert [tuple(row) for row in whole["tables"][name]["rows"]] == rows
        record = json.loads(json.dumps(gather(connection, awkward.pour_id, "Wharf Lane")))
    assert whole["record"] == record


def test_the_schema_names_every_field_of_the_record(sealed: Any) -> None:
    """Nothing is exported that the schema does not describe."""
    text = SCHEMA.read_text(encoding="utf-8")
    with sealed.store.read() as connection:
        record = gather(connection, sealed.pour_id, "Wharf Lane")
    for name in [
        *record,
        *record["figures"],
        *(column for columns in COLUMNS.values() for column in columns),
    ]:
        if name != "points_problem":
            assert f"`{name}`" in text, name


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[Elsewhere]:
    """Another workshop with a pour of its own."""
    made = Elsewhere(tmp_path / "elsewhere")
    yield made
    made.store.close()


class Elsewhere:
    """A workshop into which records are brought."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        self.folder = folder
        self.store = Store(f"sqlite:///{folder / 'elsewhere.sqlite3'}")
        self.imports = Imports(self.store, folder, lambda: 99)
        with self.store.write() as tx:
            pours.add_pour(
                tx,
                PlannedPour(title="another", client="", plan_toml="", station_id=None),
                by="Cleo",
                now_ms=1,
            )

    def bring_in(self, raw: bytes) -> int:
        """A bundle, as Cleo brings it in."""
        (self.folder / "sent.zip").write_bytes(raw)
        return self.imports.record(self.folder / "sent.zip", "sent.zip", "Cleo").pour_id

    def rows(self) -> dict[str, int]:
        """How many rows there are of each table."""
        with self.store.read() as connection:
            return {
                name: int(connection.exec_driver_sql(f'SELECT count(*) FROM "{name}"').scalar_one())
                for name in (
                    "pour",
                    "reading",
                    "event",
                    "alarm",
                    "forecast",
                    "boot",
                    "station",
                    "sealed_record",
                )
            }


def test_a_bundle_stands_imports_elsewhere_and_is_the_same_record(sealed: Any, elsewhere: Any) -> None:
    """Another workshop's database has other numbers, and the record is proven there all the same, to the last row."""
    raw = bundle_of(sealed)
    assert verify_bundle(io.BytesIO(raw)).ok
    pour_id = elsewhere.bring_in(raw)
    assert pour_id != sealed.pour_id
    with elsewhere.store.read() as connection, sealed.store.read() as here:
        verdict = verify(connection, pour_id)
        assert verdict.ok, verdict.sentence
        assert gather(connection, pour_id, "x") == gather(here, sealed.pour_id, "y")
        printed = seal_hash(pours.get_pour(here, sealed.pour_id).seal)
        assert verify(connection, pour_id, printed=printed).ok
        for name in COLUMNS:
            assert list(rows_of(connection, pour_id, name)) == list(rows_of(here, sealed.pour_id, name)), name
        again = bundle_bytes(connection, pour_id, "Wharf Lane", None, 5)
    assert zipfile.ZipFile(io.BytesIO(again)).read("pour.json") == zipfile.ZipFile(io.BytesIO(raw)).read(
        "pour.json"
    )
    with pytest.raises(NotAllowed, match=f"here already: it is pour {pour_id}"):
        elsewhere.bring_in(raw)


def test_an_open_record_is_not_imported(poured: Any, elsewhere: Any) -> None:
    """A pour that still lives belongs to one place; nothing of it stays."""
    raw, before = bundle_of(poured), elsewhere.rows()
    assert verify_bundle(io.BytesIO(raw)).ok
    with pytest.raises(NotAllowed, match="was not sealed"):
        elsewhere.bring_in(raw)
    assert elsewhere.rows() == before


def a_picture() -> bytes:
    """A small one (invented)."""
    made = io.BytesIO()
    Image.new("RGB", (60, 40), "peru").save(made, "JPEG")
    return made.getvalue()


def test_photos_travel_and_an_altered_one_is_found(poured: Any, elsewhere: Any, tmp_path: Path) -> None:
    """The photo in the bundle is the one that was taken, and goes with its record."""
    picture = a_picture()
    name = hashlib.sha256(picture).hexdigest()
    photos = tmp_path / "photos"
    photos.mkdir()
    (photos / f"{name}.jpg").write_bytes(picture)
    poured.note("photo", "the left edge", {"sha256": name, "bytes": len(picture), "type": "image/jpeg"})
    poured.close()
    raw = bundle_of(poured, photos)
    assert verify_bundle(io.BytesIO(raw)).ok
    pour_id = elsewhere.bring_in(raw)
    kept = elsewhere.folder / "photos" / f"{name}.jpg"
    assert kept.read_bytes() == picture
    altered = repacked(raw, f"photos/{name}.jpg", lambda kept: kept[:-1] + b"!")
    verdict = verify_bundle(io.BytesIO(altered))
    assert (verdict.ok, verdict.table) == (False, "photo")
    elsewhere.imports.delete(pour_id, "Cleo")
    assert not kept.exists()


def repacked(raw: bytes, name: str, change: Any) -> bytes:
    """A bundle with one file changed, as a forger would pack it."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            kept = old.read(info.filename)
            new.writestr(info.filename, change(kept) if info.filename == name else kept)
    return made.getvalue()


def test_a_changed_temperature_in_a_bundle_is_named_with_its_row(sealed: Any) -> None:
    """The file's row is the pour's row."""
    raw = bundle_of(sealed)

    def prettier(text: bytes) -> bytes:
        lines = text.split(b"\r\n")
        fields = lines[100].split(b",")
        fields[8] = b"30000"
        lines[100] = b",".join(fields)
        return b"\r\n".join(lines)

    verdict = verify_bundle(io.BytesIO(repacked(raw, "readings.csv", prettier)))
    assert (verdict.ok, verdict.table, verdict.number, verdict.wrong) == (False, "reading", 100, "altered")


def test_damaged_bundles_are_never_taken_for_whole_ones(sealed: Any, tmp_path: Path) -> None:
    """Bits flipped and ends cut off anywhere in the file (zip's own unused bytes aside)."""
    raw, dice = bundle_of(sealed), random.Random(3)
    whole = verify_bundle(io.BytesIO(raw))
    unnoticed = []
    for _ in range(60):
        if dice.random() < 0.3:
            damaged = raw[: dice.randrange(len(raw) - 1)]
        else:
            at = dice.randrange(8 * len(raw))
            held = bytearray(raw)
            held[at // 8] ^= 1 << at % 8
            damaged = bytes(held)
        verdict = verify_bundle(io.BytesIO(damaged))
        if verdict.ok and (contents(damaged) != contents(raw) or verdict != whole):
            unnoticed.append(verdict)
    assert unnoticed == []


def contents(raw: bytes) -> dict[str, bytes]:
    """The files in a bundle."""
    with zipfile.ZipFile(io.BytesIO(raw)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def test_a_table_with_a_torn_row_is_refused_with_its_line(sealed: Any) -> None:
    """The message names file, line and remedy."""
    raw = repacked(bundle_of(sealed), "events.csv", lambda kept: kept + b"1,2\r\n")
    verdict = verify_bundle(io.BytesIO(raw))
    assert not verdict.ok
    assert re.search(r"events\.csv: line \d+: has 2 fields", say(verdict.sentence, METRIC))
