"""Places of a pour's probes as facts: "core-2" is core number 2."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from logger.facts import Fact, Value, fact

#: Places that have a name.
PLACES = ("core", "surface", "underside", "room")


def at_place(place: str) -> Fact | str:
    """Return a place as it stands within a sentence: "the core", "core 2"; one without a name as it is written."""
    return _place(place, "at")


def label_of(place: str) -> Fact | str:
    """Return a place as a label: "Core", "Core 2"."""
    return _place(place, "label")


def head_place(place: str) -> Fact | str:
    """Return a place as it begins a sentence: "The core", "Core 2"."""
    return _place(place, "head")


def at_places(places: Sequence[str]) -> tuple[Value, ...]:
    """Return several places, as they stand within a sentence."""
    return tuple(at_place(place) for place in places)


@lru_cache(maxsize=256)
def _place(place: str, form: str) -> Fact | str:
    base, _, number = place.partition("-")
    if base not in PLACES or (number and not number.isdecimal()):
        return place
    return fact(f"{form}-{base}-n", n=int(number)) if number else fact(f"{form}-{base}")
