"""Phrases of the rim: English where it is written, found by extraction, and said in the reader's language later.

`phrase("Saved.")` is a fact whose code is its English text, so that it waits for its reader as any other fact does: a
page, a message or a paper says it (`logger.words.render`). What decides uses codes instead (`logger.facts.fact`).
"""

from __future__ import annotations

from collections.abc import Sequence

from logger.facts import Fact, Value, fact

#: Names the number that a plural goes by; the second value is the text for more than one.
COUNT, MANY = "n", "_many"


def phrase(english: str, /, **values: Value | Sequence[Value]) -> Fact:
    """Return a phrase: English text with places for values in braces, "Saved by {who}."."""
    return fact(english, **values)


def phrases(one: str, many: str, n: int, /, **values: Value | Sequence[Value]) -> Fact:
    """Return a phrase that depends on a number, in which it is `{n}`: "{n} batch", "{n} batches"."""
    return Fact(one, {COUNT: n, MANY: many, **fact(one, **values).values})
