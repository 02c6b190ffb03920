"""The files of photos: each named by the SHA-256 of its bytes, so that every copy proves itself."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

#: Below the data folder, and below a folder of backups.
FOLDER = "photos"
_NAME = re.compile(r"([0-9a-f]{64})\.(?:jpg|png|webp)")


@dataclass(frozen=True, slots=True)
class Copied:
    """What a copy of photos came to. File names."""

    there: Sequence[str]
    damaged: Sequence[str]  #: gone, or their bytes are no longer what their name says


def put(raw: bytes, folder: Path, name: str) -> None:
    """A photo's bytes under its name, on the disk when this returns: a record may point to it. Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    part = folder / f".{name}.part"
    try:
        with part.open("wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        part.replace(folder / name)
    except OSError:
        part.unlink(missing_ok=True)
        raise
    # The name is on the disk only when its folder is, and the folder only when its own folder is.
    for named_in in (folder, folder.parent):
        handle = os.open(named_in, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def names_in(folder: Path) -> list[str]:
    """The names of all photos in a folder, sorted; none if there is no folder."""
    if not folder.is_dir():
        return []
    return sorted(path.name for path in folder.iterdir() if _NAME.fullmatch(path.name))


def copy_missing(names: Iterable[str], source: Path, target: Path) -> Copied:
    """Puts those photos of `source` into `target` that are not there yet, or not whole. Raises OSError."""
    there, damaged = [], []
    for name in names:
        if not _whole(target / name):
            if not _NAME.fullmatch(name) or not _whole(source / name):
                damaged.append(name)
                continue
            put((source / name).read_bytes(), target, name)
        there.append(name)
    return Copied(there, damaged)


def _whole(path: Path) -> bool:
    found = _NAME.fullmatch(path.name)
    if found is None or not path.is_file():
        return False
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == found[1]
