"""The English of every code: one module a room, each with its table ENGLISH. What a translation starts from.

A text has places for a fact's values, "{core}". Where it depends on a number it is a `Plural` that names the value.
"""

from __future__ import annotations

from logger.words.english import (
    alarm_kinds,
    alarms,
    condition,
    cure,
    events,
    findings,
    fit,
    input_errors,
    live,
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
    "findings": findings.ENGLISH,
    "units": units.ENGLISH,
    "alarm_kinds": alarm_kinds.ENGLISH,
    "alarms": alarms.ENGLISH,
    "condition": condition.ENGLISH,
    "cure": cure.ENGLISH,
    "events": events.ENGLISH,
    "fit": fit.ENGLISH,
    "input_errors": input_errors.ENGLISH,
    "live": live.ENGLISH,
    "probe_checks": probe_checks.ENGLISH,
    "readiness": readiness.ENGLISH,
    "records": records.ENGLISH,
    "refusals": refusals.ENGLISH,
    "store": store.ENGLISH,
    "verdict": verdict.ENGLISH,
}
#: Every code's English.
ENGLISH: dict[str, str | Plural] = {code: text for room in ROOMS.values() for code, text in room.items()}
