"""Settings: in which units and language a person, a device and the workshop read; sound, signing out."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput
from logger.store import events, logos, people, shop_events
from logger.words.numbers import LANGUAGE_NAMES, LANGUAGES
from logger.words.phrase import phrase
from logger.words.reader import units_from
from web.actions import hand_over
from web.actions.photos import photo_of
from web.schemas import PHOTO_BODY
from web.security import access
from web.security.access import OwnerDep, PersonDep, ServiceDep, ViewerDep, Who
from web.service.service import Service
from web.views.data_uri import png
from web.views.reader_units import (
    COOKIE,
    LANGUAGE_COOKIE,
    ChosenUnits,
    Unit,
    forget_shop_reading,
    keep_on_device,
    language_of,
    shop_reading,
)
from web.views.render import page

router = APIRouter(include_in_schema=False)


class Chosen(ChosenUnits):
    """Units and language as the settings' forms give them. as_workshop: neither, but what the workshop reads."""

    as_workshop: Unit = ""

    @property
    def units(self) -> str:
        """As four words; metric where they make no sense."""
        return self.reader.cookie

    def checked_language(self) -> str | None:
        """Return the language; None where none was chosen. Raises BadInput."""
        if self.language and self.language not in LANGUAGES:
            raise BadInput(
                phrase("Language"),
                phrase("is not one of the list"),
                value=self.language,
                remedy=phrase("choose again"),
            )
        return self.language or None


ChosenForm = Annotated[Chosen, Form()]


@router.get("/settings")
def settings(request: Request, service: ServiceDep, who: ViewerDep) -> Response:
    """Show how this person reads, what this device shows, and whether it sounds."""
    return _page(request, service, who)


def _page(request: Request, service: Service, who: Who, problem: str | None = None) -> Response:
    of_shop = shop_reading(request)
    with service.store.read() as connection:
        logo = logos.logo_of(connection, who.shop_id)
    context = {
        "logo": None if logo is None else png(logo),
        "problem": problem,
        "languages": LANGUAGE_NAMES,
        "language": language_of(request),
        "of_shop": units_from(of_shop.units, language_of(request)),
        "language_of_shop": of_shop.language,
        "device_differs": COOKIE in request.cookies or LANGUAGE_COOKIE in request.cookies,
    }
    return page(request, "settings.html", context, status=422 if problem else 200)


@router.post("/settings/reading")
def choose_reading(request: Request, service: ServiceDep, who: PersonDep, chosen: ChosenForm) -> Response:
    """Keep in which units and language somebody reads, on all their devices and in their messages."""
    units, language = (None, None) if chosen.as_workshop else (chosen.units, chosen.checked_language())
    with service.store.write() as tx:
        people.choose_reading(tx, who.id, units, language)
        data = {"units": units, "language": language}
        events.add_event(
            tx, None, service.timeline.true_ms(), "reading-chosen", who.name, data=data, shop_id=who.shop_id
        )
    answer = RedirectResponse("/settings", 303)
    # This device goes by its person again.
    for cookie in (COOKIE, LANGUAGE_COOKIE):
        answer.delete_cookie(cookie, secure=access.secure(request), httponly=True)
    return answer


@router.post("/settings/units")
def choose_units(request: Request, _who: PersonDep, chosen: ChosenForm) -> Response:
    """Keep units and language on this device alone."""
    answer = RedirectResponse("/settings", 303)
    keep_on_device(answer, request, chosen.units, chosen.checked_language())
    return answer


@router.post("/settings/workshop")
def choose_for_workshop(request: Request, service: ServiceDep, who: OwnerDep, chosen: ChosenForm) -> Response:
    """Keep how the workshop reads: its records, its wall screens, and everybody who has chosen nothing."""
    data = {"units": chosen.units, "language": chosen.checked_language()}
    with service.store.write() as tx:
        kind = shop_events.UNITS_CHOSEN
        events.add_event(tx, None, service.timeline.true_ms(), kind, who.name, data=data, shop_id=who.shop_id)
    forget_shop_reading(request)
    return RedirectResponse("/settings", 303)


@router.post("/settings/logo", max_body_size=PHOTO_BODY)
async def choose_logo(request: Request, service: ServiceDep, who: OwnerDep) -> Response:
    """Keep a picture as the workshop's logo: on sheets for clients, their annex and public cards."""
    _given, raw = await photo_of(request)
    try:
        await run_in_threadpool(hand_over.choose_logo, service, raw, who)
    except BadInput as error:
        return await run_in_threadpool(_page, request, service, who, str(error.fact))
    return RedirectResponse("/settings#logo", 303)


@router.post("/settings/logo/remove")
def remove_logo(service: ServiceDep, who: OwnerDep) -> Response:
    """Show no logo any more."""
    hand_over.remove_logo(service, who)
    return RedirectResponse("/settings#logo", 303)
