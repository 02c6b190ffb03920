"""A section of a plan's page, between its fields and the plan file's tables: what is shown, and what was typed. Pure.

A field that is not in what was sent stays as it is, so that one question alone can be answered; so does one that nobody
changed: shown in inches it has lost digits. An empty field takes the plan's word back: the usual holds again.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from logger.errors import BadInput, BadPlan
from logger.facts import Fact
from logger.plan.file import Plan, plan_from_table, plan_to_table
from logger.words.phrase import phrase
from logger.words.reader import Reader
from logger.words.render import say
from web.views.datasheet_form import FormFields
from web.views.plan_edit import bare_degrees, parts_of, readings_from
from web.views.plan_fields import YES_NO, Field, Part, RowWords, Section, default_of, help_of, kind_of
from web.views.refused_fields import Gathered, RefusedFields
from web.views.typed import Span, litres_from, mm_from, number_from, ratio_from, single

#: Empty rows that a page offers at once; new rows that it takes at once.
EMPTY_ROWS, MOST_NEW = 1, 20
EMPTY_PAIRS = 2
#: What a row is called in a table that has no words of its own.
_ROW = RowWords(
    lambda number: phrase("Line {number}", number=number), phrase("Add a line"), phrase("Add another line")
)
#: What is refused, where nobody has written a file.
THIS_PLAN = phrase("this plan")


@dataclass(frozen=True, slots=True)
class ShownField:
    """A field as the page draws it. usual: what holds where it is empty; wrong: why it was refused."""

    name: str
    label: str
    kind: str
    value: str
    usual: str
    help: str
    choices: Sequence[tuple[str, str]] = ()
    offers: Sequence[str] = ()
    more: bool = False
    wrong: str = ""

    @property
    def anchor(self) -> str:
        """The element's id, to be linked to."""
        return anchor_of(self.name)


@dataclass(frozen=True, slots=True)
class ShownRow:
    """A row of a table; new: one that is not in the plan yet."""

    title: str
    fields: list[ShownField]
    remove: str = ""
    new: bool = False


@dataclass(frozen=True, slots=True)
class ShownPart:
    """A part of a section: its fields, or its rows."""

    part: Part
    fields: list[ShownField] = field(default_factory=list)
    rows: list[ShownRow] = field(default_factory=list)

    @property
    def wrong(self) -> bool:
        """Whether any field of it was refused."""
        return any(one.wrong for row in (ShownRow("", self.fields), *self.rows) for one in row.fields)


def anchor_of(name: str) -> str:
    """Return the id of the field of that name."""
    return f"f-{name.replace('.', '-')}"


# ---- what is shown ---------------------------------------------------------------------------------


def shown_section(
    section: Section,
    plan_table: Mapping[str, Any],
    u: Reader,
    typed: Mapping[str, str] | None = None,
    wrong: Mapping[str, str] | None = None,
) -> list[ShownPart]:
    """Return a section's parts as the page draws them. said: the plan's table; typed: what was refused, as it came."""
    draw = _Drawing(u, typed or {}, wrong or {}, plan_table)
    return [_shown_part(part, plan_table, draw) for part in section.parts]


@dataclass(frozen=True, slots=True)
class _Drawing:
    u: Reader
    typed: Mapping[str, str]
    wrong: Mapping[str, str]
    plan_table: Mapping[str, Any]

    def field(self, one: Field, name: str, path: str, value: Any, usual: Any = None) -> ShownField:
        kind = kind_of(one)
        default = default_of(path) if usual is None else usual
        return ShownField(
            name,
            _with_unit(one.label, kind, self.u),
            kind,
            self.typed.get(name, shown_value(kind, value, self.u)),
            _usual_words(one, kind, default, self.u),
            help_of(path),
            YES_NO if kind == "yes" else one.choices,
            one.offers,
            one.more,
            self.wrong.get(name, ""),
        )


