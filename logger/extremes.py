"""Peaks that are no ordinary answer: a runaway, and beyond it what the model does not know. Used by every surface.

Above some 100 °C no wood, form or resin system here is meant to be; above some 150 °C a casting boils, chars and may
burn, none of which the model holds, and no fit of a datasheet reaches so far. Both: this project's choice, no standard.
"""

from __future__ import annotations

from logger.facts import Fact, Quantity, fact

RUNAWAY_C, BEYOND_C = 100.0, 150.0
#: What is said of any runaway. It follows what safety data sheets say of a pot that runs away (from memory).
CAUTION = fact("runaway-caution")


def is_runaway(peak_c: float) -> bool:
    """Whether a predicted peak is a runaway."""
    return peak_c > RUNAWAY_C


def is_unknown(peak_c: float) -> bool:
    """Whether a predicted peak lies outside what the model knows."""
    return peak_c > BEYOND_C


def caution(peak_c: float) -> Fact | None:
    """Return what to say beside a predicted peak; None for an ordinary one."""
    if not is_runaway(peak_c):
        return None
    if not is_unknown(peak_c):
        return fact("runaway", caution=CAUTION)
    return fact("runaway-unknown", limit=Quantity(BEYOND_C, "°C", 0), caution=CAUTION)
