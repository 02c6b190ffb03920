"""The compare page: do pours do what was predicted, and do like ones behave alike?"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from markupsafe import Markup
from starlette.responses import Response

from logger.errors import BadInput, LoggerError
from logger.plan_file import plan_from_text
from logger.record import compare
from logger.record.gather import CURVE_COLUMNS, foreign_record
from logger.store import pours, shop
from web.access import ServiceDep, ViewerDep
from web.pages.frame import page
from web.pages.measures import number_from, units_of
from web.service import Service

router = APIRouter(include_in_schema=False)
Field = Annotated[str, Query(max_length=200)]


@router.get("/compare")
def compare_page(
    request: Request, service: ServiceDep, _who: ViewerDep, resin: Field = "", depth_from: Field = "",
    depth_to: Field = "", room_from: Field = "", room_to: Field = "",
    pour: Annotated[list[int] | None, Query(max_length=200)] = None,
) -> Response:  # fmt: skip
    """Pours laid over one another from the moment of pouring."""
    u = units_of(request)
    everything = every_pour(service)
    given = {"resin": resin, "depth_from": depth_from, "depth_to": depth_to, "room_from": room_from,
             "room_to": room_to}  # fmt: skip
    depth = _span(depth_from, depth_to, "Depth", u.to_mm)
    room = _span(room_from, room_to, "Room", u.to_c)
    found = compare.chosen(everything, resin=resin, depth_mm=depth, room_c=room)
    shown = [one for one in found if not pour or one.pour in pour]
    return page(
        request,
        "compare.html",
        {"found": found, "shown": {one.pour for one in shown[: compare.MOST]}, "given": given,
         "resins": sorted({one.resin for one in everything}), "errors": compare.errors(found),
         "most": compare.MOST, "left": max(0, len(shown) - compare.MOST),
         "plot": Markup(compare.overlay(shown[: compare.MOST], u.degrees, u.degree)) if shown else None},
    )  # fmt: skip


def every_pour(service: Service) -> list[compare.Compared]:
    """Every pour that was poured, oldest first: sealed ones from their record, others from their readings.

    Then the records from elsewhere; one that is none is told on its own page.
    """
    made: list[compare.Compared] = []
    with service.store.read() as connection:
        foreign = shop.foreign_records(connection)
        sealed: dict[int, dict[str, Any]] = dict(shop.sealed_records(connection))
        for row in reversed(pours.all_pours(connection)):
            if row.poured_ms is None:
                continue
            if row.id in sealed:
                record = sealed[row.id]
                made.append(compare.compared(row.id, record["plan"], record["prediction"], record["curves"]))
                continue
            prediction = pours.get_pour(connection, row.id).prediction
            curves = service.curves.thinned(connection, row.id, row.poured_ms, CURVE_COLUMNS)
            try:
                plan = plan_from_text(row.plan_toml).model_dump(exclude_none=True, mode="json")
            except LoggerError:
                # A plan of an older program that no longer reads: its record still tells it.
                continue
            made.append(compare.compared(row.id, plan, prediction, curves))
    for row in reversed(foreign):
        try:
            record = foreign_record(row.body or "", f"pour {row.id}")
        except BadInput:
            continue
        if record["pour"]["poured_ms"] is not None:
            made.append(compare.compared(row.id, record["plan"], record["prediction"], record["curves"],
                                         str(row.origin["workshop"])))  # fmt: skip
    return made


def _span(low: str, high: str, name: str, turned: Any) -> tuple[float, float] | None:
    if not low.strip() and not high.strip():
        return None
    first = turned(number_from(low, name)) if low.strip() else -1e9
    last = turned(number_from(high, name)) if high.strip() else 1e9
    return (first, last)
