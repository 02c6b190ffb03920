"""The table of OWASP ASVS 5.0 is whole, and what it points to is there."""

from __future__ import annotations

import ast
import importlib.util
import re
import sys
from importlib.metadata import requires, version
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from web.commands.sbom import bill

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


def test_what_is_open_is_few_and_its_reason_stands_in_the_notes(asvs: Any) -> None:
    """A second factor, a vault, and the token in a message's link: each with what makes up for it."""
    left = [row.id for row in asvs.ROWS if row.open]
    assert left == ["6.3.3", "13.3.1", "14.2.1"]
    notes = (REPO / "web" / "SECURITY.md").read_text(encoding="utf-8").partition("What is left open")[2]
    for number in left:
        reason = notes.partition(f"({number})")[2].partition("\n- **")[0]
        assert "What makes up for it" in reason, number


def test_every_library_is_listed_with_its_version() -> None:
    """What the program asks for, and what those libraries need, in a form that scanners read."""
    asked = [need for need in requires("pourlog") or [] if not re.search("extra == .(test|pi)", need)]
    assert len(asked) > 15, "a station's and the service's, which are extras"
    found = {part["purl"].split("/")[1].split("@")[0]: part for part in bill()["components"]}
    for need in asked:
        name = re.split(r"[\s;<>=!~\[]", need)[0]
        assert found[name]["version"] == version(name)
        assert found[name]["purl"] == f"pkg:pypi/{name}@{version(name)}"
    assert {"starlette", "sqlalchemy", "h11"} <= set(found), "and what they need in turn"
    assert "pytest" not in found, "what only tests need is no part of the program"