def _shown_part(part: Part, plan_table: Mapping[str, Any], draw: _Drawing) -> ShownPart:
    value = _at(plan_table, part.table) if part.table else plan_table
    if part.pairs:
        pairs = _pairs_of(value)
        rows = [
            ShownRow("", [_shown_pair(part, number, column, pair, draw) for column in (0, 1)])
            for number, pair in enumerate([*pairs, *[None] * EMPTY_PAIRS])
        ]
        return ShownPart(part, rows=rows)
    if not part.rows:
        fields = [
            draw.field(
                one, _dotted(part.table, one.key), _dotted(part.table, one.key), _at(value or {}, one.key)
            )
            for one in part.fields
        ]
        return ShownPart(part, fields)
    there = list(value or [])
    rows = [_shown_row(part, number, row, draw) for number, row in enumerate(there)]
    sent = _new_rows(part, len(there), draw.typed)
    # A river lies between two slabs.
    empty = (
        2 if part.table == "slab" and not there and _at(plan_table, "pour.shape") == "river" else EMPTY_ROWS
    )
    for number in sent or range(len(there), len(there) + empty):
        rows.append(_shown_row(part, number, None, draw))
    return ShownPart(part, rows=rows)


def _shown_row(part: Part, number: int, row: Mapping[str, Any] | None, draw: _Drawing) -> ShownRow:
    usual = {} if row else usual_row(part.table, number, draw.plan_table, draw.u)
    fields = [
        draw.field(
            one,
            f"{part.table}.{number}.{one.key}",
            f"{part.table}.{one.key}",
            _at(row or {}, one.key),
            usual.get(one.key),
        )
        for one in part.fields
    ]
    words = part.row or _ROW
    title = (row or {}).get("name") or words.title(number + 1)
    if row is None:
        return ShownRow(words.add if number == 0 else words.another, fields, new=True)
    return ShownRow(title, fields, f"{part.table}.{number}.remove")


def row_title(part: Part, number: int) -> str:
    """Return what a part's row of that number, counted from 1, is called where it has no name."""
    return (part.row or _ROW).title(number)


def _shown_pair(part: Part, number: int, column: int, pair: Any, draw: _Drawing) -> ShownField:
    kind, label = part.pairs[column]
    name = f"{part.table}.{number}.{column}"
    text = "" if pair is None else shown_value(kind, pair[column], draw.u)
    return ShownField(
        name,
        _with_unit(label, kind, draw.u),
        kind,
        draw.typed.get(name, text),
        "",
        help_of(part.table) if number == 0 and column == 0 else "",
        wrong=draw.wrong.get(name, ""),
    )


def _pairs_of(value: Any) -> list[Any]:
    if isinstance(value, int | float):
        return [(0.0, value)]
    return list(value or [])


def shown_value(kind: str, value: Any, u: Reader) -> str:
    """Return a value of a plan file as a field shows it; empty where there is none."""
    if value is None:
        return ""
    if kind == "yes":
        return "yes" if value else "no"
    if kind == "mm":
        return u.bare_span(value)
    if kind == "celsius":
        return bare_degrees(value, u)
    if kind == "kg":
        return u.bare(float(f"{value / u.to_kg(1.0):.4g}"))
    if kind == "litres":
        return u.bare(float(f"{value / u.to_litres(1.0):.4g}"))
    if kind == "litres-list":
        return "; ".join(u.bare(float(f"{one / u.to_litres(1.0):.4g}")) for one in value)
    if kind == "numbers":
        return "; ".join(u.bare(one) for one in value)
    if kind == "ratio":
        return f"{u.bare(value[0])}:{u.bare(value[1])}"
    if kind == "points":
        return "\n".join(f"{u.plain_span(x)}  {u.plain_span(y)}" for x, y in value)
    return u.bare(value) if isinstance(value, int | float) else str(value)


def _with_unit(label: str, kind: str, u: Reader) -> str:
    """Return a field's label with the unit that its value is typed in."""
    units = {
        "mm": u.length_unit,
        "celsius": u.degree,
        "kg": u.mass_unit,
        "litres": u.volume_words,
        "litres-list": u.volume_words,
        "points": u.length_unit,
    }
    return phrase("{label}, {unit}", label=label, unit=units[kind]) if kind in units else label


def _usual_words(one: Field, kind: str, default: Any, u: Reader) -> str:
    """Return what holds where nothing is said; empty where the field is needed or nothing is assumed."""
    if default is None or default in ([], ()):
        return ""
    text = shown_value(kind, default, u)
    return dict(YES_NO if kind == "yes" else one.choices).get(text, text)


# ---- what was typed --------------------------------------------------------------------------------


