"""Facts: what a decision says, as a code with named values; words are made of it at the rim (logger/words).

A fact is text, because it goes where text goes: a column, a queue, JSON, a sealed record. That text is a JSON object,
`{"say": "core-over-limit", "core": [63.625, "°C", 1]}`, and is the same for the same code and values. A value is

- a `Quantity`: an array of number, unit, decimals to show, "+" where a plus sign is shown, "most" or "least" where it
  is a bound;
- a name that somebody gave (text, shown as it is), or a count (an integer);
- another fact, or several values, which are listed.

Nothing here knows a language or a unit that a reader prefers.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from functools import cache
from typing import Any, TypeAlias

#: The member of a fact's JSON object that holds its code.
CODE = "say"
#: How a fact's text begins.
BEGINS = f'{{"{CODE}": '
#: In a quantity's array: it is shown with a plus sign.
_SIGN = "+"
#: Decimals that a quantity keeps at most: finer than any probe, so that a reader's units are rounded once.
KEPT_DECIMALS = 3
#: Facts within facts, and the largest number of a quantity, that a kept text may have: anybody may have typed it.
DEEPEST = 50
LARGEST = 1e13


class Kind(StrEnum):
    """What a quantity is of: a difference of temperatures is converted as no temperature is."""

    TEMPERATURE = "temperature"
    DIFFERENCE = "difference"
    RATE = "rate"
    LENGTH = "length"
    VOLUME = "volume"
    MASS = "mass"
    TIME = "time"
    MOMENT = "moment"
    CHANCE = "chance"
    OTHER = "other"


#: A quantity's unit → its kind; any other unit is shown as it is.
KINDS: dict[str, Kind] = {
    "°C": Kind.TEMPERATURE,
    "K": Kind.DIFFERENCE,
    "K/h": Kind.RATE,
    "mm": Kind.LENGTH,
    "L": Kind.VOLUME,
    "mL": Kind.VOLUME,
    "kg": Kind.MASS,
    "g": Kind.MASS,
    "h": Kind.TIME,
    "min": Kind.TIME,
    "s": Kind.TIME,
    "ms": Kind.MOMENT,
    "chance": Kind.CHANCE,
}


class Bound(StrEnum):
    """Whether a quantity is the most or the least of something."""

    NONE = ""
    MOST = "most"
    LEAST = "least"


class Quantity(str):
    """A number with its unit. As text it is a mark in braces that the renderer knows.

    value: in `unit` (SI, °C, mm, L, kg, g, h, min, s; "ms": a moment, milliseconds since 1970 UTC; "chance": 0 to 1;
    any other unit is shown as it is). digits: decimals to show; None: three figures. signed: with a plus sign. bound:
    what it is the most or the least of, so that no reader's unit rounds it to the wrong side.
    """

    __slots__ = ("bound", "digits", "signed", "unit", "value")
    value: float
    unit: str
    digits: int | None
    signed: bool
    bound: Bound

    def __new__(
        cls,
        value: float,
        unit: str,
        digits: int | None = None,
        *,
        signed: bool = False,
        bound: Bound = Bound.NONE,
    ) -> Quantity:
        """Return the quantity; its value is kept to a thousandth where decimals are given."""
        value = float(value)  # as it comes back from JSON
        kept = round(value, KEPT_DECIMALS) + 0.0 if digits is not None and math.isfinite(value) else value
        made = super().__new__(cls, _mark(kept, unit, digits, signed=signed))
        made.value, made.unit, made.digits, made.signed, made.bound = kept, unit, digits, signed, bound
        return made

    @property
    def kind(self) -> Kind:
        """What it is of."""
        return KINDS.get(self.unit, Kind.OTHER)

    def __reduce__(self) -> tuple[Callable[..., Quantity], tuple[Any, ...]]:
        """From another process it comes as it was."""
        return _quantity, (self.value, self.unit, self.digits, self.signed, self.bound)


class Fact(str):
    """A code with named values. Equal to another of the same code and values."""

    __slots__ = ("code", "values")
    code: str
    values: Mapping[str, Value]

    def __new__(cls, code: str, values: Mapping[str, Value]) -> Fact:
        """Return the fact."""
        body = {CODE: code} | {name: _as_json(value) for name, value in values.items()}
        made = super().__new__(cls, json.dumps(body, ensure_ascii=False))
        made.code, made.values = code, dict(values)
        return made

    def __reduce__(self) -> tuple[Callable[..., Fact], tuple[Any, ...]]:
        """From another process it comes as it was."""
        return Fact, (self.code, dict(self.values))


Value: TypeAlias = "Quantity | Fact | str | int | tuple[Value, ...]"
#: What a decision that has nothing to say says.
NOTHING = ""


def fact(code: str, /, **values: Value | Sequence[Value]) -> Fact:
    """Return a fact of this code with these values."""
    return Fact(code, {name: _frozen(value) for name, value in values.items()}) if values else _bare(code)


@cache
def _bare(code: str) -> Fact:
    return Fact(code, {})


def in_a_row(texts: Sequence[str]) -> str:
    """Return sentences that follow one another as one text; NOTHING where there is none."""
    if not texts:
        return NOTHING
    first, *rest = texts
    return fact("in-a-row", first=first, rest=in_a_row(rest)) if rest else first


def some_of(names: Sequence[str], most: int) -> str:
    """Return names or numbers, and how many more there are than can be listed."""
    first = ", ".join(names[:most])
    return first if len(names) <= most else fact("and-more", first=first, more=len(names) - most)


def _frozen(value: Any) -> Value:
    return tuple(_frozen(one) for one in value) if isinstance(value, list | tuple) else value


def _as_json(value: Value) -> Any:
    if isinstance(value, Quantity):
        return [
            value.value,
            value.unit,
            value.digits,
            *([_SIGN] if value.signed else []),
            *filter(None, [value.bound]),
        ]
    if isinstance(value, Fact):
        return {CODE: value.code} | {name: _as_json(one) for name, one in value.values.items()}
    if isinstance(value, tuple):
        return {"all": [_as_json(one) for one in value]}
    return value


def _from_json(value: Any, within: int) -> Value:
    if isinstance(value, dict) and CODE in value:
        return from_table(value, within)
    if isinstance(value, dict):
        return tuple(_from_json(one, within - 1) for one in value["all"])
    if isinstance(value, list):
        number, unit, digits, *more = value
        if not math.isfinite(number) or abs(number) > LARGEST or (digits or 0) not in range(10):
            raise ValueError("no quantity")
        bounds = [Bound(word) for word in more if word != _SIGN]
        return _quantity(number, unit, digits, _SIGN in more, bounds[0] if bounds else Bound.NONE)
    return str(value) if not isinstance(value, int) else value


def from_table(table: Mapping[str, Any], within: int = DEEPEST) -> Fact:
    """Return the fact of a JSON object. Raises LookupError, TypeError or ValueError for what is none, or is deeper than
    any fact.
    """
    if within <= 0:
        raise ValueError("deeper than any fact")
    values = {name: _from_json(value, within - 1) for name, value in table.items() if name != CODE}
    return Fact(str(table[CODE]), values)


def fact_at(text: str, begin: int) -> tuple[Fact | None, int]:
    """Return the fact whose text begins at `begin`, and where it ends; None and `begin` where there is none.

    A text of before, or one that somebody typed, is never taken for a fact that it is not: it stays as it is.
    """
    try:
        table, end = json.JSONDecoder().raw_decode(text, begin)
        return from_table(table), end
    except (ValueError, LookupError, TypeError, RecursionError):
        return None, begin


def parsed(text: str) -> str:
    """Return the fact that a kept text is; another text as it is."""
    if isinstance(text, Fact) or not text.startswith(BEGINS):
        return text
    found, end = fact_at(text, 0)
    return found if found is not None and end == len(text) else text


#: The code of a sentence that the program wrote before there were facts; it is shown with its marks converted.
WRITTEN = "written"


def sentence(text: str) -> str:
    """Return what a kept text says, so that another fact may hold it: a fact, or an old sentence of the program's."""
    whole = parsed(text)
    return whole if isinstance(whole, Fact) or not whole else fact(WRITTEN, text=whole)


def cut(text: str, longest: int) -> str:
    """Return the beginning of a text, at most so long, with no mark and no fact cut in two; a fact stays whole."""
    if isinstance(text, Fact) or text.startswith(BEGINS):
        return text
    beginning = text[:longest]
    begin = beginning.rfind("{")
    return beginning[:begin] if len(text) > longest and begin > beginning.rfind("}") else beginning


def _quantity(value: float, unit: str, digits: int | None, signed: bool, bound: Bound) -> Quantity:
    digits = None if digits is None else int(digits)
    return Quantity(float(value), str(unit), digits, signed=signed, bound=bound)


def _mark(value: float, unit: str, digits: int | None, *, signed: bool) -> str:
    sign = "+" if signed else ""
    if digits is None:
        number = f"{value:{sign}.15g}"
        return f"{{{number} {unit}}}" if unit in KINDS else f"{number} {unit}".rstrip()
    if unit not in KINDS:
        return f"{value:{sign}.{digits}f} {unit}".rstrip()
    number = f"{value:{sign}.{KEPT_DECIMALS}f}".rstrip("0").rstrip(".")
    there = len(number.partition(".")[2])
    return f"{{{number} {unit}{'' if there == digits else f'|{digits}'}}}"
