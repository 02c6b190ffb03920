"""The one renderer: (fact, reader) → words. Pages, messages, papers, API and command line use it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from logger.errors import say_errors_with
from logger.facts import BEGINS, CODE, WRITTEN, Fact, Quantity, Value, fact_at, parsed
from logger.words import catalogues, numbers, old_text
from logger.words.english import ENGLISH, Plural
from logger.words.phrase import COUNT, MANY
from logger.words.reader import METRIC, Reader, current

_PLACE = re.compile(r"\{(\w+)\}")
_FACT = re.compile(re.escape(BEGINS))


class Channel(IntEnum):
    """Where words are read; its value: how many characters a text may have there, 0 for any number."""

    PAGE = 0
    PAPER = -1  # any number too: its template cuts to its rows
    MESSAGE = 1500  # one push message holds some 3,900 bytes, encrypted (RFC 8291, RFC 8030)
    TITLE = 120  # a lock screen shows about two lines (common practice, no source)
    LABEL = 60
    TERMINAL = -2


#: Added to a fact's code: the short text for where the whole one is too long.
SHORT = ".short"


def say(text: str, reader: Reader | None = None, channel: Channel = Channel.PAGE) -> str:
    """Return a fact in words, in the reader's language and units; of another text, what facts and marks are in it.

    What somebody typed has neither, and stays as it is. What is too long for the channel is given by its short form
    (its code with SHORT), or else cut behind a word.
    """
    reader = current() if reader is None else reader
    whole = _whole(text, reader)
    if channel <= 0 or len(whole) <= channel:
        return whole
    if isinstance(text, Fact) and text.code + SHORT in ENGLISH:
        whole = _said(Fact(text.code + SHORT, text.values), reader)
    return whole if len(whole) <= channel else shortened(whole, channel)


def shortened(words: str, longest: int) -> str:
    """Return the beginning of some words, cut behind a word, at most so many characters with the dots."""
    if len(words) <= longest:
        return words
    beginning = words[: longest - 1]
    head = beginning.rpartition(" ")[0]
    return f"{(head if len(head) > longest // 2 else beginning).rstrip(' ,;:-–')}…"


def _whole(text: str, reader: Reader) -> str:
    if isinstance(text, Fact):
        return _said(text, reader)
    if isinstance(text, Quantity):
        return reader.quantity(text)
    if "{" not in text:
        return str(text)
    return "".join(_pieces(text, reader))


def planned(text: str, reader: Reader) -> str:
    """Return a sentence of planning; one that refuses a value of the plan file keeps the file's own units."""
    if "; allowed: " in text or BEGINS in text:
        return say(text, reader)
    return old_text.in_units(
        old_text.shown(text, reader), reader.temperature, reader.length, reader.volume, reader.mass
    )


def _pieces(text: str, reader: Reader) -> list[str]:
    pieces, at = [], 0
    for match in _FACT.finditer(text):
        if match.start() < at:
            continue  # inside a fact that has been said
        found, end = fact_at(text, match.start())
        if found is not None:
            pieces += [old_text.shown(text[at : match.start()], reader), _said(found, reader)]
            at = end
    return [*pieces, old_text.shown(text[at:], reader)]


def _said(fact: Fact, reader: Reader) -> str:
    if fact.code == WRITTEN:
        return "".join(_pieces(old_text.marked(str(fact.values["text"])), reader))
    english = ENGLISH.get(fact.code)
    context = None if english is None else fact.code
    if english is None and MANY in fact.values:
        english = Plural(fact.code, str(fact.values[MANY]), COUNT)
    words = catalogues.of(reader.language)
    if isinstance(english, Plural):
        count = fact.values.get(english.by, 0)
        n = abs(round(count.value)) if isinstance(count, Quantity) else count if isinstance(count, int) else 0
        pattern = words.plural(context, english.one, english.many, n)
    else:
        pattern = words.one(context, fact.code if english is None else english)
    return _PLACE.sub(
        lambda match: _value(fact.values[match[1]], reader) if match[1] in fact.values else match[0], pattern
    )


def _value(value: Value, reader: Reader) -> str:
    if isinstance(value, Fact):
        return _said(value, reader)
    if isinstance(value, Quantity):
        return reader.quantity(value)
    if isinstance(value, tuple):
        return numbers.listed([_value(one, reader) for one in value], reader.language)
    # A name that somebody gave is shown as it is; a sentence from before decisions carried facts, with what is in it.
    return reader.number(value, 0) if isinstance(value, int) else _whole(value, reader)


def said(value: Any, reader: Reader | None = None) -> Any:
    """Return plain JSON types with every fact in them in words; everything else as it is."""
    if isinstance(value, str):
        return say(value, reader)
    if isinstance(value, dict):
        return {name: said(one, reader) for name, one in value.items()}
    return [said(one, reader) for one in value] if isinstance(value, list | tuple) else value


@dataclass(frozen=True, slots=True)
class Shown:
    """A fact for a program: its code, its values with unit and kind, and the words."""

    code: str | None
    values: dict[str, Any]
    words: str


def shown(text: str, reader: Reader | None = None) -> Shown:
    """Return a text for a program; one that is no fact has no code."""
    whole = parsed(text)
    if not isinstance(whole, Fact):
        return Shown(None, {}, say(text, reader))
    return Shown(
        whole.code, {name: _program(value) for name, value in whole.values.items()}, say(whole, reader)
    )


def _program(value: Value) -> Any:
    if isinstance(value, Quantity):
        return {"value": value.value, "unit": value.unit, "kind": value.kind.value}
    if isinstance(value, Fact):
        return {CODE: value.code} | {name: _program(one) for name, one in value.values.items()}
    return [_program(one) for one in value] if isinstance(value, tuple) else value


# What is refused is English in logs and traces: a log has no reader in particular.
say_errors_with(lambda text: say(text, METRIC))
