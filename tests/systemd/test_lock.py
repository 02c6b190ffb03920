"""What is locked is what pyproject.toml asks for, the same for each Python, and known by its sums."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
EXTRAS = PROJECT["project"]["optional-dependencies"]
#: An installation takes every extra but the tests'. An extra that builds on another names the project itself.
ASKED = [
    asked
    for asked in (
        *PROJECT["project"]["dependencies"],
        *(asked for extra in ("service", "postgres", "pdf", "pi") for asked in EXTRAS[extra]),
        *PROJECT["build-system"]["requires"],
    )
    if not asked.startswith(f"{PROJECT['project']['name']}[")
]


def locked() -> dict[str, tuple[Requirement, int]]:
    """Package → what is locked of it, and by how many sums."""
    text = (ROOT / "systemd" / "requirements.lock").read_text(encoding="utf-8").replace("\\\n", " ")
    found = {}
    for line in text.splitlines():
        if line and not line.startswith("#"):
            wanted, *sums = line.split("--hash=sha256:")
            requirement = Requirement(wanted.strip())
            assert all(re.fullmatch(r"[0-9a-f]{64}", one.strip()) for one in sums)
            assert canonicalize_name(requirement.name) not in found, (
                "one version of each, whatever the Python"
            )
            found[canonicalize_name(requirement.name)] = (requirement, len(sums))
    return found


@pytest.mark.parametrize("asked", ASKED)
def test_what_is_asked_for_is_locked(asked: str) -> None:
    """Changed pyproject.toml? Run bash tests/bench/make-lock"""
    wanted = Requirement(asked)
    found, _sums = locked()[canonicalize_name(wanted.name)]
    (pinned,) = found.specifier
    assert pinned.operator == "=="
    assert wanted.specifier.contains(pinned.version)
    assert found.marker is None or found.marker.evaluate()


def test_nothing_is_taken_without_a_sum_or_for_one_python_alone() -> None:
    """pip judges markers by the Python that it runs with, also where it fetches for another."""
    for name, (requirement, sums) in locked().items():
        assert sums >= 1, name
        assert "python" not in re.sub("platform_python_implementation", "", str(requirement.marker or "")), (
            name
        )
