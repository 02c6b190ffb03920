"""From stage to stage: what nothing takes by accident is asked for, confirmed, and taken back for ten minutes."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.alarms.ending import EXCEPTION_MIN
from logger.condition.condition_words import STAGE_WORDS
from logger.errors import BadInput, NotConfirmed
from logger.pour import FOLLOWS, UNDO_MS, Stage
from logger.store import pours
from logger.words.phrase import phrase
from web.actions import ending
from web.actions import pours as pour_actions
from web.actions import undo as undoing
from web.schemas import RowId
from web.security.access import MakerDep, ServiceDep
from web.views.render import page
from web.views.status import status_of

router = APIRouter(include_in_schema=False)
#: What a maker does to take the pour on, and what that says.
STEP_WORDS: dict[Stage, tuple[str, str]] = {
    Stage.POURING: (
        phrase("Start pouring"),
        phrase("Press it when you tip the first pail. It starts the pour's clock."),
    ),
    Stage.WATCHED: (
        phrase("The form is full and level"),
        phrase("The first hour begins: you are asked to look at the form."),
    ),
    Stage.CURING: (
        phrase("The first hour is over"),
        phrase("You can leave. The probes keep watching."),
    ),
    Stage.RELEASED: (phrase("Demoulded: stop watching"), phrase("Readings end here.")),
    Stage.CLOSED: (
        phrase("Seal the record"),
        phrase("Nothing in it can be changed afterwards; additions are listed separately."),
    ),
}
#: A step that is asked for first → its name, and what it comes to.
ASKED_WORDS: dict[Stage, tuple[str, str]] = {
    Stage.CURING: (
        STEP_WORDS[Stage.CURING][0],
        phrase("You are not asked to look any more. The probes keep watching."),
    ),
    Stage.RELEASED: (
        STEP_WORDS[Stage.RELEASED][0],
        phrase("The watch ends: no more readings of this pour, and no more alarms."),
    ),
    Stage.SPOILED: (
        phrase("Cancel this pour"),
        phrase("The watch ends: no more readings of this pour, and no more alarms. Its record stays."),
    ),
    Stage.CLOSED: (STEP_WORDS[Stage.CLOSED][0], STEP_WORDS[Stage.CLOSED][1]),
}


def _stage(text: str) -> Stage:
    if text not in set(Stage):
        raise BadInput(
            "to",
            phrase("is not a stage"),
            value=text,
            allowed=", ".join(Stage),
            remedy=phrase("go back and press again"),
        )
    return Stage(text)


@router.get("/pours/{pour_id}/step")
def ask(pour_id: RowId, to: str, request: Request, service: ServiceDep, _who: MakerDep) -> Response:
    """Ask once more before a step that nothing takes by accident: which pour, how hot it is, what it comes to."""
    step, now_ms = _stage(to), service.timeline.true_ms()
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        stage = Stage(pour.stage)
        if step not in ending.CONFIRMED or step not in FOLLOWS[stage]:
            raise NotConfirmed(
                phrase(
                    "{pour}: nothing was changed. Its stage is now: {stage}. That step does not follow it: open "
                    "the pour's page.",
                    pour=pour.title,
                    stage=STAGE_WORDS[stage],
                )
            )
        shown = {
            "pour": pour,
            "to": step,
            "word": ASKED_WORDS[step][0],
            "what": ASKED_WORDS[step][1],
            "stage_word": STAGE_WORDS[stage],
            "standing": status_of(service, connection, pour, now_ms),
            "end": ending.ending_of(service, connection, pour, step),
            "confirm": ending.confirmation(connection, pour, step, now_ms),
            "exception_min": EXCEPTION_MIN,
            "undo_min": UNDO_MS // 60_000,
        }
    return page(request, "step.html", shown)


@router.post("/pours/{pour_id}/stage")
def take_on(
    pour_id: RowId,
    service: ServiceDep,
    who: MakerDep,
    to: Annotated[str, Form(max_length=16)],
    text: Annotated[str, Form(max_length=4000)] = "",
    confirm: Annotated[str, Form(max_length=60)] = "",
) -> Response:
    """Take the pour to its next stage."""
    step = _stage(to)
    pour_actions.move_on(service, pour_id, step, who.name, text, confirm)
    path = "/record" if step is Stage.CLOSED else "/first-hour" if step is Stage.WATCHED else ""
    return RedirectResponse(f"/pours/{pour_id}{path}", 303)


@router.post("/pours/{pour_id}/undo")
def undo(
    pour_id: RowId, service: ServiceDep, who: MakerDep, mark: Annotated[int, Form(ge=0, le=2**53)]
) -> Response:
    """Take the pour's last step back."""
    undoing.undo(service, pour_id, who.name, mark)
    return RedirectResponse(f"/pours/{pour_id}", 303)


@router.post("/pours/{pour_id}/ending")
def sign_exception(
    pour_id: RowId,
    service: ServiceDep,
    who: MakerDep,
    person: Annotated[str, Form(max_length=ending.LONGEST_NAME)],
    reason: Annotated[str, Form(max_length=ending.LONGEST_REASON)],
    to: Annotated[str, Form(max_length=16)] = "",
) -> Response:
    """Somebody answers for a step that something stands in the way of; taking it is a step of its own."""
    step = _stage(to) if to else None
    ending.sign_exception(service, pour_id, person, reason, who.name, step)
    back = "/step?to=spoiled" if step is Stage.SPOILED else "#ending"
    return RedirectResponse(f"/pours/{pour_id}{back}", 303)
