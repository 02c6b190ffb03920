"""What is measured in the first hour: litres gone in against the plan, the level against a mark."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.alarms.first_hour import LevelMark, level_fell
from logger.errors import BadInput
from logger.store import page_queries, pours
from logger.words.phrase import phrase
from web.actions import pours as pour_actions
from web.actions import watching
from web.schemas import RowId
from web.security.access import MakerDep, ServiceDep
from web.service.service import Service
from web.views.reader_units import reader_of
from web.views.typed import as_typed, litres_from, mm_from, single

router = APIRouter(include_in_schema=False)
Field = Annotated[str, Form(max_length=20)]


@router.post("/pours/{pour_id}/measured")
def measure(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    poured: Field = "",
    level: Field = "",
) -> Response:
    """Keep what was measured, in the units of whoever measured; either may be left out."""
    if not poured.strip() and not level.strip():
        raise BadInput(
            phrase("what was measured"),
            phrase("is empty"),
            remedy=phrase("give what has gone in, or the level, or both"),
        )
    u = reader_of(request)
    if poured.strip():
        litres = single(litres_from(poured, phrase("Gone in"), u), poured, phrase("Gone in"))
        with as_typed(poured, phrase("litres poured")):
            watching.poured(service, pour_id, litres, who.name)
    if level.strip():
        mm = single(mm_from(level, phrase("Level"), u, signed=True), level, phrase("Level"))
        with as_typed(level, phrase("level")):
            watching.level(service, pour_id, mm, who.name)
    return RedirectResponse(f"/pours/{pour_id}/first-hour", 303)


def shown_measures(service: Service, pour_id: int) -> dict[str, Any]:
    """Return what the page shows of them."""
    with service.store.read() as connection:
        plan = pour_actions.plan_of(pours.get_pour(connection, pour_id))
        levels = page_queries.events_of_kind(connection, pour_id, "level")
        went_in = page_queries.events_of_kind(connection, pour_id, "poured")
    marks = [LevelMark(row.at_ms, row.facts["mm"], row.by) for row in levels]
    last = went_in[-1] if went_in else None
    return {
        "planned_l": watching.planned_litres(plan),
        "poured": None if last is None else {"litres": last.facts["litres"], "text": last.text},
        "levels": [{"at_ms": mark.at_ms, "mm": mark.level_mm} for mark in marks],
        "fell": level_fell(marks),
    }
