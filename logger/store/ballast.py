"""A file that only takes up room: given up when the disk is full, so that alarms and readings still have some.

16 MB are some 60,000 readings, or half a day of six probes at their quickest (measured: about 250 bytes a reading).
"""

from __future__ import annotations

import logging
import os
import shutil
from pathlib import Path

log = logging.getLogger(__name__)

SIZE_BYTES = 16_000_000
#: The reserve is laid up only where so much is free beside it: a disk that is low anyway keeps what it has, bytes.
BESIDE_BYTES = 200_000_000


class Ballast:
    """The reserve of one folder."""

    def __init__(self, folder: Path, size_bytes: int = SIZE_BYTES, beside_bytes: int = BESIDE_BYTES) -> None:
        self._path = folder / "reserve.bin"
        self._size = size_bytes
        self._beside = beside_bytes

    @property
    def is_whole(self) -> bool:
        """Whether it is there, whole."""
        try:
            return self._path.stat().st_size == self._size
        except OSError:
            return False

    def lay_up(self) -> bool:
        """Lay it up if there is room; return whether it is there then."""
        if self.is_whole:
            return True
        try:
            if shutil.disk_usage(self._path.parent).free < self._size + self._beside:
                return False
            with self._path.open("wb") as file:
                os.posix_fallocate(file.fileno(), 0, self._size)
        except OSError as error:
            log.warning("the reserve of %d MB cannot be laid up: %s", self._size // 1_000_000, error)
            self._path.unlink(missing_ok=True)
            return False
        return True

    def give_up(self) -> bool:
        """Make its room free; whether there was any."""
        try:
            self._path.unlink()
        except OSError:
            return False
        log.critical("the disk is full: the reserve of %d MB is used now", self._size // 1_000_000)
        return True
