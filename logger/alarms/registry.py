"""The table of alarms: every kind there is, by name. See `kind.py` for the columns and the priority matrix."""

from __future__ import annotations

from logger.alarms.definitions.equipment import EQUIPMENT_KINDS
from logger.alarms.definitions.heat import HEAT_KINDS
from logger.alarms.definitions.surroundings import SURROUNDINGS_KINDS
from logger.alarms.kind import MATRIX, Harm, Kind, Priority, Subject, priority_of
from logger.errors import NotFound
from logger.facts import fact

__all__ = ["KINDS", "MATRIX", "Harm", "Kind", "Priority", "Subject", "kind_named", "priority_of"]

#: Name → kind, in the order in which they are shown.
KINDS: dict[str, Kind] = {kind.name: kind for kind in (*HEAT_KINDS, *SURROUNDINGS_KINDS, *EQUIPMENT_KINDS)}


def kind_named(name: str) -> Kind:
    """Return the kind of that name. Raises NotFound."""
    try:
        return KINDS[name]
    except KeyError:
        raise NotFound(fact("no-such-kind", name=name, known=tuple(KINDS))) from None
