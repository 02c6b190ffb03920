"""The table of OWASP ASVS 5.0 is whole, and what it points to is there."""

from __future__ import annotations

import ast
import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

REPO = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def asvs() -> ModuleType:
    """The table."""
    spec = importlib.util.spec_from_file_location("asvs", Path(__file__).with_name("asvs.py"))
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules["asvs"] = made  # dataclasses look their module up
    spec.loader.exec_module(made)
    return made


@pytest.fixture(scope="module")
def tests() -> set[str]:
    """Names of all test functions of the repository."""
    trees = (ast.parse(path.read_text(encoding="utf-8")) for path in (REPO / "tests").rglob("test_*.py"))
    return {node.name for tree in trees for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_requirement_of_levels_one_and_two_has_its_row(asvs: Any) -> None:
    """70 of level 1 and 183 of level 2 (counted in the CSV of ASVS 5.0.0), each once, in their order."""
    ids = [tuple(map(int, row.id.split("."))) for row in asvs.ROWS]
    assert len(ids) == len(set(ids))
    assert sum(row.level == 1 for row in asvs.ROWS) == 70
    assert sum(row.level == 2 for row in asvs.ROWS) == 183
    per_chapter = [sum(number[0] == chapter for number in ids) for chapter in range(1, 18)]
    assert per_chapter == [27, 11, 19, 10, 9, 35, 18, 7, 7, 29, 14, 9, 13, 9, 13, 16, 7]


def test_every_row_has_one_answer_and_it_is_there(asvs: Any, tests: set[str]) -> None:
    """A test that exists, a sentence that stands in its file, or a reason in words."""
    for row in asvs.ROWS:
        answers = [bool(row.tests), row.said is not None, bool(row.not_applicable), bool(row.open)]
        assert sum(answers) == 1, row
        assert set(row.tests) <= tests, (row.id, set(row.tests) - tests)
        if row.said is not None:
            text = " ".join((REPO / row.said[0]).read_text(encoding="utf-8").replace("#:", "").split())
            assert row.said[1] in text, row


def test_what_is_open_is_few_and_said(asvs: Any) -> None:
    """Nobody reads a table that says yes to everything; nor one that says no to most."""
    left = [row.id for row in asvs.ROWS if row.open]
    assert 0 < len(left) <= 25, left
