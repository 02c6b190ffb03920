"""Do messages arrive? When a test was last confirmed, what waits, and why."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from web.actions import watching
from web.actions.message_test import CONFIRMED_DAYS, messages_of
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.views.reader_units import reader_of
from web.views.render import page

router = APIRouter(include_in_schema=False)


@router.get("/messages")
def messages(request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Show the addresses without their secrets, the last test, the newest messages."""
    delivery = messages_of(service, reader_of(request))
    age_h = delivery.confirmed_h_ago
    return page(
        request,
        "messages.html",
        {"delivery": delivery, "old": age_h is None or age_h > 24 * CONFIRMED_DAYS, "days": CONFIRMED_DAYS},
    )


@router.post("/messages/test")
def send_test(service: ServiceDep, who: MakerDep) -> Response:
    """Send a test message to every address."""
    watching.send_trial(service, who.name)
    return RedirectResponse("/messages", 303)
