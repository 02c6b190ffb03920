"""CSV, JSON and bundle hold everything and lose nothing; a damaged one is told by file and row."""

from __future__ import annotations

import csv
import io
import json
import random
import zipfile
from pathlib import Path
from typing import Any

import pytest

from logger.errors import BadInput, NotAllowed
from logger.record.bundle import bring_in, bundle_bytes, keep_photos, read_bundle, verify_bundle
from logger.record.files import SCHEMA, as_csv, csv_lines, everything, from_csv
from logger.record.gather import gather
from logger.record.seal import seal_hash
from logger.record.verify import verify
from logger.store import pours
from logger.store.database import Store
from logger.store.transfer import COLUMNS, rows_of

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
    cold = tuple(-5250 if column == "milli_c" else value for column, value in zip(
        COLUMNS["readings"], rows[0], strict=True))  # fmt: skip
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


def test_a_bundle_stands_imports_elsewhere_and_is_the_same_record(sealed: Any, tmp_path: Path) -> None:
    """Another workshop's database has other numbers, and the record is proven there all the same."""
    raw = bundle_of(sealed)
    assert verify_bundle(io.BytesIO(raw)).ok
    elsewhere = Store(f"sqlite:///{tmp_path / 'elsewhere.sqlite3'}")
    with elsewhere.write() as tx:
        pours.add_pour(tx, title="another", client="", plan_toml="", station_id=None, by="Cleo", now_ms=1)
        pour_id = bring_in(tx, read_bundle(io.BytesIO(raw)), "Cleo", 99)
    assert pour_id != sealed.pour_id
    with elsewhere.read() as connection, sealed.store.read() as here:
        verdict = verify(connection, pour_id)
        assert verdict.ok, verdict.sentence
        there, before = gather(connection, pour_id, "x"), gather(here, sealed.pour_id, "y")
        assert there.pop("additions")[-1]["kind"] == "imported"
        before.pop("additions")
        assert there == before
        printed = seal_hash(pours.get_pour(here, sealed.pour_id).seal)
        assert verify(connection, pour_id, printed=printed).ok
    with elsewhere.write() as tx, pytest.raises(NotAllowed, match=f"here already: it is pour {pour_id}"):
        bring_in(tx, read_bundle(io.BytesIO(raw)), "Cleo", 99)
    elsewhere.close()


def test_an_open_record_is_not_imported(poured: Any, tmp_path: Path) -> None:
    """A pour that still lives belongs to one place."""
    raw = bundle_of(poured)
    elsewhere = Store(f"sqlite:///{tmp_path / 'elsewhere.sqlite3'}")
    with elsewhere.write() as tx, pytest.raises(NotAllowed, match="was not sealed"):
        bring_in(tx, read_bundle(io.BytesIO(raw)), "Cleo", 99)
    elsewhere.close()


def test_photos_travel_and_an_altered_one_is_found(poured: Any, tmp_path: Path) -> None:
    """The photo in the bundle is the one that was taken."""
    import hashlib

    picture = b"\xff\xd8\xff" + b"invented picture"
    name = hashlib.sha256(picture).hexdigest()
    photos = tmp_path / "photos"
    photos.mkdir()
    (photos / f"{name}.jpg").write_bytes(picture)
    poured.note("photo", "the left edge", {"sha256": name, "bytes": len(picture), "type": "image/jpeg"})
    poured.close()
    raw = bundle_of(poured, photos)
    assert verify_bundle(io.BytesIO(raw)).ok
    keep_photos(read_bundle(io.BytesIO(raw)), tmp_path / "copied")
    assert (tmp_path / "copied" / f"{name}.jpg").read_bytes() == picture
    altered = repacked(raw, f"photos/{name}.jpg", lambda kept: kept[:-1] + b"!")
    verdict = verify_bundle(io.BytesIO(altered))
    assert (verdict.ok, verdict.table) == (False, "photo")


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


def test_damaged_bundles_are_never_taken_for_whole_ones(sealed: Any) -> None:
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
        if verdict.ok and (
            read_bundle(io.BytesIO(damaged)) != read_bundle(io.BytesIO(raw)) or verdict != whole
        ):
            unnoticed.append(verdict)
    assert unnoticed == []


def test_a_table_with_a_torn_row_is_refused_with_its_line(sealed: Any) -> None:
    """The message names file, line and remedy."""
    raw = repacked(bundle_of(sealed), "events.csv", lambda kept: kept + b"1,2\r\n")
    with pytest.raises(BadInput, match=r"events\.csv: line \d+: has 2 fields"):
        read_bundle(io.BytesIO(raw))
