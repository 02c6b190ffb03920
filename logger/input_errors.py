"""From what the validating library refuses to what a maker is told: one way for files, settings, forms and the API.

The library's own sentences are made for programmers. Here each of its kinds of error has a code of ours; a kind that is
new says plainly that the value cannot be used. A leaf module.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel

from logger.facts import NOTHING, Fact, Quantity, fact
from logger.toml_text import either, meant
from logger.units import plain


@dataclass(frozen=True, slots=True)
class InputProblem:
    """What is wrong with one value: where (the names on the way to it), what, what is allowed, what to do.

    `bound`: the number that `allowed` is about, where it is about one.
    """

    path: tuple[str, ...]
    problem: str
    allowed: str
    remedy: str
    bound: float | None = None

    def allowed_in(self, unit: str) -> str:
        """Return what is allowed with the unit that the value's name gives."""
        if self.bound is None or not isinstance(self.allowed, Fact):
            return self.allowed
        return fact(self.allowed.code, bound=in_unit(self.bound, unit))


def in_unit(value: float, unit: str) -> str:
    """Return a number in the unit of a file's key."""
    if unit == "litres":
        return Quantity(value, "L", None)
    if unit in _UNIT_WORDS:
        return fact("input-in-unit", number=plain(value), unit=_UNIT_WORDS[unit])
    return Quantity(value, unit, None) if unit else plain(value)


def unit_words(unit: str) -> str:
    """Return a unit of a file's key; one that is a word, as a fact."""
    return _UNIT_WORDS.get(unit, unit)


#: Units that are words, and differ from language to language.
_UNIT_WORDS = {
    "litres": fact("input-unit-litres"),
    "min per litre": fact("input-unit-min-per-litre"),
    "for a kilogram": fact("input-unit-for-a-kilogram"),
}
_Words = tuple[Fact, str, Fact]


def _words(problem: str, allowed: str, remedy: str) -> _Words:
    """Return what is wrong, the code of what is allowed, and what to do."""
    return fact(problem), allowed, fact(remedy)


