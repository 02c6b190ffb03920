"""Backups of the Pi's own database: taken while it runs, verified before they count, refused when damaged.

SQLite's online backup, never a copy of the file: a copy of a live WAL database can be torn. Photos never change, so
the backups of one folder share one copy of each.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from logger.errors import StoreError
from logger.facts import fact
from logger.store import photos

#: How many backups a folder holds by default.
MOST_BACKUPS = 14
_NAME = "pourlog-{}.sqlite3"
#: What SQLite keeps beside a database while it is open, or after it was not closed.
_LOGS = ("-wal", "-shm")


@dataclass(frozen=True, slots=True)
class Backup:
    """A verified backup: its file, and what was in it."""

    path: Path
    schema: str
    pours: int
    readings: int
    chain: str  #: hash over the heads of every pour's chains
    photos: Sequence[str] = ()  #: file names of the photos that are in it
    damaged_photos: Sequence[str] = ()  #: of those that should be, but are gone or altered


def back_up(database: Path, folder: Path, now_ms: int, most: int = MOST_BACKUPS) -> Backup:
    """Write and return a verified backup of the database in that folder; afterwards only the newest `most` stay.

    Raises StoreError when the database or the folder cannot be used, or the copy does not verify.
    """
    if not database.is_file():
        raise StoreError(fact("backup-no-database", path=str(database)))
    stamp = datetime.fromtimestamp(now_ms / 1000, UTC).strftime("%Y%m%d-%H%M%S")
    path, part = folder / _NAME.format(stamp), folder / f".{stamp}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with (
            closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True, timeout=30)) as live,
            closing(sqlite3.connect(part)) as copy,
        ):
            # In one step, which is one read transaction: with WAL no writer waits for it. In several steps the copy
            # would begin anew whenever another process has written between two, and under load never end.
            live.backup(copy)
            # A file that is one file: no -wal beside it that could be lost on the way to a shelf.
            copy.execute("PRAGMA journal_mode=DELETE")
        backup = _look_into(part)
        _sync(part)
        # After the database: a photo is on the disk before anything says that it is.
        source, target = database.with_name(photos.FOLDER), folder / photos.FOLDER
        copied = photos.copy_missing(
            sorted({*photos.names_in(source), *photos.names_in(target)}), source, target
        )
        manifest = _manifest(path)
        facts = _facts(backup) | {"sha256": _digest(part), "photos": copied.there}
        manifest.write_text(json.dumps(facts), encoding="utf-8")
        _sync(manifest)
        part.replace(path)
        _sync(folder)
    except (sqlite3.Error, OSError) as error:
        part.unlink(missing_ok=True)
        raise StoreError(fact("backup-failed", path=str(path), error=str(error))) from error
    for old in sorted(folder.glob(_NAME.format("*")))[:-most]:
        _manifest(old).unlink(missing_ok=True)
        old.unlink()
    return replace(backup, path=path, photos=copied.there, damaged_photos=copied.damaged)


def check_backup(path: Path) -> Backup:
    """Return the backup, if it is whole: its bytes, its structure and its chains are as they were. Raises
    StoreError.
    """
    try:
        stated = json.loads(_manifest(path).read_text(encoding="utf-8"))
        if _digest(path) != stated["sha256"]:
            raise StoreError(fact("backup-damaged", path=str(path)))
        backup = _look_into(path)
    except (OSError, ValueError, KeyError, sqlite3.Error) as error:
        raise StoreError(fact("backup-unreadable", path=str(path), error=str(error))) from error
    if _facts(backup) != {name: stated.get(name) for name in _facts(backup)}:
        raise StoreError(fact("backup-differs", path=str(path)))
    return replace(backup, photos=stated.get("photos", []))


def restore(path: Path, database: Path) -> Backup:
    """Put a verified backup in the database's place; what was there is kept beside it as *.before-restore.

    Photos that are missing there, or damaged, are put back too; one that the backup has lost keeps nobody from the
    rest. Raises StoreError when the backup is damaged or the database is in use (the service would go on writing into
    the one that was replaced); then nothing has changed.
    """
    backup = check_backup(path)
    if database.exists():
        _close_log(database)
    part = database.with_name(f".{database.name}.part")
    try:
        database.parent.mkdir(parents=True, exist_ok=True)
        source, target = path.parent / photos.FOLDER, database.with_name(photos.FOLDER)
        copied = photos.copy_missing(backup.photos, source, target)
        shutil.copyfile(path, part)
        _sync(part)
        give_to_owner(database.parent, [part, target, *(target / name for name in copied.there)])
        if database.exists():
            _keep_aside(database)
        # A stale log would be replayed onto the restored file and corrupt it.
        for ending in _LOGS:
            database.with_name(database.name + ending).unlink(missing_ok=True)
        part.replace(database)
        _sync(database.parent)
    except OSError as error:
        raise StoreError(fact("backup-not-put-back", path=str(database), error=str(error))) from error
    return replace(backup, photos=copied.there, damaged_photos=copied.damaged)


def give_to_owner(folder: Path, paths: Sequence[Path]) -> None:
    """Give what root has put into a folder to its owner: the service, which is not root, must be able to write it."""
    if os.geteuid() == 0:
        owner = folder.stat()
        for path in paths:
            if path.exists():
                os.chown(path, owner.st_uid, owner.st_gid)


def _close_log(database: Path) -> None:
    """Take the log of a database into it. Raises StoreError when anybody has it open."""
    try:
        # Leaving WAL needs the database for oneself, which nothing else tells: who has it open may be idle.
        with closing(sqlite3.connect(database, timeout=2)) as old:
            (mode,) = old.execute("PRAGMA journal_mode=DELETE").fetchone()
            in_use = mode != "delete"
    except sqlite3.OperationalError as error:
        in_use = error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
    except sqlite3.DatabaseError:
        return  # damaged: it cannot take its log in, and both are kept aside
    if in_use:
        raise StoreError(fact("backup-database-in-use", path=str(database)))


def _keep_aside(database: Path) -> None:
    """Another name for the database as it is, with what is only in its log: at no moment is there none in its place."""
    aside = database.with_name(f"{database.name}.before-restore")
    for ending in ("", *_LOGS):
        copy, source = aside.with_name(aside.name + ending), database.with_name(database.name + ending)
        copy.unlink(missing_ok=True)
        if source.exists():
            copy.hardlink_to(source)
    _sync(database.parent)


def _look_into(path: Path) -> Backup:
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as copy:
        verdict = copy.execute("PRAGMA integrity_check").fetchone()[0]
        if verdict != "ok":
            raise StoreError(fact("backup-does-not-verify", path=str(path), verdict=str(verdict)))
        heads = copy.execute("SELECT id, reading_head, event_head FROM pour ORDER BY id").fetchall()
        return Backup(
            path,
            str(copy.execute("SELECT version_num FROM alembic_version").fetchone()[0]),
            len(heads),
            int(copy.execute("SELECT count(*) FROM reading").fetchone()[0]),
            hashlib.sha256(json.dumps(heads).encode()).hexdigest(),
        )


def _facts(backup: Backup) -> dict[str, str | int]:
    return {
        "schema": backup.schema,
        "pours": backup.pours,
        "readings": backup.readings,
        "chain": backup.chain,
    }


def _manifest(path: Path) -> Path:
    return path.with_suffix(".json")


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