def with_section(plan: Plan, section: Section, given: Mapping[str, str], u: Reader) -> Plan:
    """Return the plan with what was typed in a section. Raises RefusedFields, each with its words."""
    wrong = Gathered()
    table, rows = edited(plan_to_table(plan), section, given, u, wrong)
    wrong.done()
    return checked(table, section, rows)


def edited(
    plan_table: Mapping[str, Any], section: Section, given: Mapping[str, str], u: Reader, wrong: Gathered
) -> tuple[dict[str, Any], dict[str, list[int]]]:
    """Return the plan's table with what was typed, and for each table of rows which numbers its rows had in the form.

    wrong: takes the fields that cannot be read.
    """
    table, numbers = deepcopy(dict(plan_table)), {}
    for part in section.parts:
        if part.pairs:
            _edit_pairs(table, part, given, u, wrong)
        elif part.rows:
            numbers[part.table] = _edit_rows(table, part, given, u, wrong)
        else:
            for one in part.fields:
                _edit_field(
                    table, _dotted(part.table, one.key), one, _dotted(part.table, one.key), given, u, wrong
                )
    return table, numbers


def checked(
    table: dict[str, Any],
    section: Section,
    rows: Mapping[str, list[int]],
    where: str = THIS_PLAN,
) -> Plan:
    """Return the plan of an edited table. Raises RefusedFields with the field that the plan's model refuses."""
    try:
        return plan_from_table(table, where)
    except BadPlan as error:
        name = _field_of(error.path, section, rows)
        raise RefusedFields({name: refused_words(error, section)}) from error


def _edit_field(
    table: dict[str, Any],
    path: str,
    one: Field,
    name: str,
    given: Mapping[str, str],
    u: Reader,
    wrong: Gathered,
) -> None:
    if name not in given:
        return
    kind, text = kind_of(one), given[name].strip()
    if text == shown_value(kind, _at(table, path), u).strip():
        return
    if not text:
        _take_out(table, path)
        return
    value = wrong.read(name, lambda: value_of(kind, text, one, u))
    if value is not None:
        _put(table, path, value)


def value_of(kind: str, text: str, one: Field, u: Reader) -> Any:
    """Return what was typed as a plan file has it. Raises BadInput naming the field."""
    f, label = FormFields({"it": text}, u), one.label
    if kind in ("yes", "choice"):
        words = dict(YES_NO if kind == "yes" else one.choices)
        if text not in words:
            raise BadInput(label, phrase("is not one of the list"), value=text, remedy=phrase("choose again"))
        return text == "yes" if kind == "yes" else text
    if kind == "words":
        return text[:300]
    if kind == "mm":
        return _signed_mm(text, label, u)
    if kind == "celsius":
        return f.celsius("it", label)
    if kind == "kg":
        return f.kg("it", label)
    if kind == "litres":
        return round(single(litres_from(text, label, u), text, label), 6)
    if kind == "litres-list":
        return [round(single(litres_from(one, label, u), one, label), 6) for one in parts_of(text, label)]
    if kind == "numbers":
        return readings_from(text, label, u)
    if kind == "ratio":
        return list(ratio_from(text, u)[:2])
    if kind == "points":
        return _points(text, label, u)
    number = number_from(text, label, u)
    if kind != "whole":
        return number
    if number != int(number):
        raise BadInput(label, phrase("is not a whole number"), value=text, remedy=phrase("count them"))
    return int(number)


def _signed_mm(text: str, label: str, u: Reader) -> float:
    # A place along an edge may be 0 or lie before the mark; every other length is kept above 0 by the plan itself.
    return round(_middle(mm_from(text, label, u, signed=True)), 3)


def _middle(value: Span) -> float:
    return sum(value) / 2 if isinstance(value, tuple) else value


def _points(text: str, label: str, u: Reader) -> list[list[float]]:
    points = []
    for number, line in enumerate((line.strip() for line in text.splitlines()), start=1):
        parts = [part for part in re.split(r"[;\s]+|,(?=\s)", line) if part]
        if not parts:
            continue
        if len(parts) != 2:
            raise BadInput(
                phrase("{label}, line {number}", label=label, number=number),
                phrase("is not two numbers"),
                value=line,
                remedy=phrase("give across and along, as 120 450"),
            )
        points.append(
            [round(u.to_mm(number_from(part, label)), 3) for part in parts]
        )  # as the drawing writes them
    return points


