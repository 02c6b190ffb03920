"""Who reads a page: in which units and language.

The workshop chooses at the first set-up and in its settings, each person for all their devices and messages; one device
may differ: the wall screen, a page before sign-in. Units are kept as four words, "c.mm.l.kg".
"""

from __future__ import annotations

from contextlib import suppress
from typing import Annotated

from fastapi import Request
from pydantic import BaseModel, StringConstraints
from sqlalchemy.exc import SQLAlchemyError
from starlette.responses import Response

from logger.store import shop_events
from logger.store.database import SEES
from logger.store.shop_events import Reading
from logger.words.numbers import LANGUAGES
from logger.words.reader import Reader, units_from
from web.security import access

COOKIE, LANGUAGE_COOKIE = "pourlog_units", "pourlog_language"
#: How long a server goes by what another server of the same database may have changed, ms.
KEPT_MS = 30_000
#: How long a device keeps its units and language, s.
COOKIE_S = 5 * 365 * 24 * 3600
#: What a link for a copy may ask for: `?units=us`.
SYSTEMS = {"us": "f.in.gal.lb", "metric": "c.mm.l.kg"}


Unit = Annotated[str, StringConstraints(max_length=4)]


class ChosenUnits(BaseModel):
    """Units and language as a form gives them; nothing is required."""

    temperature: Unit = "c"
    length: Unit = "mm"
    volume: Unit = "l"
    mass: Unit = "kg"
    language: Unit = ""

    @property
    def reader(self) -> Reader:
        """Who would read so; metric where the units make no sense."""
        units = ".".join((self.temperature, self.length, self.volume, self.mass))
        return units_from(units, self.language or "en")


def reader_of(request: Request) -> Reader:
    """Return whoever asks: units and language of this device, else of the person, else of the workshop.

    An address may ask for others, for a client's copy: `?units=us&language=de`.
    """
    who = getattr(request.state, "who", None)
    chosen = _of_this_page(request) or getattr(who, "units", None) or shop_reading(request).units
    return units_from(chosen, language_of(request))


def reader_without_sign_in(request: Request, units: str | None) -> Reader:
    """Return whoever opens a message's link: the units of this device, else these (the workshop's)."""
    return units_from(_of_this_page(request) or units, language_of(request))


def _of_this_page(request: Request) -> str | None:
    """Return the units that the address asks for, else those of the device; None where neither says any."""
    return SYSTEMS.get(request.query_params.get("units", "")) or request.cookies.get(COOKIE)


def language_of(request: Request) -> str:
    """Return the language of whoever asks: the address's, this device's, the person's, the workshop's, the browser's.

    Before sign-in the browser's wish goes before the workshop's.
    """
    who = getattr(request.state, "who", None)
    asked, chosen = request.query_params.get("language"), request.cookies.get(LANGUAGE_COOKIE)
    for language in (asked, chosen, getattr(who, "language", None)):
        if language in LANGUAGES:
            return str(language)
    of_shop, wished = shop_reading(request).language, wished_language(request)
    first, then = (of_shop, wished) if who is not None else (wished, of_shop)
    return first or then or "en"


def wished_language(request: Request) -> str | None:
    """Return the first language that the browser wishes and we have; None where there is none."""
    from babel.core import negotiate_locale

    wishes = [part.partition(";") for part in request.headers.get("accept-language", "").split(",")[:20]]
    by_weight = sorted(wishes, key=lambda wish: -_weight(wish[2]))
    asked = [name.strip().partition("-")[0] for name, _, weight in by_weight if _weight(weight) > 0]
    return negotiate_locale(asked, LANGUAGES)


def wished_units(request: Request) -> str:
    """Return the units that the browser's wish suggests: those of the United States for American English or Spanish."""
    first = request.headers.get("accept-language", "").partition(",")[0].partition(";")[0].strip().lower()
    return SYSTEMS["us"] if first.endswith("-us") else SYSTEMS["metric"]


def _weight(text: str) -> float:
    """Return a wish's weight (RFC 9110, section 12.4.2); 1 where it says none, 0 where it makes no sense."""
    if not text.strip():
        return 1.0
    try:
        return float(text.strip().removeprefix("q="))
    except ValueError:
        return 0.0


def shop_reading(request: Request) -> Reading:
    """Return how the workshop of whoever asks reads; asked of the database now and then.

    One that cannot be read changes nothing: a page says then what is wrong, and says it as before.
    """
    state, mine = request.app.state, SEES.get()
    now_ms = state.service.timeline.now_ms()
    by_shop: dict[int | None, tuple[int, Reading]] = getattr(state, "shop_reading", {})
    read_ms, reading = by_shop.get(mine, (-KEPT_MS, Reading()))
    if not 0 <= now_ms - read_ms < KEPT_MS:
        with suppress(SQLAlchemyError), state.service.store.read() as connection:
            reading = shop_events.reading_of(connection)
            state.shop_reading = by_shop | {mine: (now_ms, reading)}
    return reading


def forget_shop_reading(request: Request) -> None:
    """Ask the database again: the workshop has chosen anew."""
    request.app.state.shop_reading = {}


def keep_on_device(answer: Response, request: Request, units: str | None, language: str | None) -> None:
    """Have the browser keep units and language; None: as it was."""
    for cookie, value in ((COOKIE, units), (LANGUAGE_COOKIE, language)):
        if value is not None:
            secure = access.secure(request)
            answer.set_cookie(cookie, value, max_age=COOKIE_S, httponly=True, samesite="lax", secure=secure)
