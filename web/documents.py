"""Writes the README's tables from the program itself: commands, settings, keys of the plan file.

`python -m web.documents README.md` rewrites what stands between the markers; a test compares.
"""

from __future__ import annotations

import sys
import typing
from collections.abc import Iterator
from pathlib import Path
from types import UnionType
from typing import Any

import typer
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from logger.plan.file import Plan, unit_of
from logger.settings import Settings
from web.command import app

MARKS = "<!-- {}: written by python -m web.documents -->", "<!-- end of {} -->"


def commands_table() -> str:
    """Every command with its first sentence."""
    lines = ["| command | what it does |", "|---|---|"]
    for name, command in sorted(typer.main.get_group(app).commands.items()):
        first = (command.help or "").strip().split("\n\n")[0].replace("\n", " ")
        lines.append(f"| `pourlog {name}` | {' '.join(first.split())} |")
    return "\n".join(lines)


def settings_table() -> str:
    """Every setting with its default."""
    lines = ["| setting | default | meaning |", "|---|---|---|"]
    for name, field in _fields(Settings):
        lines.append(f"| `{name}` | {_default(field)} | {field.description or ''} |")
    return "\n".join(lines)


def plan_table() -> str:
    """Every key of the plan file with its unit and default."""
    lines = ["| key | unit | default |", "|---|---|---|"]
    for name, field in _fields(Plan):
        lines.append(f"| `{name}` | {unit_of(name.rpartition('.')[2]) or '-'} | {_default(field)} |")
    return "\n".join(lines)


def _fields(model: type[BaseModel], before: str = "") -> Iterator[tuple[str, FieldInfo]]:
    for name, field in model.model_fields.items():
        shown = field.alias or name
        inner, many = _table_in(field.annotation)
        if inner is None:
            yield f"{before}{shown}", field
        else:
            yield from _fields(inner, f"{before}{shown}{'[]' if many else ''}.")


def _table_in(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    """The model inside an annotation (Table, Table | None, list[Table]), and whether there may be several."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    arguments = typing.get_args(annotation)
    if typing.get_origin(annotation) is list:
        return _table_in(arguments[0])[0], True
    if typing.get_origin(annotation) in (typing.Union, UnionType):
        return next((found for a in arguments if (found := _table_in(a))[0] is not None), (None, False))
    return None, False


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "required"
    value = field.get_default(call_default_factory=True)
    if value is None or value in ([], ()):
        return "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


TABLES = {"commands": commands_table, "settings": settings_table, "plan keys": plan_table}


def rewritten(text: str) -> str:
    """The text with each table between its markers as it is now. Raises ValueError when a marker is missing."""
    for name, table in TABLES.items():
        start, end = (mark.format(name) for mark in MARKS)
        head, found, rest = text.partition(start)
        _old, found_end, tail = rest.partition(end)
        if not (found and found_end):
            raise ValueError(f"the markers of {name!r} are missing: {start} … {end}")
        text = f"{head}{start}\n\n{table()}\n\n{end}{tail}"
    return text


if __name__ == "__main__":
    path = Path(sys.argv[1])
    path.write_text(rewritten(path.read_text(encoding="utf-8")), encoding="utf-8")
