"""A record as one file that goes anywhere: a zip of its tables, its photos and their hashes, to verify and to import.

A bundle is proven by putting it into a database of its own (a parcel) and verifying it there: one way of judging for
both. It may be from anybody: nothing is unpacked before its size is known, it is read piece by piece, and whatever it
says must have the shape that the program itself writes (shapes.py). A seal proves that nothing was altered since it was
made, and not who made it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, TYPE_CHECKING

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError, IntegrityError

from logger.errors import BadInput, NotAllowed, StoreError
from logger.facts import fact
from logger.pour import Stage
from logger.quantities import quantity
from logger.record import event_views
from logger.record.bounds import CELL_CHARS, MOST_PHOTOS, bytes_for, lines_of, never, open_packed, read_json
from logger.record.files import SCHEMA, as_csv, from_csv
from logger.record.gather import gather
from logger.record.json_values import JsonObject, TableRow
from logger.record.seal import seal_hash
from logger.record.shapes import ROWS, ManifestShape, PourShape, RecordShape, check_data, fits
from logger.record.verify import Verdict, verify
from logger.store import seals
from logger.store.hash_chain import canonical
from logger.store.parcel import Parcel
from logger.store.photos import KINDS, is_name, path_of
from logger.store.transfer import COLUMNS, Begun, begin, pour_of, put_rows, recorded_station, rows_of

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

BUNDLE_VERSION = 1
_NAMES = ("pour.json", "record.json", "SCHEMA.md", *(f"{name}.csv" for name in COLUMNS))
#: Rows put in with one statement.
_MANY = 5000
_AGAIN = fact("take-file-as-exported")
#: Of what a photo's file may be, and of how many pixels at most: a phone's largest, as when it is taken here.
MOST_PIXELS = 89_000_000
#: A bundle that has no name.
THE_BUNDLE = fact("the-bundle")


def write_bundle(
    connection: Connection, pour_id: int, workshop: str, photos: Path | None, file: IO[bytes], now_ms: int
) -> None:
    """Write a pour's bundle. Raises NotFound, and StoreError when a photo's file is gone."""
    record = gather(connection, pour_id, workshop)
    pour = pour_of(connection, pour_id)
    hashes: dict[str, JsonObject] = {}
    # Quickly packed: the hash in each row shrinks by half at best.
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed:

        def put(name: str, pieces: Iterable[bytes]) -> None:
            digest, size = hashlib.sha256(), 0
            entry_of = zipfile.ZipInfo(name)
            entry_of.compress_type = zipfile.ZIP_DEFLATED
            with packed.open(entry_of, "w", force_zip64=True) as entry:
                for piece in pieces:
                    entry.write(piece)
                    digest.update(piece)
                    size += len(piece)
            hashes[name] = {"sha256": digest.hexdigest(), "bytes": size}

        body = seals.sealed_body(connection, pour_id)
        put("pour.json", [canonical(pour).encode()])
        put("record.json", [(body if body is not None else canonical(record)).encode()])
        put("SCHEMA.md", [SCHEMA.read_bytes()])
        for name in COLUMNS:
            put(f"{name}.csv", (text.encode() for text in as_csv(name, rows_of(connection, pour_id, name))))
        for photo in record["photos"] + [
            event["data"]
            for event in record["additions"]
            if event_views.subject(event["kind"], event["data"]) == "photo"
        ]:
            photo_path = None if photos is None else path_of(photos, photo.get("sha256"))
            if photo_path is None:
                raise StoreError(fact("photo-gone", photo=str(photo.get("sha256"))[:12], pour=pour_id))
            if f"photos/{photo_path.name}" not in hashes:
                put(f"photos/{photo_path.name}", [photo_path.read_bytes()])
        manifest = {
            "bundle_version": BUNDLE_VERSION,
            "made_ms": now_ms,
            "workshop": workshop,
            "title": pour["title"],
            "seal_sha256": None if pour["seal"] is None else seal_hash(pour["seal"]),
            "files": hashes,
        }
        packed.writestr(zipfile.ZipInfo("manifest.json"), json.dumps(manifest, ensure_ascii=False, indent=1))


@dataclass
class Unpacked:
    """A bundle that lies in a parcel. `unlike`: the first file that is not what the manifest says."""

    workshop: str
    pour: PourShape
    record: RecordShape | None
    body: str | None
    boots: dict[str, dict[str, int]]
    photos: dict[str, str] = field(default_factory=dict)
    unlike: str | None = None


def unpack(file: IO[bytes], parcel: Parcel, pictures: Path, where: str = THE_BUNDLE) -> Unpacked:
    """Put a bundle into an empty parcel, piece by piece, and its photos into a folder.

    Raises BadInput naming the file, the row and the field that is not as it must be. Whether it stands is another
    question: `verify`.
    """
    csv.field_size_limit(CELL_CHARS)
    with _damage_errors(where), open_packed(file, where) as packed, parcel.open() as tx:
        manifest = _manifest(packed, where)
        reader = _Reader(packed, manifest, where)
        pour = read_json(reader.whole("pour.json"), f"{where}: pour.json")
        shaped = fits(PourShape, pour, f"{where}: pour.json")
        raw = reader.whole("record.json")
        record = body = None
        if shaped.seal is not None:
            record = fits(
                RecordShape, read_json(raw, f"{where}: record.json", never), f"{where}: record.json"
            )
            body = raw.decode()
        reader.whole("SCHEMA.md")
        boots = list(reader.rows("boots"))
        unpacked = Unpacked(manifest.workshop, shaped, record, body, _by_side(boots, where))
        begun = _begin(tx, pour, body, boots)
        for name in ("events", "alarms", "forecasts", "readings"):
            _fill(tx, begun, name, reader.rows(name))
        pictures.mkdir(exist_ok=True)
        for name in manifest.files:
            if name.startswith("photos/"):
                reader.save(name, pictures / name.removeprefix("photos/"))
        unpacked.unlike = reader.unlike
    return unpacked


def prove(path: Path, folder: Path, where: str, printed: str | None = None) -> Verdict:
    """Prove a bundle: every row and photo, in a parcel in that folder. Damage is a verdict, and raises nothing."""
    parcel = Parcel(folder / "parcel.sqlite3", new=True)
    try:
        with path.open("rb") as file:
            unpacked = unpack(file, parcel, folder / "photos", where)
        return _verdict(parcel, unpacked, folder / "photos", where, printed)
    except (BadInput, NotAllowed) as error:
        place = error.where if isinstance(error, BadInput) else where
        return Verdict(0, False, False, 0, 0, error.fact, "altered", place)
    finally:
        parcel.close()


def accept(path: Path, folder: Path, where: str) -> dict[str, str]:
    """Put a stranger's record into a parcel in that folder, and prove it: closed, sealed, whole, and itself.

    Return where it is from: workshop and the seal's hash. Raises BadInput and NotAllowed.
    """
    parcel = Parcel(folder / "parcel.sqlite3", new=True)
    try:
        with path.open("rb") as file:
            unpacked = unpack(file, parcel, folder / "photos", where)
        if unpacked.pour.seal is None:
            raise NotAllowed(fact("record-not-sealed-there"))
        verdict = _verdict(parcel, unpacked, folder / "photos", where)
        if not verdict.ok:
            raise NotAllowed(fact("record-does-not-stand", verdict=verdict.sentence))
        with parcel.open() as connection:
            _one_story(connection, unpacked, where)
    finally:
        parcel.close()
    for name in unpacked.photos:
        _check_picture(folder / "photos" / name, where)
    return {"workshop": unpacked.workshop, "seal_sha256": verdict.seal_sha256}


def _verdict(
    parcel: Parcel, unpacked: Unpacked, pictures: Path, where: str, printed: str | None = None
) -> Verdict:
    with parcel.open() as connection:
        verdict = verify(connection, Parcel.POUR, printed=printed, pictures=pictures)
    if verdict.ok and unpacked.unlike is not None:
        return Verdict(
            Parcel.POUR,
            False,
            verdict.sealed,
            verdict.readings,
            verdict.events,
            fact("bundle-file-unlike", where=where, file=unpacked.unlike),
            "altered",
            unpacked.unlike,
        )
    return verdict


def _manifest(packed: zipfile.ZipFile, where: str) -> ManifestShape:
    """Return the manifest, once every file that it lists is there, no other, and none too large."""
    sizes = {entry.filename: entry.file_size for entry in packed.infolist()}
    if "manifest.json" not in sizes:
        raise BadInput(where, fact("bundle-without-manifest"), remedy=fact("take-file-of-export"))
    for name, size in sizes.items():
        if size > bytes_for(name):
            raise BadInput(
                fact("in-file", file=where, what=name[:80]),
                fact("bundle-too-large"),
                value=fact("megabytes-unpacked", size=quantity(size / 1e6, "MB", 1)),
                allowed=f"{bytes_for(name) / 1e6:.1f} MB",
                remedy=_AGAIN,
            )
    at = f"{where}: manifest.json"
    content = read_json(packed.read("manifest.json"), at)
    version = content.get("bundle_version") if isinstance(content, dict) else None
    if isinstance(version, int) and version > BUNDLE_VERSION:
        raise BadInput(
            at,
            fact("bundle-of-newer-program"),
            value=version,
            allowed=str(BUNDLE_VERSION),
            remedy=fact("upgrade-this-one"),
        )
    manifest = fits(ManifestShape, content, at)
    for name in (*_NAMES, *manifest.files):
        if name not in manifest.files or name not in sizes:
            raise BadInput(
                fact("in-file", file=where, what=name[:80]), fact("bundle-entry-missing"), remedy=_AGAIN
            )
    for name in sizes:
        if name != "manifest.json" and name not in manifest.files:
            raise BadInput(
                fact("in-file", file=where, what=name[:80]), fact("bundle-entry-put-in"), remedy=_AGAIN
            )
        if name not in (*_NAMES, "manifest.json") and not (
            name.startswith("photos/") and is_name(name.removeprefix("photos/"))
        ):
            raise BadInput(
                fact("in-file", file=where, what=name[:80]), fact("bundle-entry-of-no-record"), remedy=_AGAIN
            )
    if len(sizes) > len(_NAMES) + 1 + MOST_PHOTOS:
        raise BadInput(
            where, fact("bundle-too-many-photos"), allowed=str(MOST_PHOTOS), remedy=fact("leave-some-out")
        )
    return manifest


class _Reader:
    """Reads a bundle's files one after the other, and compares each with the manifest as it goes."""

    def __init__(self, packed: zipfile.ZipFile, manifest: ManifestShape, where: str) -> None:
        self._packed, self._manifest, self._where = packed, manifest, where
        #: The first file that is not what the manifest says.
        self.unlike: str | None = None

    @contextmanager
    def _open(self, name: str) -> Iterator[_Hashed]:
        with self._packed.open(name) as entry:
            hashed = _Hashed(entry)
            yield hashed
            while hashed.read(1 << 16):
                pass
        if self.unlike is None and hashed.digest.hexdigest() != self._manifest.files[name].sha256:
            self.unlike = name

    def whole(self, name: str) -> bytes:
        """Return a small file."""
        with self._open(name) as entry:
            return entry.read()

    def rows(self, name: str) -> Iterator[TableRow]:
        """Yield a table's rows, each of which has its shape."""
        with self._open(f"{name}.csv") as entry:
            text = io.TextIOWrapper(io.BufferedReader(entry, 1 << 16), encoding="utf-8", newline="")
            for row in from_csv(name, lines_of(text, f"{name}.csv"), ROWS[name]):
                if name == "events":
                    self._sound_event(row)
                yield row

    def save(self, name: str, to: Path) -> None:
        """Write a photo's bytes into a file."""
        with self._open(name) as entry, to.open("wb") as out:
            while piece := entry.read(1 << 16):
                out.write(piece)

    def _sound_event(self, row: TableRow) -> None:
        at_ms, kind, *_rest, data, _link = row
        try:
            check_data(kind, data)
        except ValueError as error:
            raise BadInput(
                f"{self._where}: events.csv",
                fact("bundle-event-wrong", kind=kind, at_ms=str(at_ms)),
                value=f"{data!r:.80}",
                remedy=_AGAIN,
            ) from error


