"""Settings of this device and of whoever is signed in: units, sound, signing out."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.words.reader import units_from
from web.security.access import PersonDep, ViewerDep
from web.views.reader_units import COOKIE
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: How long a device keeps its units, s.
COOKIE_S = 5 * 365 * 24 * 3600


@router.get("/settings")
def settings(request: Request, _who: ViewerDep) -> Response:
    """Show what this device shows, and whether it sounds."""
    return page(request, "settings.html")


@router.post("/settings/units")
def choose_units(
    request: Request,
    _who: PersonDep,
    temperature: Annotated[str, Form(max_length=4)],
    length: Annotated[str, Form(max_length=4)],
    volume: Annotated[str, Form(max_length=4)],
    mass: Annotated[str, Form(max_length=4)],
) -> Response:
    """Keep the units on this device."""
    answer = RedirectResponse("/settings", 303)
    cookie = units_from(".".join((temperature, length, volume, mass))).cookie
    answer.set_cookie(
        COOKIE, cookie, max_age=COOKIE_S, httponly=True, samesite="lax", secure=request.url.scheme == "https"
    )
    return answer
