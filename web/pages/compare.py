"""The compare page: do pours do what was predicted, and do like ones behave alike?"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from markupsafe import Markup
from starlette.responses import Response

from logger.record import compare
from web.security.access import ServiceDep, ViewerDep
from web.views.compared_pours import every_pour
from web.views.render import page
from web.views.units import number_from, units_of

router = APIRouter(include_in_schema=False)
Field = Annotated[str, Query(max_length=200)]


@router.get("/compare")
def compare_page(
    request: Request,
    service: ServiceDep,
    _who: ViewerDep,
    resin: Field = "",
    depth_from: Field = "",
    depth_to: Field = "",
    room_from: Field = "",
    room_to: Field = "",
    pour: Annotated[list[int] | None, Query(max_length=200)] = None,
) -> Response:
    """Pours laid over one another from the moment of pouring."""
    u = units_of(request)
    everything = every_pour(service)
    given = {
        "resin": resin,
        "depth_from": depth_from,
        "depth_to": depth_to,
        "room_from": room_from,
        "room_to": room_to,
    }
    depth = _span(depth_from, depth_to, "Depth", u.to_mm)
    room = _span(room_from, room_to, "Room", u.to_c)
    found = compare.chosen(everything, resin=resin, depth_mm=depth, room_c=room)
    shown = [one for one in found if not pour or one.pour in pour]
    return page(
        request,
        "compare.html",
        {
            "found": found,
            "shown": {one.pour for one in shown[: compare.MOST]},
            "given": given,
            "resins": sorted({one.resin for one in everything}),
            "errors": compare.errors(found),
            "most": compare.MOST,
            "left": max(0, len(shown) - compare.MOST),
            "plot": Markup(compare.overlay(shown[: compare.MOST], u.degrees, u.degree)) if shown else None,
        },
    )


def _span(low: str, high: str, name: str, turned: Any) -> tuple[float, float] | None:
    if not low.strip() and not high.strip():
        return None
    first = turned(number_from(low, name)) if low.strip() else -1e9
    last = turned(number_from(high, name)) if high.strip() else 1e9
    return (first, last)
