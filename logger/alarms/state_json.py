"""A state as plain JSON values and back, exactly."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from logger.alarms.state import AlarmState, OutOfService, Phase, Shelf
from logger.facts import parsed

#: A stored object, as some `to_dict` wrote it: its reader knows the names, and what does not fit raises there.
JsonTable = dict[str, Any]

_PLAIN = AlarmState()


def state_to_dict(state: AlarmState) -> JsonTable:
    """Return JSON-safe values; what is as in a fresh state is left out."""
    table: JsonTable = {}
    for name in AlarmState.__slots__:
        value = getattr(state, name)
        if value == getattr(_PLAIN, name):
            continue
        if isinstance(value, Phase):
            value = value.value
        elif isinstance(value, (Shelf, OutOfService)):
            value = asdict(value)
        elif isinstance(value, tuple):
            value = list(value)
        table[name] = value
    return table


def state_from_dict(table: JsonTable) -> AlarmState:
    """Return the state that `state_to_dict` wrote. Raises KeyError, TypeError or ValueError on anything else."""
    values = dict(table)
    if "reason" in values:
        values["reason"] = parsed(values["reason"])
    if "phase" in values:
        values["phase"] = Phase(values["phase"])
    if "recent" in values:
        values["recent"] = tuple(int(item) for item in values["recent"])
    if "shelf" in values:
        values["shelf"] = Shelf(**values["shelf"])
    if "out" in values:
        values["out"] = OutOfService(**values["out"])
    return AlarmState(**values)