def _edit_rows(
    table: dict[str, Any], part: Part, given: Mapping[str, str], u: Reader, wrong: Gathered
) -> list[int]:
    there: list[dict[str, Any]] = list(_at(table, part.table) or [])
    rows_left: list[tuple[int, dict[str, Any]]] = []
    for number, row in enumerate(there):
        if given.get(f"{part.table}.{number}.remove"):
            continue
        rows_left.append((number, _edited_row(row, part, number, given, u, wrong)))
    rows_left += [
        (number, usual_row(part.table, number, table, u) | _edited_row({}, part, number, given, u, wrong))
        for number in _new_rows(part, len(there), given)
    ]
    if part.sort and all(isinstance(row.get(part.sort), int | float) for _, row in rows_left):
        rows_left.sort(key=lambda one: one[1][part.sort])
    if rows_left or there:
        _put(table, part.table, [row for _, row in rows_left])
    return [number for number, _ in rows_left]


def _edited_row(
    row: Mapping[str, Any], part: Part, number: int, given: Mapping[str, str], u: Reader, wrong: Gathered
) -> dict[str, Any]:
    copy = deepcopy(dict(row))
    for one in part.fields:
        _edit_field(copy, one.key, one, f"{part.table}.{number}.{one.key}", given, u, wrong)
    return copy


def _new_rows(part: Part, there: int, given: Mapping[str, str]) -> list[int]:
    """Return the numbers of the rows that are not in the plan yet and in which something was typed."""
    return [
        number
        for number in range(there, there + MOST_NEW)
        if any(given.get(f"{part.table}.{number}.{one.key}", "").strip() for one in part.fields)
    ]


def usual_row(table: str, number: int, plan_table: Mapping[str, Any], u: Reader) -> dict[str, Any]:
    """Return what a new row of a table is taken to be where nobody says otherwise; its name in the reader's words."""
    if table == "void":
        return {"name": say(phrase("hole {number}", number=number + 1), u)}
    if table != "slab":
        return {}
    names = (phrase("left slab"), phrase("right slab"))
    name = names[number] if number < len(names) else phrase("slab {number}", number=number + 1)
    depths = [
        _at(plan_table, "pour.depth_mm"),
        *(layer.get("depth_mm") for layer in plan_table.get("layer", [])),
    ]
    row = {
        "name": say(name, u),
        "thickness_mm": sum(depth for depth in depths if depth is not None) or None,
        "width_mm": _at(plan_table, "form.side.thickness_mm") or default_of("form.side.thickness_mm"),
        "length_mm": _at(plan_table, "pour.length_mm"),
    }
    return {key: value for key, value in row.items() if value is not None}


def _edit_pairs(
    table: dict[str, Any], part: Part, given: Mapping[str, str], u: Reader, wrong: Gathered
) -> None:
    if not any(name.startswith(f"{part.table}.") for name in given):
        return
    before = _pairs_of(_at(table, part.table))
    pairs: list[list[Any]] = []
    number = 0
    while f"{part.table}.{number}.0" in given or f"{part.table}.{number}.1" in given:
        pair = _pair(part, number, before, given, u, wrong)
        if pair is not None:
            pairs.append(pair)
        number += 1
    # Lines are put in order; two with the same beginning are refused by the plan itself.
    if all(isinstance(pair[0], int | float) for pair in pairs):
        pairs.sort(key=lambda pair: pair[0])
    if part.table == "air.room_c" and len(pairs) == 1:
        _put(table, part.table, pairs[0][1])
    elif pairs:
        _put(table, part.table, pairs)
    else:
        _take_out(table, part.table)


def _pair(
    part: Part, number: int, before: list[Any], given: Mapping[str, str], u: Reader, wrong: Gathered
) -> list[Any] | None:
    names = [f"{part.table}.{number}.{column}" for column in (0, 1)]
    texts = [given.get(name, "").strip() for name in names]
    if not any(texts):
        return None
    was = before[number] if number < len(before) else (None, None)
    pair: list[Any] = []
    for column, (name, text) in enumerate(zip(names, texts, strict=True)):
        kind, label = part.pairs[column]
        if not text:
            wrong.refuse(
                name,
                phrase(
                    "{label} is missing on this line. Fill it in, or empty the other field, too.", label=label
                ),
            )
            return None
        if text == shown_value(kind, was[column], u):
            pair.append(was[column])
            continue
        value = wrong.read(name, partial(value_of, kind, text, Field("", label), u))
        if value is None:
            return None
        pair.append(value)
    return pair