_CORRECT = "input-correct-it"
#: Kind of error → what is wrong, what is allowed, what to do; `_BOUND` names the number that is allowed.
_WORDS: dict[str, _Words] = {
    kind: _words(*words)
    for kind, words in {
        "missing": ("input-missing", "", "input-fill-in"),
        "greater_than": ("input-out-of-range", "input-above", _CORRECT),
        "greater_than_equal": ("input-out-of-range", "input-at-least", _CORRECT),
        "less_than": ("input-out-of-range", "input-below", _CORRECT),
        "less_than_equal": ("input-out-of-range", "input-at-most", _CORRECT),
        "multiple_of": ("input-out-of-step", "input-multiples-of", _CORRECT),
        "finite_number": ("input-no-number", "input-a-number", _CORRECT),
        "too_short": ("input-too-few", "input-at-least", "input-add-some"),
        "too_long": ("input-too-many", "input-at-most", "input-keep-the-best"),
        "string_too_short": ("input-too-short", "input-characters-at-least", "input-write-more"),
        "string_too_long": ("input-too-long", "input-characters-at-most", "input-shorten"),
        "string_pattern_mismatch": ("input-written-wrongly", "", _CORRECT),
        "json_invalid": ("input-no-json", "", "input-send-json"),
        "url_scheme": ("input-no-address", "", _CORRECT),
        "union_tag_invalid": ("input-no-choice", "", "input-use-one"),
        "union_tag_not_found": ("input-kind-missing", "", "input-add-that"),
        "literal_error": ("input-no-choice", "", "input-use-one"),
        "enum": ("input-no-choice", "", "input-use-one"),
        "timezone_aware": ("input-no-zone", "input-a-time-with-zone", _CORRECT),
        "timezone_naive": ("input-with-zone", "input-a-time-without-zone", _CORRECT),
    }.items()
}
_NO_NUMBER, _NO_TEXT = (
    ("input-no-number", "input-a-number", _CORRECT),
    ("input-no-text", "input-text", _CORRECT),
)
_NO_LIST, _NO_TABLE = (
    ("input-no-list", "input-a-list", _CORRECT),
    ("input-no-table", "input-a-table", _CORRECT),
)
#: How a kind's name begins → the same, for the many kinds that differ only to programmers.
_WORDS_OF_FAMILY: tuple[tuple[str, _Words], ...] = tuple(
    (start, _words(*words))
    for start, words in (
        ("bool_", ("input-no-yes-or-no", "input-true-or-false", _CORRECT)),
        ("int_", ("input-no-whole-number", "input-a-whole-number", _CORRECT)),
        ("float_", _NO_NUMBER),
        ("decimal_", _NO_NUMBER),
        ("fraction_", _NO_NUMBER),
        ("complex_", _NO_NUMBER),
        ("string_", _NO_TEXT),
        ("bytes_", _NO_TEXT),
        ("list_", _NO_LIST),
        ("tuple_", _NO_LIST),
        ("set_", _NO_LIST),
        ("frozen_set_", _NO_LIST),
        ("deque_", _NO_LIST),
        ("iterable_", _NO_LIST),
        ("dict_", _NO_TABLE),
        ("mapping_", _NO_TABLE),
        ("model_", _NO_TABLE),
        ("dataclass_", _NO_TABLE),
        ("datetime_", ("input-no-date-and-time", "input-like-date-and-time", _CORRECT)),
        ("date_", ("input-no-date", "input-like-date", _CORRECT)),
        ("time_delta_", ("input-no-length-of-time", "", _CORRECT)),
        ("time_", ("input-no-time-of-day", "input-like-time-of-day", _CORRECT)),
        ("url_", ("input-no-address", "input-like-address", _CORRECT)),
        ("uuid_", ("input-written-wrongly", "", _CORRECT)),
        ("json_", ("input-no-json", "", "input-send-json")),
        ("missing_", ("input-missing", "", "input-fill-in")),
    )
)
_UNKNOWN = _words("input-unusable", "", _CORRECT)
#: Kind of error → the name that the library gives the number that is allowed.
_BOUND = {
    "greater_than": "gt",
    "greater_than_equal": "ge",
    "less_than": "lt",
    "less_than_equal": "le",
    "multiple_of": "multiple_of",
    "too_short": "min_length",
    "too_long": "max_length",
    "string_too_short": "min_length",
    "string_too_long": "max_length",
}
#: Kind of error → the name that the library gives the list of what is allowed.
_CHOICES = {
    "url_scheme": "expected_schemes",
    "union_tag_invalid": "expected_tags",
    "literal_error": "expected",
    "enum": "expected",
}
#: Kinds whose message is our own sentence, raised in a model.
_OURS = ("value_error", "assertion_error")
#: Pattern → what it asks for.
_PATTERNS = {
    r"^[0-2]\d:[0-5]\d$": fact("input-a-time-of-day"),
    r"^[\w.:-]+$": fact("input-name-signs"),
    r"^[0-9a-f]{12}$": fact("input-twelve-digits"),
    r"^[a-z-]{1,40}$": fact("input-small-letters"),
    r"^\d{4}-\d\d-\d\d$": fact("input-a-date"),
}
#: What the library adds to a place for the branch of a choice that it tried; nobody wrote it.
_BRANCHES = (
    "list[",
    "tuple[",
    "dict[",
    "function-",
    "constrained-",
    "float",
    "int",
    "str",
    "bool",
    "nullable",
)


