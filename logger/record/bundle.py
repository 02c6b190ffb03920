"""A record as one file that goes anywhere: a zip of its tables, its photos and their hashes, to verify and to import.

A bundle is proven by putting it into a database of its own and verifying it there: one way of judging for both.
"""

from __future__ import annotations

import hashlib
import io
import json
import tempfile
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from sqlalchemy import Connection

from logger.errors import BadInput, NotAllowed, StoreError
from logger.record import happened
from logger.record.files import SCHEMA, as_csv, from_csv
from logger.record.gather import gather
from logger.record.seal import seal_hash
from logger.record.verify import Verdict, verify
from logger.store import seals
from logger.store.chain import canonical
from logger.store.database import Store
from logger.store.events import add_event
from logger.store.photos import find, put
from logger.store.transfer import COLUMNS, pour_of, put_in, rows_of

BUNDLE_VERSION = 1
#: Largest bundle that is unpacked, bytes: a year of readings at 5 s from 6 probes is below it.
LARGEST = 2_000_000_000
_NAMES = ("pour.json", "record.json", "SCHEMA.md", *(f"{name}.csv" for name in COLUMNS))


@dataclass(frozen=True)
class Bundle:
    """A bundle as read: where it is from, the pour, the sealed record's text, its tables and photos."""

    workshop: str
    pour: dict[str, Any]
    body: str | None
    tables: dict[str, list[tuple[Any, ...]]]
    photos: dict[str, bytes]
    sha256: str


def write_bundle(
    connection: Connection, pour_id: int, workshop: str, photos: Path | None, file: IO[bytes], now_ms: int
) -> None:
    """Writes a pour's bundle. Raises NotFound, and StoreError when a photo's file is gone."""
    record = gather(connection, pour_id, workshop)
    pour = pour_of(connection, pour_id)
    hashes: dict[str, dict[str, Any]] = {}
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:

        def put(name: str, pieces: Iterable[bytes]) -> None:
            digest, size = hashlib.sha256(), 0
            with packed.open(zipfile.ZipInfo(name), "w", force_zip64=True) as entry:
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
            if happened.subject(event["kind"], event["data"]) == "photo"
        ]:
            found = None if photos is None else find(photos, photo.get("sha256"))
            if found is None:
                raise StoreError(f"photo {str(photo.get('sha256'))[:12]} of pour {pour_id} is gone from the disk; "
                                 "restore it from a backup, then export again")  # fmt: skip
            put(f"photos/{found.name}", [found.read_bytes()])
        manifest = {
            "bundle_version": BUNDLE_VERSION,
            "made_ms": now_ms,
            "workshop": workshop,
            "title": pour["title"],
            "seal_sha256": None if pour["seal"] is None else seal_hash(pour["seal"]),
            "files": hashes,
        }
        packed.writestr(zipfile.ZipInfo("manifest.json"), json.dumps(manifest, ensure_ascii=False, indent=1))


def read_bundle(file: IO[bytes], where: str = "the bundle") -> Bundle:
    """A bundle whose files are all there and as they were packed. Raises BadInput naming the file, or its row."""
    try:
        with zipfile.ZipFile(file) as packed:
            names = {info.filename: info.file_size for info in packed.infolist()}
            if sum(names.values()) > LARGEST:
                raise BadInput(where, "is too large", value=f"{sum(names.values()) / 1e6:.0f} MB",
                               allowed=f"{LARGEST / 1e6:.0f} MB", remedy="import it in its original place")  # fmt: skip
            if "manifest.json" not in names:
                raise BadInput(where, "has no manifest.json", remedy="take a file made by `pourlog export`")
            manifest = json.loads(packed.read("manifest.json"))
            listed = manifest["files"]
            for name in _NAMES:
                if name not in listed or name not in names:
                    raise BadInput(
                        f"{where}: {name}", "is missing", remedy="take the file as it was exported"
                    )
            for name in listed:
                if name not in names:
                    raise BadInput(
                        f"{where}: {name}", "is missing", remedy="take the file as it was exported"
                    )
            for name in names:
                if name != "manifest.json" and name not in listed:
                    raise BadInput(
                        f"{where}: {name}", "was put in", remedy="take the file as it was exported"
                    )
            contents = {name: packed.read(name) for name in listed}
    except (zipfile.BadZipFile, EOFError, KeyError, TypeError, ValueError, OSError, NotImplementedError,
            RuntimeError) as error:  # fmt: skip
        if isinstance(error, BadInput):
            raise
        raise BadInput(where, f"is not a whole bundle ({error})",
                       remedy="take the file as it was exported; copy it again") from error  # fmt: skip
    try:
        pour = json.loads(contents["pour.json"])
        tables = {name: list(from_csv(name, contents[f"{name}.csv"].decode())) for name in COLUMNS}
        photos = {
            name.removeprefix("photos/"): raw for name, raw in contents.items() if name.startswith("photos/")
        }
        body = contents["record.json"].decode() if pour["seal"] is not None else None
    except (ValueError, KeyError, TypeError) as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput(
            where, f"cannot be read ({error})", remedy="take the file as it was exported"
        ) from error
    digest = hashlib.sha256(contents["pour.json"]).hexdigest()
    return Bundle(str(manifest["workshop"]), pour, body, tables, photos, digest)


