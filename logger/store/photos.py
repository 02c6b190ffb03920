"""The files of photos: each named by the SHA-256 of its bytes, so that every copy proves itself.

A photo's name comes from a record, and a record may come from anybody: here alone it becomes a path.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from logger.errors import BadInput
from logger.facts import fact

#: Below the data folder, and below a folder of backups.
FOLDER = "photos"
#: Kinds of picture → how their files end. New ones are JPEG; the others were kept by earlier programs.
KINDS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}
_SHA256 = re.compile(r"[0-9a-f]{64}")
_NAME = re.compile(rf"({_SHA256.pattern})\.(?:{'|'.join(KINDS.values())})")


@dataclass(frozen=True, slots=True)
class Copied:
    """What a copy of photos came to. File names."""

    there: Sequence[str]
    damaged: Sequence[str]  #: gone, or their bytes are no longer what their name says


def is_name(name: object) -> bool:
    """Whether this is the name of a photo's file."""
    return isinstance(name, str) and _NAME.fullmatch(name) is not None


def path_of(folder: Path, sha256: object) -> Path | None:
    """Return the file of the photo with that hash; None where there is none, or where it is no hash at all."""
    if not isinstance(sha256, str) or not _SHA256.fullmatch(sha256):
        return None
    there = (folder / f"{sha256}.{ending}" for ending in KINDS.values())
    return next((path for path in there if path.is_file()), None)


def is_whole(path: Path) -> bool:
    """Whether a photo's file holds the bytes that its name promises. Raises OSError."""
    match = _NAME.fullmatch(path.name)
    if match is None or not path.is_file():
        return False
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == match[1]


def put(raw: bytes, folder: Path, name: str) -> None:
    """Write a photo's bytes under its name, on the disk when this returns: a record may point to it.

    Raises OSError; BadInput where it is no photo's name.
    """
    if not is_name(name):
        raise BadInput(
            f"photos/{name}",
            fact("not-a-photos-name"),
            allowed=fact("photos-names"),
            remedy=fact("take-file-as-exported"),
        )
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
    """Return the names of all photos in a folder, sorted; none if there is no folder."""
    if not folder.is_dir():
        return []
    return sorted(path.name for path in folder.iterdir() if _NAME.fullmatch(path.name))


def copy_missing(names: Iterable[str], source: Path, target: Path) -> Copied:
    """Put those photos of `source` into `target` that are not there yet, or not whole. Raises OSError."""
    there, damaged = [], []
    for name in names:
        if not is_name(name):
            damaged.append(name)
            continue
        if not is_whole(target / name):
            if not is_whole(source / name):
                damaged.append(name)
                continue
            put((source / name).read_bytes(), target, name)
        there.append(name)
    return Copied(there, damaged)
