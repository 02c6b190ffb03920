"""From what the validating library refuses to a maker's words: one translation for files, settings, forms and the API.

The library's own sentences are made for programmers. Here each of its kinds of error has plain words; a kind that is
new says plainly that the value cannot be used. A leaf module.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel

from logger.toml_text import meant, nearest


@dataclass(frozen=True, slots=True)
class InputProblem:
    """What is wrong with one value: where (the names on the way to it), what, what is allowed, what to do."""

    path: tuple[str, ...]
    problem: str
    allowed: str
    remedy: str

    def sentence(self) -> str:
        """Return all of it but the place."""
        parts = [self.problem, f"allowed: {self.allowed}" if self.allowed else "", self.remedy]
        return "; ".join(part for part in parts if part)


_CORRECT = "correct it"
#: Kind of error → what is wrong, what is allowed, what to do. Names in braces are the error's own.
_WORDS: dict[str, tuple[str, str, str]] = {
    "missing": ("is missing", "", "fill it in"),
    "greater_than": ("is out of range", "above {gt}", _CORRECT),
    "greater_than_equal": ("is out of range", "at least {ge}", _CORRECT),
    "less_than": ("is out of range", "below {lt}", _CORRECT),
    "less_than_equal": ("is out of range", "at most {le}", _CORRECT),
    "multiple_of": ("is out of step", "multiples of {multiple_of}", _CORRECT),
    "finite_number": ("is not a number", "a number", _CORRECT),
    "too_short": ("has too few entries", "at least {min_length}", "add some"),
    "too_long": ("has too many entries", "at most {max_length}", "keep those that say most"),
    "string_too_short": ("is too short", "at least {min_length} characters", "write more"),
    "string_too_long": ("is too long", "at most {max_length} characters", "shorten it"),
    "string_pattern_mismatch": ("is not written as it should be", "", _CORRECT),
    "json_invalid": ("is not JSON", "", "send one JSON object"),
    "url_scheme": ("is not an address that can be used", "{expected_schemes}", _CORRECT),
    "union_tag_invalid": ("is not one of the choices", "{expected_tags}", "use one of those"),
    "union_tag_not_found": ("does not say of which kind it is", "", "add that"),
    "literal_error": ("is not one of the choices", "{expected}", "use one of those"),
    "enum": ("is not one of the choices", "{expected}", "use one of those"),
    "timezone_aware": ("has no time zone", "a time with its zone", _CORRECT),
    "timezone_naive": ("has a time zone", "a time without a zone", _CORRECT),
}
#: How a kind's name begins → the same, for the many kinds that differ only to programmers.
_WORDS_OF_FAMILY: tuple[tuple[str, tuple[str, str, str]], ...] = (
    ("bool_", ("is neither yes nor no", "true or false", _CORRECT)),
    ("int_", ("is not a whole number", "a whole number", _CORRECT)),
    ("float_", ("is not a number", "a number", _CORRECT)),
    ("decimal_", ("is not a number", "a number", _CORRECT)),
    ("fraction_", ("is not a number", "a number", _CORRECT)),
    ("complex_", ("is not a number", "a number", _CORRECT)),
    ("string_", ("is not text", "text", _CORRECT)),
    ("bytes_", ("is not text", "text", _CORRECT)),
    ("list_", ("is not a list", "a list", _CORRECT)),
    ("tuple_", ("is not a list", "a list", _CORRECT)),
    ("set_", ("is not a list", "a list", _CORRECT)),
    ("frozen_set_", ("is not a list", "a list", _CORRECT)),
    ("deque_", ("is not a list", "a list", _CORRECT)),
    ("iterable_", ("is not a list", "a list", _CORRECT)),
    ("dict_", ("is not a table", "names with values", _CORRECT)),
    ("mapping_", ("is not a table", "names with values", _CORRECT)),
    ("model_", ("is not a table", "names with values", _CORRECT)),
    ("dataclass_", ("is not a table", "names with values", _CORRECT)),
    ("datetime_", ("is not a date and time", "such as 2026-11-30T16:30", _CORRECT)),
    ("date_", ("is not a date that can be used", "such as 2026-11-30", _CORRECT)),
    ("time_delta_", ("is not a length of time", "", _CORRECT)),
    ("time_", ("is not a time of day", "such as 16:30", _CORRECT)),
    ("url_", ("is not an address that can be used", "such as http://office.local:8080", _CORRECT)),
    ("uuid_", ("is not written as it should be", "", _CORRECT)),
    ("json_", ("is not JSON", "", "send one JSON object")),
    ("missing_", ("is missing", "", "fill it in")),
)
_UNKNOWN = ("cannot be used", "", _CORRECT)
#: Kinds whose message is our own sentence, raised in a model.
_OURS = ("value_error", "assertion_error")
#: Pattern → what it asks for, in words.
_PATTERNS = {
    r"^[0-2]\d:[0-5]\d$": "a time of day, such as 22:00",
    r"^[\w.:-]+$": "letters, digits, . : _ -",
    r"^[0-9a-f]{12}$": "twelve digits 0-9 a-f",
    r"^[a-z-]{1,40}$": "small letters and -",
    r"^\d{4}-\d\d-\d\d$": "a date, such as 2026-11-30",
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
    """Return one of a ValidationError's errors in words. `model`: what was validated, for the nearest known name."""
    kind, context = str(error["type"]), dict(error.get("ctx") or {})
    path = tuple(str(part) for part in error["loc"] if not str(part).startswith(_BRANCHES))
    if kind in _OURS:
        return InputProblem(path, str(context.get("error", "")) or _UNKNOWN[0], "", "")
    if kind in ("extra_forbidden", "unexpected_keyword_argument"):
        return InputProblem(path, "is not a known name", *_known(path, model))
    if kind == "string_too_short" and context.get("min_length") == 1:
        return InputProblem(path, "is empty", "", "fill it in")
    problem, allowed, remedy = _words_of(kind)
    if kind == "string_pattern_mismatch":
        allowed = _PATTERNS.get(str(context.get("pattern")), "")
    try:
        allowed = allowed.format(**context)
    except (KeyError, IndexError):
        allowed = ""
    if kind in ("literal_error", "enum"):
        allowed = allowed.replace("'", '"')
        remedy = meant(str(error.get("input")), _quoted(allowed)) or remedy
    return InputProblem(path, problem, allowed, remedy)


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
        return "", f"leave {word} out" if word else "leave it out"
    here = names_at(model, path[:-1])
    near = nearest(word, here)
    if near is None:
        tables = [place for place, one in _tables_of(model) if word in _names(one)]
        if tables:
            place = f"under [{tables[0]}]" if tables[0] else "at the beginning of the file"
            return "", f"{word} belongs {place}"
    remedy = f"did you mean {near}?" if near else f"leave {word} out, or look it up in the help"
    return ", ".join(sorted(here)), remedy


def _words_of(kind: str) -> tuple[str, str, str]:
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
