"""What is wrong with a TOML text, in a maker's words, and the nearest known name to one that is not known.

Standard library alone: a station reads its file without pydantic.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

#: A known name is offered for an unknown one that is at least so alike (difflib's ratio); 0.6 is the library's own.
ALIKE = 0.6
#: How the parser begins a message → what is wrong, what to do. `{name}`: what the message names.
_PROBLEMS: tuple[tuple[str, str, str], ...] = (
    (r"Cannot mutate immutable namespace (?P<name>.+)", "gives {name} a second time", "keep one of the two"),
    (r"Cannot declare (?P<name>.+) twice", "has the table [{name}] twice", "put both under one heading"),
    (r"Cannot redefine namespace (?P<name>.+)", "gives {name} a second time", "keep one of the two"),
    (r"Cannot overwrite a value", "gives the same name a second time", "keep one of the two"),
    (r"Duplicate inline table key (?P<name>.+)", "gives {name} a second time", "keep one of the two"),
    (r"Expected '\]\]'", "has a heading that does not end", "close it with ]]"),
    (r"Expected '\]'", "has a heading that does not end", "close it with ]"),
    (r"Expected '='", "has a line without an = sign", "write: name = value"),
    (r"Expected newline", "goes on after the value", "one name = value a line; text needs quotes"),
    (r"Invalid statement", "has a line that is no name = value", "write: name = value"),
    (r"Invalid initial character", "has a name that cannot be read", "letters, digits, _ and - only"),
    (r"Unclosed array", "has a list that does not end", "close it with ]"),
    (r"Unclosed inline table", "has braces that do not end", "close them with }}"),
    (
        r"Unterminated string|Expected [\"'][\"']",
        "has text that does not end",
        "close it with the same quote",
    ),
    (
        r"Unescaped|Escaped character|Invalid hex",
        "has a backslash that means nothing",
        "write it twice: \\\\",
    ),
    (r"Illegal character '\\n'", "has text that does not end", "close it with the same quote"),
    (
        r"Illegal character|Found invalid character",
        "has a sign that cannot stand there",
        "type that line anew",
    ),
    (r"Invalid date", "has a date that cannot be read", "write it as 2026-11-30"),
    (r"Invalid value", "has a value that cannot be read", "a number, or text in quotes"),
)
_AT = re.compile(r"\s*\(at (?:line (?P<line>\d+), column \d+|end of document)\)\s*$")


def toml_problem(message: str, text: str) -> tuple[str, str]:
    """Return what the parser's message says of a text: (problem, remedy), with the line and what stands on it."""
    at = _AT.search(message)
    reason = message if at is None else message[: at.start()]
    lines = text.splitlines()
    number = len(lines) if at is None or at["line"] is None else int(at["line"])
    problem, remedy = "cannot be read", "name = value on each line; text needs quotes"
    for pattern, words, what_to_do in _PROBLEMS:
        match = re.match(pattern, reason)
        if match is not None:
            problem = words.format(name=_dotted(match.groupdict().get("name") or ""))
            remedy = what_to_do.format()
            break
    # What stands before the = alone: a value may be a secret, and a message goes to a journal.
    shown = lines[number - 1].partition("=")[0].strip() if 0 < number <= len(lines) else ""
    shown = "" if "://" in shown else shown[:40]
    place = f"line {number}" + (f" ({shown})" if shown else "") if lines else "it is empty"
    return f"{problem}: {place}", remedy


def _dotted(name: str) -> str:
    """Return a name that the parser shows as ('a', 'b') as a maker writes it: a.b."""
    parts = re.findall(r"'([^']*)'", name)
    return ".".join(parts) or name


def nearest(word: str, names: Iterable[str]) -> str | None:
    """Return the known name that an unknown one most likely means; None where none is near."""
    by_folded = {name.casefold(): name for name in names}
    near = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=ALIKE)
    return by_folded[near[0]] if near else None


def meant(word: str, names: Iterable[str]) -> str:
    """Return "did you mean …?" for an unknown name; empty where none is near."""
    near = nearest(word, names)
    return "" if near is None else f"did you mean {near}?"
