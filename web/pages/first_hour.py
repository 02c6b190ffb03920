"""The first hour: is it leaking? Looks due and done, wet contacts, what to do when it is not dry."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.alarms.first_hour import (
    MINUTE_MS,
    LookResult,
    advice,
    due_times_ms,
    next_due_ms,
    summarize_looks,
)
from logger.condition.condition_words import STAGE_WORDS
from logger.errors import BadInput, NotAllowed
from logger.pour import LIVE, Stage
from logger.store import page_queries, pours
from logger.words.phrase import phrase
from web.actions import look_links
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
#: What a look looks at.
POINTS = (phrase("Dry below the form"), phrase("Level as it was"), phrase("No smell of heat"))
#: The answer of whoever cannot go now.
LATER = "later"
#: So long before a look is due it may be put off, ms: from its first reminder on.
SOON_MS = 2 * MINUTE_MS
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
        asked = look_links.asked_of_pour(service, connection, pour_id)
        again_ms = look_links.asked_again_ms(service, connection, asked)
    if pour.poured_ms is None:
        raise NotAllowed(
            phrase(
                "pour {pour_id} has not been poured yet; its first hour begins with the first pail",
                pour_id=pour_id,
            )
        )
    due_ms = next_due_ms(pour.poured_ms, service.rhythm, looks)
    last = looks[-1] if looks else None
    seen = summarize_looks(pour.poured_ms, service.rhythm, looks, now_ms)
    fine = last is not None and last.finding is LookResult.DRY and (seen.over or not _due(due_ms, now_ms))
    return page(
        request,
        "first-hour.html",
        {
            "pour": pour,
            "stage_word": STAGE_WORDS[Stage(pour.stage)],
            "looks": looks[::-1],
            "due_ms": due_ms,
            "seen": seen,
            "live": pour.stage in LIVE,
            "advice": advice(last.finding) if last else (),
            "last": last,
            "points": [{"tone": "ok" if fine else "open", "text": text} for text in POINTS],
            "may_wait": asked.later and _due(due_ms, now_ms + SOON_MS),
            "again_ms": again_ms,
            "words": FINDING_WORDS,
            "others": [each for each in LookResult if each not in (LookResult.DRY, LookResult.LEAKING)],
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
    """Somebody looked, or says that they will a little later."""
    if finding == LATER:
        look_links.later_of_pour(service, pour_id, who.name)
        return RedirectResponse(f"/pours/{pour_id}/first-hour", 303)
    if finding not in set(LookResult):
        raise BadInput(
            phrase("finding"),
            phrase("is not one of the answers"),
            value=finding,
            allowed=", ".join((*LookResult, LATER)),
            remedy=phrase("go back and press again"),
        )
    pour_actions.look(service, pour_id, pour_actions.MadeLook(LookResult(finding), text), who.name)
    return RedirectResponse(f"/pours/{pour_id}/first-hour", 303)


def _due(due_ms: int | None, now_ms: int) -> bool:
    return due_ms is not None and due_ms <= now_ms
