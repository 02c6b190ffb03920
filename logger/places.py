"""Places of probes, by name. A leaf module but for facts."""

from __future__ import annotations

from logger.facts import Fact, fact

#: Places that have a name in every language.
NAMED = ("core", "surface", "underside", "room")


def place_name(place: str) -> Fact:
    """Return a place's name: "core", and "core-2" for the second one; one that has no name goes by its own."""
    kind, _, number = place.partition("-")
    if kind not in NAMED:
        return fact("place-other", place=place)
    named = fact(f"place-{kind}")
    return fact("place-numbered", place=named, number=number) if number else named
