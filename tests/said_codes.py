"""The words that a code has, for tests of any room: with each value in each place, in each language."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from logger.facts import Fact, Value
from logger.words.english import ENGLISH, Plural
from logger.words.numbers import LANGUAGES
from logger.words.reader import units_from
from logger.words.render import say

PLACE = re.compile(r"\{(\w+)\}")


def places(english: str | Plural) -> set[str]:
    """The names of the values that a text asks for."""
    if isinstance(english, Plural):
        return {*PLACE.findall(english.one), *PLACE.findall(english.many), english.by}
    return set(PLACE.findall(english))


def wordings(code: str, values: Sequence[Value]) -> Iterator[str]:
    """A code's words for a reader in °F, inches, gallons and pounds, with one, none or many of what is counted."""
    english = ENGLISH[code]
    for language in LANGUAGES:
        reader = units_from("f.in.gal.lb", language)
        for value in values:
            for n in (0, 1, 2, 10_000) if isinstance(english, Plural) else (0,):
                given: dict[str, Any] = dict.fromkeys(places(english), value)
                if isinstance(english, Plural):
                    given[english.by] = n
                yield say(Fact(code, given), reader)