def input_problem(error: Mapping[str, Any], model: type[BaseModel] | None = None) -> InputProblem:
    """Return one of a ValidationError's errors as facts. `model`: what was validated, for the nearest known name."""
    kind, context = str(error["type"]), dict(error.get("ctx") or {})
    path = tuple(str(part) for part in error["loc"] if not str(part).startswith(_BRANCHES))
    if kind in _OURS:
        return InputProblem(path, _own_words(context.get("error")) or _UNKNOWN[0], NOTHING, NOTHING)
    if kind in ("extra_forbidden", "unexpected_keyword_argument"):
        return InputProblem(path, fact("input-unknown-name"), *_known(path, model))
    if kind == "string_too_short" and context.get("min_length") == 1:
        return InputProblem(path, fact("input-empty"), NOTHING, fact("input-fill-in"))
    problem, code, remedy = _words_of(kind)
    if kind == "string_pattern_mismatch":
        return InputProblem(path, problem, _PATTERNS.get(str(context.get("pattern")), NOTHING), remedy)
    if kind in _CHOICES:
        choices = _quoted(str(context.get(_CHOICES[kind], "")).replace("'", '"'))
        near = meant(str(error.get("input")), choices) if kind in ("literal_error", "enum") else NOTHING
        return InputProblem(path, problem, either(choices), near or remedy)
    bound = context.get(_BOUND.get(kind, ""))
    if kind not in _BOUND:
        return InputProblem(path, problem, fact(code) if code else NOTHING, remedy)
    if not isinstance(bound, int | float):
        return InputProblem(path, problem, NOTHING, remedy)
    if kind.startswith("string_"):
        return InputProblem(path, problem, fact(code, n=int(bound)), remedy)
    return InputProblem(path, problem, fact(code, bound=plain(bound)), remedy, float(bound))


def _own_words(error: object) -> str:
    """Return what a model of ours says of its own: the fact that its error was raised with."""
    first = error.args[0] if isinstance(error, Exception) and error.args else error
    return first if isinstance(first, str) else NOTHING if first is None else str(first)


def most_telling(errors: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
    """Return the error to show first: a misspelt name also shows as a missing one, a long list as no number."""
    order = {"extra_forbidden": 0, "too_long": 1}
    return min(errors, key=lambda error: order.get(str(error["type"]), len(order)))


def names_at(model: type[BaseModel], path: Sequence[str]) -> set[str]:
    """Return the names that a table of a model may hold; `path` leads to the table through tables and lists."""
    models = [model]
    for part in path:
        if part.isdecimal():
            continue
        inner = [field.annotation for one in models if (field := _field(one, part)) is not None]
        models = [one for annotation in inner for one in models_in(annotation)]
    return {name for one in models for name in _names(one)}


def tables_in(model: type[BaseModel], name: str) -> Iterator[type[BaseModel]]:
    """Return the tables that a name of a model may hold; none where it is a value."""
    field = _field(model, name)
    if field is not None:
        yield from models_in(field.annotation)


def _known(path: Sequence[str], model: type[BaseModel] | None) -> tuple[str, str]:
    """Return what is allowed at an unknown name's place, and what was most likely meant."""
    word = path[-1] if path else ""
    if model is None:
        return NOTHING, fact("input-leave-out", name=word) if word else fact("input-leave-it-out")
    here = names_at(model, path[:-1])
    near = meant(word, here)
    if not near:
        tables = [place for place, one in _tables_of(model) if word in _names(one)]
        if tables and tables[0]:
            return NOTHING, fact("input-belongs-under", name=word, table=tables[0])
        if tables:
            return NOTHING, fact("input-belongs-first", name=word)
    return ", ".join(sorted(here)), near or fact("input-leave-out-or-look", name=word)


def _words_of(kind: str) -> _Words:
    if kind in _WORDS:
        return _WORDS[kind]
    return next((words for start, words in _WORDS_OF_FAMILY if kind.startswith(start)), _UNKNOWN)


def _quoted(expected: str) -> list[str]:
    return expected.split('"')[1::2]


def _names(model: type[BaseModel]) -> set[str]:
    return {field.alias or name for name, field in model.model_fields.items()}


def _field(model: type[BaseModel], name: str) -> Any:
    fields = model.model_fields
    return fields.get(name) or next((field for field in fields.values() if field.alias == name), None)


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    """Return the models that an annotation names, through lists and choices."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
        return
    for part in get_args(annotation):
        yield from models_in(part)


def _tables_of(model: type[BaseModel], place: str = "") -> Iterator[tuple[str, type[BaseModel]]]:
    yield place, model
    for name, field in model.model_fields.items():
        for inner in models_in(field.annotation):
            if inner is not model:
                yield from _tables_of(inner, f"{place}.{name}".lstrip("."))
