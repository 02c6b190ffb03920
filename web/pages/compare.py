"""The compare page: do pours do what was predicted, and do like ones behave alike?"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Query, Request
from markupsafe import Markup
from pydantic import BaseModel, Field
from starlette.responses import Response

from logger.record import compare
from logger.words.phrase import phrase
from web.security.access import ServiceDep, ViewerDep
from web.views.compared_pours import compared_chart, every_pour, thinned_pour
from web.views.reader_units import reader_of
from web.views.render import page
from web.views.typed import Span, celsius_from, mm_from, single

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Field(max_length=200)]


class Chosen(BaseModel):
    """Which pours are compared: a resin, a range of depths and of rooms, and of these the pours that are ticked."""

    resin: Text = ""
    depth_from: Text = ""
    depth_to: Text = ""
    room_from: Text = ""
    room_to: Text = ""
    pour: Annotated[list[int] | None, Field(max_length=200)] = None


@router.get("/compare")
def compare_page(
    request: Request, service: ServiceDep, _who: ViewerDep, chosen: Annotated[Chosen, Query()]
) -> Response:
    """Pours laid over one another from the moment of pouring."""
    u = reader_of(request)
    everything = every_pour(service)
    depth = _span(chosen.depth_from, chosen.depth_to, phrase("Depth"), partial(mm_from, u=u))
    room = _span(chosen.room_from, chosen.room_to, phrase("Room"), partial(celsius_from, u=u))
    matching = compare.chosen(everything, resin=chosen.resin, depth_mm=depth, room_c=room)
    shown = [one for one in matching if not chosen.pour or one.pour in chosen.pour]
    drawn = [thinned_pour(one) for one in shown[: compare.MOST]]
    return page(
        request,
        "compare.html",
        {
            "matching": matching,
            "shown": {one.pour for one in shown[: compare.MOST]},
            "given": chosen.model_dump(exclude={"pour"}),
            "resins": sorted({one.resin for one in everything}),
            "errors": compare.errors(matching),
            "most": compare.MOST,
            "left": max(0, len(shown) - compare.MOST),
            "chart": compared_chart(drawn, u),
            "plain": Markup(compare.overlay(drawn, u)) if drawn else None,
        },
    )


def _span(low: str, high: str, name: str, read: Callable[[str, str], Span]) -> tuple[float, float] | None:
    if not low.strip() and not high.strip():
        return None
    first = single(read(low, name), low, name) if low.strip() else -1e9
    last = single(read(high, name), high, name) if high.strip() else 1e9
    return (first, last)
