"""Writes the help pages from the program itself: commands, settings, station file, plan file.

`python -m web.documents` rewrites web/help/*.md, and the table of alarms (web/alarm_document.py); the app shows the
pages at /help, the README links them, and a test compares. Words that a model does not have (plan file, station file)
stand in a TOML file beside the page.
"""

from __future__ import annotations

import tomllib
import typing
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from types import UnionType
from typing import Any

import typer
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from logger.plan.file import DEEPEST_MM, MOST_LAYERS, MOST_ROWS, MOST_STRETCHES, Plan, unit_of
from logger.plan.planning_tables import MOST_POINTS
from logger.plan.toml_bounds import MOST_CHARACTERS
from logger.settings import Settings
from web.alarm_document import TABLE, table_markdown
from web.command import app

HELP = Path(__file__).resolve().parent / "help"
NOTICE = "<!-- Written by python -m web.documents; do not edit by hand. -->"
COLUMNS = ("name", "meaning", "unit", "default", "allowed")

SETTINGS_LEAD = (
    "One TOML file, given to `pourlog serve`; installed, it is `/etc/pourlog/service.toml`. Every setting may be left "
    "out. Unknown names are refused. Restart the service after a change."
)
STATION_LEAD = (
    "The page of probes writes it, or `pourlog place-probes`; installed, it is `/etc/pourlog/station.toml`. "
    '`hardware = "pi"` reads the kernel\'s files, `hardware = "bench"` plays invented temperatures, and neither is '
    "ever taken in the other's place. Tables in two brackets may come several times. Restart the station after a "
    "change."
)
PLAN_LEAD = (
    "Every page and command reads and writes this one TOML form; the form of a new pour fills it in for you. Tables in "
    "two brackets may come several times.\n\n"
    "Where a plan is silent or varies, the hotter case is predicted, and said: a form of which `form.underside` says "
    "nothing stands on a bench; the widest section of an outline, with its edges' undercut, stands for the whole. "
    f"A plan has at most {MOST_CHARACTERS:,} characters, {MOST_LAYERS} layers ({DEEPEST_MM:,.0f} mm together), "
    f"{MOST_STRETCHES} stretches each of fan and heat, {MOST_ROWS} rows of a room's schedule and {MOST_POINTS} points "
    "of an outline; more is refused before it is solved."
)
COMMANDS_LEAD = (
    "Every command that answers takes `--json`. Exit codes: 0 done; 2 the input was refused (the message says where, "
    "what was found, what is allowed and what to do; nothing was stored); 1 anything else. "
    "`--units` (metric, us) and `--language` (en, de, es, fr), before or behind a command, say how it answers; "
    "JSON stays metric. `pourlog --install-completion` sets up the shell's completion."
)


def pages() -> dict[str, str]:
    """Every help page by its file's name."""
    return {
        "commands.md": commands_page(),
        "settings.md": settings_page(),
        "station-file.md": station_page(),
        "plan-file.md": plan_page(),
    }


def commands_page() -> str:
    """Every command with what it does, its arguments and options, and an example."""
    parts = []
    for name, command in sorted(typer.main.get_group(app).commands.items()):
        first, _, rest = (command.help or "").strip().partition("\n\n")
        rows = [_parameter(parameter) for parameter in command.params if parameter.name != "help"]
        parts += [f"## pourlog {name}", _one_line(first)]
        if rows:
            parts.append(_table(("name", "meaning", "default"), rows))
        if rest:
            parts.append(_one_line(rest))
    return _page("Commands", COMMANDS_LEAD, parts)


def settings_page() -> str:
    """Every setting with its meaning, unit, default and range."""
    words = {name: field.description or "" for name, field in _fields(Settings)}
    return _page("Settings of the service", SETTINGS_LEAD, _sections(Settings, words))


def plan_page() -> str:
    """Every key of the plan file with its meaning, unit, default and range. Raises KeyError for a key without words."""
    words = _flat(tomllib.loads((HELP / "plan-file.toml").read_text(encoding="utf-8")))
    keys = [name.replace("[]", "") for name, _ in _fields(Plan)]
    if left_over := sorted(set(words) - set(keys)):
        raise KeyError(f"plan-file.toml has words for what is no key: {', '.join(left_over)}")
    return _page("The plan file", PLAN_LEAD, _sections(Plan, words))


def station_page() -> str:
    """Every name of a station file with its meaning, unit, default and range."""
    tables = tomllib.loads((HELP / "station-file.toml").read_text(encoding="utf-8"))
    top = {name: value for name, value in tables.items() if isinstance(value, list)}
    parts = [_table(COLUMNS, _station_rows(top))]
    for name, table in tables.items():
        if isinstance(table, dict):
            heading = f"[[{name}]]" if name in ("probe", "air", "thermocouple") else f"[{name}]"
            parts += [f"## {heading}", _table(COLUMNS, _station_rows(table))]
    return _page("The station file", STATION_LEAD, parts)


def _station_rows(table: Mapping[str, Sequence[str]]) -> Iterator[tuple[str, ...]]:
    for name, (meaning, unit, default, allowed) in table.items():
        yield f"`{name}`", meaning, unit, default, allowed


def _page(title: str, lead: str, parts: Iterable[str]) -> str:
    return "\n\n".join([f"# {title}", NOTICE, lead, *parts]) + "\n"


