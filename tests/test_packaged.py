"""What the program reads beside its code goes into what is installed: a checkout has every file, a wheel only these."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
#: Files for developers that no installation reads.
FOR_DEVELOPERS = {"web/SECURITY.md"}
PATTERNS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"][
    "package-data"
]


@pytest.mark.parametrize("package", ["logger", "web"])
def test_every_file_beside_the_code_is_in_the_package(package: str) -> None:
    """A page that reads a file of its own would fail on the Pi alone."""
    files = (
        path for path in (ROOT / package).rglob("*") if path.is_file() and "__pycache__" not in path.parts
    )
    beside = {str(path.relative_to(ROOT)) for path in files if path.suffix != ".py"}
    packed = {
        str(path.relative_to(ROOT))
        for pattern in PATTERNS[package]
        for path in (ROOT / package).glob(pattern)
    }
    assert beside - packed - FOR_DEVELOPERS == set()
