"""Temperatures, lengths, volumes and masses in the units that somebody chose, and back to SI.

The workshop chooses once, at the first set-up; each device may choose others: a phone and the wall screen may differ.
Either is kept as four words, "c.mm.l.kg".
"""

from __future__ import annotations

from fastapi import Request

from logger.store import shop_events
from logger.store.database import SEES
from logger.words.numbers import LANGUAGES
from logger.words.reader import Reader, units_from

COOKIE, LANGUAGE_COOKIE = "pourlog_units", "pourlog_language"


def reader_of(request: Request) -> Reader:
    """Return whoever asks: the units of this device, else the workshop's; the language of `language_of`."""
    return units_from(request.cookies.get(COOKIE) or shop_units(request), language_of(request))


def reader_without_sign_in(request: Request, units: str | None) -> Reader:
    """Return whoever opens a message's link: the units of this device, else these (the workshop's)."""
    return units_from(request.cookies.get(COOKIE) or units, language_of(request))


def language_of(request: Request) -> str:
    """Return the language of whoever asks: this device's, else the first that its browser wishes and we have."""
    from babel.core import negotiate_locale

    chosen = request.cookies.get(LANGUAGE_COOKIE)
    if chosen in LANGUAGES:
        return str(chosen)
    wishes = [part.partition(";") for part in request.headers.get("accept-language", "").split(",")[:20]]
    by_weight = sorted(wishes, key=lambda wish: -_weight(wish[2]))
    asked = [name.strip().partition("-")[0] for name, _, weight in by_weight if _weight(weight) > 0]
    return str(negotiate_locale(asked, LANGUAGES) or "en")


def _weight(text: str) -> float:
    """Return a wish's weight (RFC 9110, section 12.4.2); 1 where it says none, 0 where it makes no sense."""
    if not text.strip():
        return 1.0
    try:
        return float(text.strip().removeprefix("q="))
    except ValueError:
        return 0.0


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
