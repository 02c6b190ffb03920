"""A label for the table: whoever scans it later finds the record of its cure."""

from __future__ import annotations

import segno
from fastapi import APIRouter, Request
from starlette.responses import Response

from logger.store import pours
from web.schemas import RowId
from web.security.access import ServiceDep, ViewerDep
from web.views.render import page
from web.views.status import status_of

router = APIRouter(include_in_schema=False)


@router.get("/pours/{pour_id}/label")
def label(pour_id: RowId, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """One label, to print and to glue under the table."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        standing = status_of(service, connection, pour, service.timeline.true_ms())
    address = f"{service.settings.link_base}/pours/{pour_id}/record"
    # Level Q bears a quarter of its area scratched or stained (ISO/IEC 18004, from memory).
    code = segno.make(address, error="q", micro=False)
    context = {"pour": pour, "standing": standing, "address": address, "code": code.svg_data_uri(border=2)}
    return page(request, "label.html", context)
