"""Temperatures, lengths, volumes and masses in the units that somebody chose, and back to SI.

The workshop chooses once, at the first set-up; each device may choose others: a phone and the wall screen may differ.
Either is kept as four words, "c.mm.l.kg".
"""

from __future__ import annotations

import math

from fastapi import Request

from logger.errors import BadInput
from logger.quantities import Units, units_from
from logger.store import shop_events
from logger.store.database import SEES

COOKIE = "pourlog_units"


def units_of(request: Request) -> Units:
    """Return the choice of whoever asks: this device's, else the workshop's."""
    return units_from(request.cookies.get(COOKIE) or shop_units(request))


def shop_units(request: Request) -> str | None:
    """Return what was chosen for the whole workshop at the first set-up, as a cookie would hold it; None before."""
    state, mine = request.app.state, SEES.get()
    by_shop: dict[int | None, str] = getattr(state, "shop_units", {})
    if mine not in by_shop:
        with state.service.store.read() as connection:
            units = shop_events.units_of(connection)
        if units is None:
            return None
        state.shop_units = by_shop = by_shop | {mine: units}
    return by_shop[mine]


def number_from(text: str, name: str) -> float:
    """Return a number as people type it: "12.5" or "12,5". Raises BadInput naming the field."""
    cleaned = text.strip().replace("\u202f", "").replace(" ", "")
    # One comma and no point is a decimal comma; anything else with a comma could be read two ways.
    if cleaned.count(",") == 1 and "." not in cleaned:
        cleaned = cleaned.replace(",", ".")
    try:
        number = float(cleaned)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise BadInput(name, "is not a number", value=text, remedy="type digits, with a point or a comma")
    return number
