"""TOML from outside, refused before it can cost anything: its size, the dots in a key and its nesting have bounds.

A key of ten thousand dots (22 kB) takes the parser 600 MB, since each dot opens a table and a key of its own length;
brackets a thousand deep end its recursion. What is measured here is read off the text without parsing it.
"""

from __future__ import annotations

import itertools
import re
import tomllib
from pathlib import Path
from typing import Any

from logger.errors import BadInput
from logger.facts import fact
from logger.toml_text import toml_problem

#: Longest text, characters; most dots in one key; most brackets inside one another. A plan with five hundred points
#: of an outline has some 20,000 characters, its keys two dots, its brackets four levels.
MOST_CHARACTERS, MOST_DOTS, MOST_LEVELS = 100_000, 8, 8
#: Longest number, characters: Python itself refuses to read whole numbers of more than some thousand digits.
MOST_DIGITS = 100

# Strings and comments hold any sign: each is looked at as one quote. Triple quotes come first. An end that is missing
# is taken at the end of what could belong to it, and nothing is tried twice: the time is that of one reading.
_QUOTED = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:""")?+|'
    r"'''(?:[^']|'(?!''))*+(?:''')?+|"
    r'"(?:[^"\\\n]|\\.)*+"?+|'
    r"'[^'\n]*+'?+|"
    r"#[^\n]*+",
    re.DOTALL,
)
_KEY_OR_NUMBER = re.compile(r"[\w.\"+\- \t]+")
_DIGITS = re.compile(rf"\w{{{MOST_DIGITS},}}")
_STEP = {"[": 1, "{": 1, "]": -1, "}": -1}


def table_from_text(text: str, where: str, error: type[BadInput] = BadInput) -> dict[str, Any]:
    """Return the table in a TOML text. Raises `error` for what is no TOML, and before parsing for what is too large."""
    if len(text) > MOST_CHARACTERS:
        raise error(
            where,
            fact("file-too-long"),
            value=fact("file-characters", n=len(text)),
            allowed=fact("file-characters-at-most", n=MOST_CHARACTERS),
            remedy=fact("file-alone"),
        )
    bare = _QUOTED.sub('"', text)
    dots = max((piece.count(".") for piece in _KEY_OR_NUMBER.findall(bare)), default=0)
    if dots > MOST_DOTS:
        raise error(
            where,
            fact("file-too-many-dots"),
            value=fact("file-dots", n=dots),
            allowed=fact("file-dots-at-most", n=MOST_DOTS),
            remedy=fact("file-key-as-in-help"),
        )
    levels = max(itertools.accumulate(_STEP[sign] for sign in re.findall(r"[\[\]{}]", bare)), default=0)
    if levels > MOST_LEVELS:
        raise error(
            where,
            fact("file-brackets-too-deep"),
            value=fact("file-levels", n=levels),
            allowed=fact("file-levels-at-most", n=MOST_LEVELS),
            remedy=fact("file-brackets-of-a-list"),
        )
    if _DIGITS.search(bare):
        raise error(
            where,
            fact("file-number-too-long"),
            allowed=fact("file-signs-at-most", n=MOST_DIGITS),
            remedy=fact("file-usual-size"),
        )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as wrong:
        problem, remedy = toml_problem(str(wrong), text)
        raise error(where, problem, remedy=remedy) from wrong


def read_text(path: Path, error: type[BadInput] = BadInput) -> str:
    """Return the text of a file, read no further than a text may be long. Raises `error`: missing, no UTF-8, too
    long.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(4 * MOST_CHARACTERS + 1)
        # A character takes four bytes at most: what is cut here is refused for its length.
        return raw.decode("utf-8", "strict" if len(raw) <= 4 * MOST_CHARACTERS else "ignore")
    except OSError as wrong:
        problem = fact("file-not-opened", reason=str(wrong.strerror))
        raise error(str(path), problem, remedy=fact("file-give-text-file")) from wrong
    except UnicodeDecodeError as wrong:
        raise error(str(path), fact("file-no-utf8"), remedy=fact("file-save-as-utf8")) from wrong