def _table(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [_row(columns), "|" + "---|" * len(columns)]
    lines += [_row([cell.replace("|", "\\|") for cell in row]) for row in rows]
    return "\n".join(lines)


def _row(cells: Sequence[str]) -> str:
    return " ".join(["|", " | ".join(cells), "|"])


def _sections(model: type[BaseModel], words: Mapping[str, str]) -> list[str]:
    """Return a table of keys for each table of a file, in the file's own order."""
    tables: dict[str, list[tuple[str, ...]]] = {}
    leads = dict(_tables(model))
    for name, field in _fields(model):
        table, _, key = name.rpartition(".")
        row = (
            f"`{key}`",
            _sentence(words[name.replace("[]", "")]),
            unit_of(key),
            _default(field),
            _allowed(field),
        )
        tables.setdefault(table, []).append(row)
    parts = []
    for table, rows in tables.items():
        if table:
            # TOML writes the table of a list's entry in two brackets, and a table inside one in one.
            plain = table.replace("[]", "")
            parts += [f"## [[{plain}]]" if table.endswith("[]") else f"## [{plain}]", leads[table]]
        parts.append(_table(COLUMNS, rows))
    return parts


def _parameter(parameter: Any) -> tuple[str, str, str]:
    """Return an argument or option, its help and its default."""
    if parameter.param_type_name == "argument":
        name = parameter.metavar or (parameter.name or "").upper()
    else:
        name = ", ".join([*parameter.opts, *parameter.secondary_opts])
    plain = parameter.default is None or parameter.default is False or parameter.default == ""
    default = "required" if parameter.required else "" if plain else str(parameter.default)
    return f"`{name}`", _one_line(getattr(parameter, "help", None) or ""), default


def _fields(model: type[BaseModel], before: str = "") -> Iterator[tuple[str, FieldInfo]]:
    """Every key of a file by its full name; a list of tables is marked []. A table's own keys come first."""
    inner_tables = []
    for name, field in model.model_fields.items():
        shown = field.alias or name
        inner, many = _table_in(field.annotation)
        if inner is None:
            yield f"{before}{shown}", field
        else:
            inner_tables.append((inner, f"{before}{shown}{'[]' if many else ''}."))
    for inner, prefix in inner_tables:
        yield from _fields(inner, prefix)


def _tables(model: type[BaseModel], before: str = "") -> Iterator[tuple[str, str]]:
    """Every table of a file by its full name, with what its model says of itself."""
    for name, field in model.model_fields.items():
        inner, many = _table_in(field.annotation)
        if inner is not None:
            full = f"{before}{name}{'[]' if many else ''}"
            yield full, "\n\n".join(_one_line(part) for part in (inner.__doc__ or "").split("\n\n"))
            yield from _tables(inner, f"{full}.")


def _table_in(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    """Return the model inside an annotation (Table, Table | None, list[Table]), and whether there may be several."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    arguments = typing.get_args(annotation)
    if typing.get_origin(annotation) is list:
        return _table_in(arguments[0])[0], True
    if typing.get_origin(annotation) in (typing.Union, UnionType):
        return next((inner for a in arguments if (inner := _table_in(a))[0] is not None), (None, False))
    return None, False


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "required"
    value = field.get_default(call_default_factory=True)
    if value is None or value in ([], ()):
        return "none"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return ", ".join(f"{item:g}" if isinstance(item, float) else str(item) for item in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _allowed(field: FieldInfo) -> str:
    """Return what a key takes: its choices, or its range; empty for free text."""
    if choices := _choices(field.annotation):
        return ", ".join(choices)
    if field.annotation is bool:
        return "true, false"
    bounds = _bounds(field.metadata) or _bounds_inside(field.annotation)
    low, high = bounds.get("ge", bounds.get("gt")), bounds.get("le", bounds.get("lt"))
    if low is None:
        return ""
    if high is None:
        return f"above {low:g}" if "gt" in bounds else f"from {low:g}"
    over = "above " if "gt" in bounds else ""
    return f"{over}{_number(low)} to {'below ' if 'lt' in bounds else ''}{_number(high)}"


def _number(value: float) -> str:
    return f"{value:,.0f}" if value == int(value) else f"{value:g}"


def _choices(annotation: Any) -> list[str]:
    if typing.get_origin(annotation) is typing.Literal:
        return [str(choice) for choice in typing.get_args(annotation)]
    return next((choices for part in typing.get_args(annotation) if (choices := _choices(part))), [])


def _bounds(metadata: Iterable[Any]) -> dict[str, float]:
    return {
        name: value
        for part in metadata
        for name in ("gt", "ge", "lt", "le")
        if (value := getattr(part, name, None)) is not None
    }


def _bounds_inside(annotation: Any) -> dict[str, float]:
    """Return the bounds of the first number inside an annotation, such as that of `Temperature | None`."""
    metadata = [
        item for extra in getattr(annotation, "__metadata__", ()) for item in getattr(extra, "metadata", ())
    ]
    if bounds := _bounds(metadata):
        return bounds
    return next((bounds for part in typing.get_args(annotation) if (bounds := _bounds_inside(part))), {})


def _flat(table: Mapping[str, Any], before: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    for name, value in table.items():
        flat |= _flat(value, f"{before}{name}.") if isinstance(value, dict) else {f"{before}{name}": value}
    return flat


def _sentence(text: str) -> str:
    """Words as a sentence."""
    text = text.strip()
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}" if text else ""


def _one_line(text: str) -> str:
    return " ".join(text.split())


if __name__ == "__main__":
    for name, text in pages().items():
        (HELP / name).write_text(text, encoding="utf-8")
    TABLE.write_text(table_markdown(), encoding="utf-8")