def verify_bundle(file: IO[bytes], *, printed: str | None = None, where: str = "the bundle") -> Verdict:
    """Proves a bundle: every row and photo, in a database of its own. Damage is told, not raised."""
    try:
        bundle = read_bundle(file, where)
    except BadInput as error:
        return Verdict(0, False, False, 0, 0, str(error), "altered", error.where)
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'proof.sqlite3'}")
        try:
            with store.write() as tx:
                pour_id = put_in(tx, bundle.pour, bundle.body, bundle.tables, 0)
                photos = Path(folder) / "photos"
                keep_photos(bundle, photos)
                verdict = verify(tx, pour_id, printed=printed, pictures=photos)
        except (NotAllowed, KeyError, ValueError, TypeError) as error:
            return Verdict(
                0, False, False, 0, 0, f"{where}: its tables do not fit each other ({error})", "altered"
            )
        finally:
            store.close()
    unlike = _unlike_manifest(file)
    if verdict.ok and unlike is not None:
        return Verdict(pour_id, False, verdict.sealed, verdict.readings, verdict.events,
                       f"{where}: {unlike} is not as it was packed", "altered", unlike)  # fmt: skip
    return verdict


def bring_in(tx: Connection, bundle: Bundle, by: str, now_ms: int) -> int:
    """Imports a sealed record that was proven; its links stay what they were. Gives its number here.

    Raises NotAllowed when it is not sealed, is here already, or does not stand.
    """
    if bundle.pour["seal"] is None:
        raise NotAllowed(
            "this record was not sealed when it was exported: close the pour there, then export it"
        )
    pour_id = put_in(tx, bundle.pour, bundle.body, bundle.tables, now_ms)
    verdict = verify(tx, pour_id)
    if not verdict.ok:
        raise NotAllowed(f"the record does not stand and is not imported: {verdict.sentence}")
    add_event(tx, pour_id, now_ms, "imported", by, f"from {bundle.workshop}",
              {"seal_sha256": verdict.seal_sha256})  # fmt: skip
    return pour_id


def keep_photos(bundle: Bundle, folder: Path) -> None:
    """Puts a bundle's photos on the disk. A name that is no photo's is refused: BadInput."""
    for name, raw in bundle.photos.items():
        put(raw, folder, name)


def _unlike_manifest(file: IO[bytes]) -> str | None:
    """The first file of a bundle that is not what its manifest says."""
    file.seek(0)
    with zipfile.ZipFile(file) as packed:
        for name, told in json.loads(packed.read("manifest.json"))["files"].items():
            if hashlib.sha256(packed.read(name)).hexdigest() != told["sha256"]:
                return str(name)
    return None


def bundle_bytes(
    connection: Connection, pour_id: int, workshop: str, photos: Path | None, now_ms: int
) -> bytes:
    """A bundle in memory."""
    held = io.BytesIO()
    write_bundle(connection, pour_id, workshop, photos, held, now_ms)
    return held.getvalue()
