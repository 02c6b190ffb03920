"""A message's link to a look: three big buttons, without signing in. Opening it does nothing."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Path, Request
from starlette.responses import Response

from logger.alarms.first_hour import LookResult, advice
from logger.condition.judgement import Severity
from logger.delivery.signed_links import LONGEST, LinkRefused
from logger.errors import BadInput, NotAllowed
from logger.store import pours, shop_events
from logger.words.phrase import phrase
from web.actions import look_links
from web.security.access import ServiceDep
from web.service.service import Service
from web.views.render import unsigned_page
from web.views.status import status_of

router = APIRouter(include_in_schema=False)
Token = Annotated[str, Path(max_length=2 * LONGEST)]
#: A button's value → what was found.
FINDINGS = {"dry": LookResult.DRY, "wet": LookResult.LEAKING}


@router.get("/look/{token}")
def show(token: Token, request: Request, service: ServiceDep) -> Response:
    """Ask what the look has found. Opening it does nothing."""
    try:
        asked = look_links.asked_look(service, token)
    except LinkRefused as refusal:
        return _page(request, service, {"refused": refusal.fact}, 410)
    return _page(request, service, {"asked": asked})


@router.post("/look/{token}")
def press(
    token: Token, request: Request, service: ServiceDep, answer: Annotated[str, Form(max_length=10)]
) -> Response:
    """Note what was found, or ask again a little later."""
    if answer != "later" and answer not in FINDINGS:
        raise BadInput(
            phrase("answer"),
            phrase("is not one of the answers"),
            value=answer,
            allowed=phrase("dry, wet, later"),
            remedy=phrase("press again"),
        )
    try:
        asked = look_links.asked_look(service, token)
        again_ms = None
        if answer == "later":
            again_ms = look_links.later(service, token)
        else:
            look_links.note_finding(service, token, FINDINGS[answer])
    except LinkRefused as refusal:
        return _page(request, service, {"refused": refusal.fact}, 410)
    except NotAllowed as refusal:
        return _page(request, service, {"asked": asked, "refused": refusal.fact}, 409)
    wet = answer == "wet"
    done = {
        "asked": asked,
        "done": answer,
        "again_ms": again_ms,
        "advice": advice(LookResult.LEAKING) if wet else (),
    }
    return _page(request, service, done)


def _page(request: Request, service: Service, context: dict[str, Any], status: int = 200) -> Response:
    asked = context.get("asked")
    with service.store.read() as connection:
        mine = None if asked is None else shop_events.units_of_pour(connection, asked.pour.id)
        standing = None
        if asked is not None:
            now = pours.get_pour(connection, asked.pour.id)
            standing = status_of(service, connection, now, service.timeline.true_ms())
    # A look is no reason to walk up to a hot core: what is graver leads here too.
    grave = standing is not None and standing.live and standing.condition.severity >= Severity.BLIND
    defaults: dict[str, Any] = {
        "standing": standing,
        "grave": grave,
        "asked": None,
        "refused": None,
        "done": None,
        "again_ms": None,
        "advice": (),
    }
    return unsigned_page(request, "look-link.html", defaults | context, status, mine)
