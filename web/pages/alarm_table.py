"""The table of alarms: what may be called, when, and what is to be done then. As the documents have it."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from logger.alarms.registry import KINDS, MATRIX, Harm
from web.security.access import ViewerDep
from web.views.render import page

router = APIRouter(include_in_schema=False)


@router.get("/alarms/table")
def alarm_table(request: Request, _who: ViewerDep) -> Response:
    """Every kind with all that was thought through before it may exist."""
    return page(
        request, "alarm-table.html", {"kinds": list(KINDS.values()), "matrix": MATRIX, "harms": list(Harm)}
    )
