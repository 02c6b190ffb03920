"""What decides says it in codes (logger/facts.py): no sentence for a user stands below the rim.

A text of two words or more counts as a sentence, unless it is a docstring, a log line, SQL, or told to a programmer
(TypeError, ValueError, RuntimeError, AssertionError, an assert's message).
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.planning import works
from logger.planning.physics import panels, species

LOGGER = Path(__file__).resolve().parents[2] / "logger"
#: Rooms and files of logger/ that hold no sentence.
CLEAN: tuple[str, ...] = (
    "alarms",
    "condition",
    "live",
    "cure",
    "extremes.py",
    "planning",
    "store",
    "record",
    "probe_checks",
    "pour.py",
    "plan",
    "errors.py",
    "input_errors.py",
    "toml_text.py",
    "toml_table.py",
    "settings.py",
    "worker.py",
    "wire.py",
    "json_text.py",
)
#: Texts that are no sentence: names of units, standards and files, and what is written for programs.
ALLOWED: frozenset[str] = frozenset(
    {
        # words of a verdict, of a statement and of a record's fields, which programs read
        "link altered",
        "out of order",
        "peak below",
        "peak time",
        "relative humidity, hourly means, %",
        "PRODID:-//pour-session logger//what comes next//EN",
        "'DejaVu Sans','Noto Sans',sans-serif",
        # what `fit` and `advise` name in JSON, the kinds of a further statement, keys of a stored forecast, states of
        # hardness and of a joint, and keys of a plan file
        "working time",
        "gel time",
        "cure time",
        "hard after",
        "cup test",
        "still air, closed below",
        "free air below",
        "fan and free air below",
        "as it is",
        "underside open",
        "cooler room",
        "takes a fingernail",
        "fully cured",
        "least cured",
        "too early",
        "[resin.diffusion] ac_t_per_k",
        "[resin.diffusion] ac0 + ac_t_per_k · 273.15 K",
        # a unit of a plan's keys, and the name that a workshop has before it gives one
        "min per litre",
        "The workshop",
        # a topic that programs read, a unit, and titles of works
        "heat tools",
        "US gal",
        *(text for text in vars(works).values() if isinstance(text, str)),
        # woods and panels, as a plan file names them
        *species.NAMES,
        *panels.NAMES,
    }
)
_SVG = re.compile(r"<[a-z]+ [a-z-]+=")
_TWO_WORDS = re.compile(r"[A-Za-z]{2,}[^\w]* [^\w]*[A-Za-z]{2,}")
_SQL = re.compile(
    r"\b(SELECT|INSERT|UPDATE|DELETE|CREATE|ALTER|DROP|PRAGMA|WHERE|VACUUM|BEGIN|SET|AND|IS NOT NULL|READ|"
    r"double precision|json_to_recordset)\b"
)
_FOR_PROGRAMMERS = {
    "TypeError",
    "ValueError",
    "RuntimeError",
    "AssertionError",
    "NotImplementedError",
    "LookupError",
}
_QUIET = {"log", "logging", "warnings", "re"}


def sentences(path: Path) -> Iterator[tuple[int, str]]:
    """Yield line and text of each sentence in a module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skipped: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            skipped.add(id(node.value))  # a docstring
        called = _called(node)
        if called.partition(".")[0] in _QUIET or called in _FOR_PROGRAMMERS or isinstance(node, ast.Assert):
            skipped.update(
                id(part)
                for part in ast.walk(node)
                if not isinstance(node, ast.Assert) or part is not node.test
            )
        if called == "Field":
            # What a key of a file means: the pages of help are made of it (web/documents.py).
            skipped.update(id(word.value) for word in node.keywords if word.arg == "description")
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.JoinedStr):
            skipped.update(id(part) for part in node.values)
            text = "".join(
                str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values
            )
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        else:
            continue
        if _TWO_WORDS.search(text) and not _SQL.search(text) and not _SVG.match(text) and text not in ALLOWED:
            yield node.lineno, text


def _called(node: ast.AST) -> str:
    if not isinstance(node, ast.Call):
        return ""
    function, parts = node.func, []
    while isinstance(function, ast.Attribute):
        parts.append(function.attr)
        function = function.value
    if isinstance(function, ast.Name):
        parts.append(function.id)
    return ".".join(reversed(parts))


def modules(rooms: tuple[str, ...]) -> list[Path]:
    """Return the modules of some rooms and files."""
    found = [LOGGER / room for room in rooms]
    every = (path for top in found for path in (top.rglob("*.py") if top.is_dir() else [top]))
    return sorted(path for path in every if "migrations" not in path.parts)


@pytest.mark.parametrize("path", modules(CLEAN), ids=lambda path: str(path.relative_to(LOGGER)))
def test_what_decides_holds_no_sentence(path: Path) -> None:
    """A sentence here would be read in English and °C, whoever reads it."""
    assert [f"{line}: {text}" for line, text in sentences(path)] == []


def test_a_sentence_is_found_where_there_is_one(tmp_path: Path) -> None:
    """And a docstring, a log line and a programmer's error are none."""
    path = tmp_path / "room.py"
    path.write_text(
        '"""Doc of it."""\n'
        'log.info("no news here")\n'
        'raise ValueError("told to programmers")\n'
        'x = f"The core reads {y}."\n'
    )
    assert list(sentences(path)) == [(4, "The core reads {}.")]
