"""Walks a hash chain and says which row is wrong, and how. Pure.

A chain alone shows that something is wrong at a place; the number of rows that was sealed shows whether a row there
was altered, is missing, or was put in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from logger.store.hash_chain import Linked, next_link

#: Rows kept behind the first wrong one, to tell a swapped row from an altered one. The rest is only counted.
_LOOK_AHEAD = 400_000


class Wrong(StrEnum):
    """What is wrong with a row."""

    ALTERED = "altered"
    LINK_ALTERED = "link altered"
    MISSING = "missing"
    INSERTED = "inserted"
    SWAPPED = "out of order"


@dataclass(frozen=True, slots=True)
class Break:
    """The first row that is wrong: its number within the chain from 1, its database id (None: it is gone), and how.

    `rows`: how many rows are missing or were put in.
    """

    wrong: Wrong
    number: int
    row_id: int | None
    rows: int = 1
    other_id: int | None = None


@dataclass(frozen=True, slots=True)
class Walked:
    """A chain that was walked: how many rows, its last link, and what is wrong with it first."""

    count: int
    head: str
    broken: Break | None


def walk(
    rows: Iterable[Linked],
    head: str,
    count: int | None = None,
    again: Callable[[int], str | None] | None = None,
) -> Walked:
    """Walk a chain to its head. `count`: rows that were sealed; None when nobody counted.

    `again`: gives a row's body once more, another way, before it is called altered.
    """
    previous, number = "", 0
    coming = iter(rows)
    for row in coming:
        number += 1
        if count is not None and number > count and previous == head:
            more = 1 + sum(1 for _ in coming)
            return Walked(count, previous, Break(Wrong.INSERTED, number, row.id, more))
        if row.body is not None and next_link(previous, row.body) == row.link:
            previous = row.link
            continue
        if again is not None:
            body = again(row.id)
            if body is not None and next_link(previous, body) == row.link:
                previous = row.link
                continue
            row = Linked(row.id, body, row.link, row.station_id)
        rest = [later for later, _ in zip(coming, range(_LOOK_AHEAD), strict=False)]
        total = number + len(rest) + sum(1 for _ in coming)
        return Walked(number - 1, previous, _name(previous, number, row, rest, total, count))
    if previous != head:
        missing = 1 if count is None else count - number
        wrong = Break(Wrong.MISSING, number + 1, None, missing) if missing > 0 else None
        # All rows fit each other, there are as many as were sealed, but they do not end where they did.
        return Walked(number, previous, wrong or Break(Wrong.LINK_ALTERED, max(number, 1), None))
    return Walked(number, previous, None)


def _name(
    previous: str, number: int, row: Linked, rest: Sequence[Linked], total: int, count: int | None
) -> Break:
    if count is not None and total < count:
        return Break(Wrong.MISSING, number, None, count - total, row.id)
    if count is not None and total > count:
        return Break(Wrong.INSERTED, number, row.id, total - count)
    here = None if row.body is None else next_link(previous, row.body)
    if rest and rest[0].body is not None:
        following = rest[0].body
        if here is not None and next_link(here, following) == rest[0].link:
            return Break(Wrong.LINK_ALTERED, number, row.id)
        if count is None and row.link and next_link(row.link, following) == rest[0].link:
            return Break(Wrong.ALTERED, number, row.id)
        if count is None and next_link(previous, following) == rest[0].link:
            return Break(Wrong.INSERTED, number, row.id)
    for later in rest:
        if later.body is not None and next_link(previous, later.body) == later.link:
            return Break(Wrong.SWAPPED, number, row.id, other_id=later.id)
    return Break(Wrong.ALTERED, number, row.id)