class _Hashed(io.RawIOBase):
    """A file that is hashed while it is read."""

    def __init__(self, file: IO[bytes]) -> None:
        super().__init__()
        self._file = file
        self.digest = hashlib.sha256()

    def readable(self) -> bool:
        """Return True: a raw file must say so to be read."""
        return True

    def readinto(self, into: WriteableBuffer) -> int:
        """Fill a buffer with the next bytes; return how many."""
        view = memoryview(into)
        piece = self._file.read(len(view))
        view[: len(piece)] = piece
        self.digest.update(piece)
        return len(piece)


@contextmanager
def _damage_errors(where: str) -> Iterator[None]:
    """Raise BadInput for whatever a damaged or hostile file does to the libraries that read it."""
    try:
        yield
    except BadInput:
        raise
    except IntegrityError as error:
        raise BadInput(where, fact("bundle-two-rows"), remedy=_AGAIN) from error
    except DBAPIError as error:
        raise BadInput(
            where,
            fact("bundle-not-put-together", error=str(error.orig)),
            remedy=fact("room-or-fewer-photos"),
        ) from error
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        LookupError,
        TypeError,
        ValueError,
        ArithmeticError,
        AttributeError,
        OSError,
        RuntimeError,
    ) as error:
        raise BadInput(
            where,
            fact("bundle-not-whole", error=f"{error!s:.200}"),
            remedy=fact("take-file-as-exported-again"),
        ) from error


