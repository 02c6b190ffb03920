"""What comes next as the rows of a time line, by the clock. What each rests on opens under it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.quantities import hours, moment
from logger.words.phrase import phrase
from web.views.agenda import LOOK_AT_THE_FORM, Coming


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the clock, what, in how long ("" where that is not said), its tone, and what opens under it."""

    at: str
    text: str
    note: str
    tone: str
    more: str


def time_line(items: Sequence[Coming], hour: float, started_ms: int) -> list[Row]:
    """Return the rows at an hour of the pour, the soonest first, as they come in `items`."""
    rows: list[Row] = []
    for item in items:
        here = item.at_h <= hour
        at = _moment(item.at_h, started_ms)
        if item.until_h is not None:
            at = phrase("{start} to {end}", start=at, end=_moment(item.until_h, started_ms))
        # Of the first it is said how soon it is; what is due says so.
        soon = "" if rows else phrase("in {wait}", wait=hours(item.at_h - hour))
        late = here and item.name == LOOK_AT_THE_FORM
        rows.append(
            Row(
                at,
                item.what,
                phrase("now") if here else soon,
                "late" if late else "next" if here or not rows else "",
                phrase("{ask} ({sure})", ask=item.ask, sure=item.sure) if item.ask else item.sure,
            )
        )
    return rows


def _moment(hour: float, started_ms: int) -> str:
    return moment(started_ms + round(hour * 3.6e6))
