"""The first hour: is it leaking? Looks due and done, wet contacts, what to do when it is not dry."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.alarms.first_hour import LookResult, advice, due_times_ms, next_due_ms, summarize_looks
from logger.condition.condition_words import STAGE_WORDS
from logger.errors import BadInput, NotAllowed
from logger.pour import LIVE, Stage
from logger.store import page_queries, pours
from logger.words.phrase import phrase
from web.actions import pours as pour_actions
from web.pages.first_hour_measures import shown_measures
from web.schemas import RowId
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.views.render import page

router = APIRouter(include_in_schema=False)
FINDING_WORDS = {
    LookResult.DRY: phrase("Dry, level, no smell of heat"),
    LookResult.LEAKING: phrase("It is leaking"),
    LookResult.LEVEL_FELL: phrase("The level fell"),
    LookResult.HOT: phrase("It smells, smokes or is hot"),
    LookResult.OTHER: phrase("Something else"),
}
LEAK_KIT = (
    phrase("gloves and eye protection"),
    phrase("clean tray"),
    phrase("rags"),
    phrase("tape"),
    phrase("hot glue or silicone"),
    phrase("clamps"),
    phrase("dry sand"),
)


@router.get("/pours/{pour_id}/first-hour")
def first_hour(pour_id: RowId, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Show the looks of one pour."""
    now_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        looks = page_queries.looks_of(connection, pour_id)
        contacts = page_queries.contacts_of(connection, pour_id)
    if pour.poured_ms is None:
        raise NotAllowed(
            phrase(
                "pour {pour_id} has not been poured yet; its first hour begins with the first pail",
                pour_id=pour_id,
            )
        )
    due_ms = next_due_ms(pour.poured_ms, service.rhythm, looks)
    last = looks[-1] if looks else None
    return page(
        request,
        "first-hour.html",
        {
            "pour": pour,
            "stage_word": STAGE_WORDS[Stage(pour.stage)],
            "looks": looks[::-1],
            "due_ms": due_ms,
            "seen": summarize_looks(pour.poured_ms, service.rhythm, looks, now_ms),
            "live": pour.stage in LIVE,
            "advice": advice(last.finding) if last else (),
            "last": last,
            "words": FINDING_WORDS,
            "others": [finding for finding in LookResult if finding is not LookResult.DRY],
            "later": [
                ms
                for ms in due_times_ms(pour.poured_ms, service.rhythm)
                if due_ms is not None and ms > due_ms
            ],
            "contacts": {place: row for place, row in contacts.items() if place.startswith("under-form")},
            "kit": LEAK_KIT,
            "measured": shown_measures(service, pour_id),
        },
    )


@router.post("/pours/{pour_id}/looks")
def look(
    pour_id: RowId,
    service: ServiceDep,
    who: MakerDep,
    finding: Annotated[str, Form(max_length=20)],
    text: Annotated[str, Form(max_length=1000)] = "",
) -> Response:
    """Somebody looked."""
    if finding not in set(LookResult):
        raise BadInput(
            phrase("finding"),
            phrase("is not one of the answers"),
            value=finding,
            allowed=", ".join(LookResult),
            remedy=phrase("go back and press again"),
        )
    pour_actions.look(service, pour_id, pour_actions.MadeLook(LookResult(finding), text), who.name)
    return RedirectResponse(f"/pours/{pour_id}/first-hour", 303)