def _by_side(boots: list[TableRow], where: str) -> dict[str, dict[str, int]]:
    sides: dict[str, dict[str, int]] = {"station": {}, "service": {}}
    for boot_id, offset_ms, _clock_set, of in boots:
        if boot_id in sides[of]:
            raise BadInput(
                fact("in-file", file=where, what="boots.csv"),
                fact("bundle-boot-twice"),
                value=boot_id,
                remedy=_AGAIN,
            )
        sides[of][boot_id] = offset_ms
    return sides


def _begin(tx: Connection, pour: JsonObject, body: str | None, boots: list[TableRow]) -> Begun:
    station, service = pour["station"], any(row[3] == "service" for row in boots)
    stations = {
        "station": None if station is None else recorded_station(tx, station, 0),
        "service": recorded_station(tx, "service", 0) if service else None,
    }
    return begin(tx, pour, body, boots, stations)


def _fill(tx: Connection, begun: Begun, name: str, rows: Iterator[TableRow]) -> None:
    many: list[TableRow] = []
    for row in rows:
        many.append(row)
        if len(many) == _MANY:
            put_rows(tx, begun, name, many)
            many = []
    put_rows(tx, begun, name, many)


def _one_story(connection: Connection, unpacked: Unpacked, where: str) -> None:
    """Raise BadInput where a record's parts, each of which is sound, are of different pours."""
    pour, record, seal = unpacked.pour, unpacked.record, unpacked.pour.seal
    assert record is not None
    assert seal is not None
    poured_ms = None
    if pour.poured_boot_id is not None and pour.poured_boot_ms is not None:
        offset_ms = unpacked.boots["service"].get(pour.poured_boot_id)
        if offset_ms is None:
            raise BadInput(
                fact("in-file", file=where, what="boots.csv"), fact("bundle-lacks-boot"), remedy=_AGAIN
            )
        poured_ms = pour.poured_boot_ms + offset_ms
    about = record.pour
    for what, one, other in (
        ("stage", pour.stage, str(Stage.CLOSED)),
        ("stage", about.stage, pour.stage),
        ("title", about.title, pour.title),
        ("client", about.client, pour.client),
        ("station", about.station, pour.station),
        (fact("time-of-planning"), about.created_ms, pour.created_ms),
        (fact("time-of-pouring"), about.poured_ms, poured_ms),
        (fact("time-of-release"), about.released_ms, pour.released_ms),
        (fact("time-of-closing"), about.closed_ms, pour.closed_ms),
        ("plan", record.plan_toml, pour.plan_toml),
        ("prediction", record.prediction, pour.prediction),
        ("model", record.model_version, pour.model_version),
        ("readings", record.chain.readings, pour.reading_head),
        ("readings", seal.readings.head, pour.reading_head),
        ("boots", seal.boots, unpacked.boots["station"]),
    ):
        if one != other:
            raise BadInput(
                where,
                fact("bundle-two-stories", what=what),
                value=f"{one!r:.60} and {other!r:.60}",
                remedy=fact("only-sealed-comes-in"),
            )
    if pour.closed_ms is None:
        raise BadInput(where, fact("record-never-closed"), remedy=fact("close-there-then-export"))
    named: dict[str, str] = {}
    for _at_ms, kind, _by, _text, data, _link in rows_of(connection, Parcel.POUR, "events"):
        if event_views.subject(kind, data) == "photo":
            named[data["sha256"]] = data["type"]
    for photo in record.photos:
        if named.get(photo.sha256) != photo.type:
            raise BadInput(where, fact("bundle-two-stories-of-photo"), value=photo.sha256[:12], remedy=_AGAIN)
    unpacked.photos = {f"{sha256}.{KINDS[kind]}": kind for sha256, kind in named.items()}


def _check_picture(path: Path, where: str) -> None:
    """Raise BadInput where a photo is no picture of the kind that its name says, or too large to be drawn."""
    from PIL import Image  # here: only records with photos need it

    kind = {"jpg": "JPEG", "png": "PNG", "webp": "WEBP"}[path.suffix[1:]]
    at, most = f"{where}: photos/{path.name[:12]}…", MOST_PIXELS if kind == "JPEG" else MOST_PIXELS // 4
    try:
        with Image.open(path, formats=(kind,)) as picture:
            pixels = picture.size[0] * picture.size[1]
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        pixels = most + 1
    except (OSError, ValueError, SyntaxError) as error:
        raise BadInput(at, fact("photo-of-other-kind", kind=kind), remedy=_AGAIN) from error
    if pixels > most:
        raise BadInput(
            at,
            fact("photo-too-many-pixels"),
            allowed=quantity(most / 1e6, "MP", 0),
            remedy=fact("leave-photo-out"),
        )
