"""Makes what stands beside the tests importable, and gives them a folder in memory for files by the thousand."""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))


@pytest.fixture(scope="module")
def in_memory() -> Iterator[Path]:
    """A folder whose syncs cost nothing, where there is one."""
    shared = Path("/dev/shm")
    made = Path(tempfile.mkdtemp(prefix="pourlog-", dir=shared if shared.is_dir() else None))
    yield made
    shutil.rmtree(made)
