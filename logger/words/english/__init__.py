"""The English of every code: one module a room, each with its table ENGLISH. What a translation starts from.

A text has places for a fact's values, "{core}". Where it depends on a number it is a `Plural` that names the value.
"""

from __future__ import annotations

from logger.words.english import (
    cure,
    events,
    fit,
    input_errors,
    probe_checks,
    readiness,
    records,
    refusals,
    store,
    units,
    verdict,
)
from logger.words.english.plural import Plural

__all__ = ["ENGLISH", "ROOMS", "Plural"]
#: Room → its codes with their English.
ROOMS: dict[str, dict[str, str | Plural]] = {
    "units": units.ENGLISH,
    "events": events.ENGLISH,
    "probe_checks": probe_checks.ENGLISH,
    "records": records.ENGLISH,
    "store": store.ENGLISH,
    "cure": cure.ENGLISH,
    "fit": fit.ENGLISH,
    "readiness": readiness.ENGLISH,
    "verdict": verdict.ENGLISH,
    "refusals": refusals.ENGLISH,
    "input_errors": input_errors.ENGLISH,
}
#: Every code's English.
ENGLISH: dict[str, str | Plural] = {code: text for room in ROOMS.values() for code, text in room.items()}
