"""What is wrong with a TOML text, as facts, and the nearest known name to one that is not known.

Standard library and facts alone: a station reads its file without pydantic.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence

from logger.facts import NOTHING, Fact, fact

#: A known name is offered for an unknown one that is at least so alike (difflib's ratio); 0.6 is the library's own.
ALIKE = 0.6
#: How the parser begins a message → what is wrong, what to do. `name`: what the message names.
_PROBLEMS: tuple[tuple[re.Pattern[str], str, str], ...] = (
    (re.compile(r"Cannot mutate immutable namespace (?P<name>.+)"), "toml-name-twice", "toml-keep-one"),
    (re.compile(r"Cannot declare (?P<name>.+) twice"), "toml-table-twice", "toml-one-heading"),
    (re.compile(r"Cannot redefine namespace (?P<name>.+)"), "toml-name-twice", "toml-keep-one"),
    (re.compile(r"Cannot overwrite a value"), "toml-same-name-twice", "toml-keep-one"),
    (re.compile(r"Duplicate inline table key (?P<name>.+)"), "toml-name-twice", "toml-keep-one"),
    (re.compile(r"Expected '\]\]'"), "toml-open-heading", "toml-close-table-row"),
    (re.compile(r"Expected '\]'"), "toml-open-heading", "toml-close-bracket"),
    (re.compile(r"Expected '='"), "toml-no-equals", "toml-write-name-value"),
    (re.compile(r"Expected newline"), "toml-goes-on", "toml-one-a-line"),
    (re.compile(r"Invalid statement"), "toml-no-statement", "toml-write-name-value"),
    (re.compile(r"Invalid initial character"), "toml-bad-name", "toml-name-signs"),
    (re.compile(r"Unclosed array"), "toml-open-list", "toml-close-bracket"),
    (re.compile(r"Unclosed inline table"), "toml-open-braces", "toml-close-braces"),
    (re.compile(r"Unterminated string|Expected [\"'][\"']"), "toml-open-text", "toml-close-quote"),
    (re.compile(r"Unescaped|Escaped character|Invalid hex"), "toml-backslash", "toml-double-backslash"),
    (re.compile(r"Illegal character '\\n'"), "toml-open-text", "toml-close-quote"),
    (re.compile(r"Illegal character|Found invalid character"), "toml-bad-sign", "toml-type-anew"),
    (re.compile(r"Invalid date"), "toml-bad-date", "toml-write-date"),
    (re.compile(r"Invalid value"), "toml-bad-value", "toml-number-or-text"),
)
_AT = re.compile(r"\s*\(at (?:line (?P<line>\d+), column \d+|end of document)\)\s*$")


def toml_problem(message: str, text: str) -> tuple[Fact, Fact]:
    """Return what the parser's message says of a text: (problem, remedy), with the line and what stands on it."""
    at = _AT.search(message)
    reason = message if at is None else message[: at.start()]
    lines = text.splitlines()
    number = len(lines) if at is None or at["line"] is None else int(at["line"])
    problem, remedy = fact("toml-unreadable"), fact("toml-name-value-each-line")
    for pattern, code, what_to_do in _PROBLEMS:
        match = pattern.match(reason)
        if match is not None:
            name = match.groupdict().get("name")
            problem = fact(code) if name is None else fact(code, name=_dotted(name))
            remedy = fact(what_to_do)
            break
    if not lines:
        return fact("toml-empty", problem=problem), remedy
    # What stands before the = alone: a value may be a secret, and a message goes to a journal.
    shown = lines[number - 1].partition("=")[0].strip() if 0 < number <= len(lines) else ""
    shown = "" if "://" in shown else shown[:40]
    if shown:
        return fact("toml-at-line-of", problem=problem, line=number, name=shown), remedy
    return fact("toml-at-line", problem=problem, line=number), remedy


def _dotted(name: str) -> str:
    """Return a name that the parser shows as ('a', 'b') as a maker writes it: a.b."""
    parts = re.findall(r"'([^']*)'", name)
    return ".".join(parts) or name


def nearest(word: str, names: Iterable[str]) -> str | None:
    """Return the known name that an unknown one most likely means; None where none is near."""
    by_folded = {name.casefold(): name for name in names}
    near = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=ALIKE)
    return by_folded[near[0]] if near else None


def either(names: Sequence[str]) -> str:
    """Return that one of some names must stand there, quoted as a file has them; NOTHING where there is none."""
    quoted = [f'"{name}"' for name in names]
    if len(quoted) < 2:
        return quoted[0] if quoted else NOTHING
    return fact("one-or-the-other", first=", ".join(quoted[:-1]), last=quoted[-1])


def meant(word: str, names: Iterable[str]) -> str:
    """Return the fact that asks whether the nearest known name was meant; NOTHING where none is near."""
    near = nearest(word, names)
    return NOTHING if near is None else fact("did-you-mean", name=near)
