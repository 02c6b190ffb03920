"""A label for the table: whoever scans it, years later, finds the public card of its cure."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput
from logger.record.gather import gather
from logger.store import pours, shared_links
from web.actions import hand_over
from web.schemas import RowId
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.data_uri import qr_code
from web.views.hand_over import cure_verdict
from web.views.render import page
from web.views.status import status_of

router = APIRouter(include_in_schema=False)


@router.get("/pours/{pour_id}/label")
def label(pour_id: RowId, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """One label, to print and to glue under the table; before its card is open, the question whether to open it."""
    return _page(request, service, pour_id)


@router.post("/pours/{pour_id}/label")
def open_card(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    title: Annotated[str, Form(max_length=100)] = "",
) -> Response:
    """Open the public card that the label's code leads to."""
    try:
        hand_over.publish_card(service, pour_id, title, who)
    except BadInput as error:
        return _page(request, service, pour_id, str(error.fact))
    return RedirectResponse(f"/pours/{pour_id}/label", 303)


def card_address(service: Service, token: str) -> str:
    """Return where a public card is."""
    return f"{service.settings.link_base}/card/{token}"


def _page(request: Request, service: Service, pour_id: int, problem: str | None = None) -> Response:
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        card = shared_links.card_of(connection, pour_id)
        standing = status_of(service, connection, pour, service.timeline.true_ms())
        record = gather(connection, pour_id, service.settings.workshop) if not standing.live else None
    address = None if card is None else card_address(service, str(card.token))
    context = {
        "pour": pour,
        "standing": standing,
        "verdict": None if record is None or pour.poured_ms is None else cure_verdict(record),
        "card": card,
        "address": address,
        "code": None if address is None else qr_code(address),
        "problem": problem,
    }
    return page(request, "label.html", context, status=422 if problem else 200)