def usual_part(section: Section, plan_table: Mapping[str, Any]) -> dict[str, Any]:
    """Return what of a plan's table belongs to the shop, by a section's `usual` keys."""
    part: dict[str, Any] = {}
    for path in section.usual:
        value = _at(plan_table, path)
        # A night's schedule is of one night; how the room usually is is where it begins.
        if path == "air.room_c" and isinstance(value, list):
            value = value[0][1]
        if value is not None:
            _put(part, path, deepcopy(value))
    return part


def with_usual_part(
    usual: Mapping[str, Any], section: Section, plan_table: Mapping[str, Any]
) -> dict[str, Any]:
    """Return the shop's usual things with a section's in the place of what was there."""
    rows_left = deepcopy(dict(usual))
    for path in section.usual:
        _take_out(rows_left, path)
        value = _at(usual_part(section, plan_table), path)
        if value is not None:
            _put(rows_left, path, value)
    return rows_left


# ---- where a refused value belongs -----------------------------------------------------------------


def _field_of(path: Sequence[str], section: Section, rows: Mapping[str, list[int]]) -> str:
    """Return the name of the field that a place of the plan file belongs to, else the section's own name."""
    words = [str(part) for part in path]
    for part in section.parts:
        tables = part.table.split(".") if part.table else []
        if words[: len(tables)] != tables:
            continue
        rest = words[len(tables) :]
        if part.rows and rest and rest[0].isdigit():
            numbers = rows.get(part.table, [])
            number = numbers[int(rest[0])] if int(rest[0]) < len(numbers) else int(rest[0])
            key = ".".join(rest[1:])
            first = part.fields[0].key
            return f"{part.table}.{number}.{key if key in {one.key for one in part.fields} else first}"
        if part.pairs:
            return f"{part.table}.{rest[0] if rest and rest[0].isdigit() else 0}.0"
        if not part.rows and ".".join(rest) in {one.key for one in part.fields}:
            return _dotted(part.table, ".".join(rest))
    for part in section.parts:
        if part.table and words[: part.table.count(".") + 1] == part.table.split(".") and part.fields:
            return _dotted(part.table, ("0." if part.rows else "") + part.fields[0].key)
    return section.name


def refused_words(error: BadPlan, section: Section) -> Fact:
    """Return what the plan's model refuses, for a maker at a form: without the file's names of things, its range in
    the reader's own unit."""
    key = str(error.path[-1]) if error.path else ""
    label = next(
        (one.label for part in section.parts for one in part.fields if one.key.rsplit(".", 1)[-1] == key), ""
    )
    reason, allowed = error.reason, error.allowed
    if isinstance(reason, Fact) and reason.code == "input-missing":
        return phrase("{label} is missing: fill it in, or leave the whole of it empty.", label=label or key)
    if label and allowed:
        return phrase("{label}: {reason}; it may be {allowed}.", label=label, reason=reason, allowed=allowed)
    if label:
        return phrase("{label}: {reason}.", label=label, reason=reason)
    if allowed:
        return phrase("{reason}; it may be {allowed}.", reason=reason, allowed=allowed)
    return phrase("{reason}.", reason=reason)


# ---- tables in tables ------------------------------------------------------------------------------


def _dotted(table: str, key: str) -> str:
    return f"{table}.{key}" if table else key


def _at(table: Any, path: str) -> Any:
    for part in path.split("."):
        table = table.get(part) if isinstance(table, Mapping) else None
    return table


def _put(table: dict[str, Any], path: str, value: Any) -> None:
    *tables, key = path.split(".")
    for part in tables:
        table = table.setdefault(part, {})
    table[key] = value


def _take_out(table: dict[str, Any], path: str) -> None:
    """Take a key out, and the tables that nothing is left in."""
    first, _, rest = path.partition(".")
    if first not in table:
        return
    if rest:
        _take_out(table[first], rest)
        if not table[first]:
            del table[first]
    else:
        del table[first]
