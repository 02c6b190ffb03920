"""A record's bundle in memory, and the verdict on one, for tests that hold no file."""

from __future__ import annotations

import io
import shutil
import tempfile
from pathlib import Path
from typing import IO

from sqlalchemy import Connection

from logger.record.bundle import prove, write_bundle
from logger.record.verify import Verdict


def bundle_bytes(
    connection: Connection, pour_id: int, workshop: str, photos: Path | None, now_ms: int
) -> bytes:
    """Return a bundle in memory."""
    packed = io.BytesIO()
    write_bundle(connection, pour_id, workshop, photos, packed, now_ms)
    return packed.getvalue()


def verify_bundle(file: IO[bytes], *, printed: str | None = None, where: str = "the bundle") -> Verdict:
    """Prove a bundle that is at hand. Damage is told, not raised."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bundle.zip"
        with path.open("wb") as out:
            shutil.copyfileobj(file, out)
        return prove(path, Path(folder), where, printed)
