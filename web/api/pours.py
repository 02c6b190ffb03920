"""Pours: plan, stage, curve, notes."""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

from fastapi import APIRouter, Query, Request
from pydantic import ValidationError
from starlette.responses import Response

from logger.errors import BadInput
from logger.pour import Stage
from logger.store import pours, stations
from logger.store.rows import ListedPour
from logger.words.phrase import phrase
from web.actions import ending as exceptions
from web.actions import pours as pour_actions
from web.actions import undo as undoing
from web.actions.ending import ending_of
from web.answers import ERRORS, CurveAnswer, EndingAnswer, PourAnswer, PourListed, UndoAnswer
from web.schemas import (
    PLAN_BODY,
    ExceptionShape,
    NewPour,
    NoteShape,
    PlanShape,
    RowId,
    StepShape,
    UndoShape,
)
from web.security.access import MakerDep, ReaderDep, ServiceDep, ViewerDep
from web.security.idempotency import OnceDep
from web.service.service import Service
from web.views.status import status_json, status_of

router = APIRouter(prefix="/api/pours", tags=["pours"], responses=ERRORS)


@router.get("")
def all_pours(service: ServiceDep, _who: ViewerDep) -> list[PourListed]:
    """Every pour, newest first, records from elsewhere among them; the prediction is in each pour's own answer."""
    with service.store.read() as connection:
        listed = pours.all_pours(connection, foreign=True)
        names = stations.names_of(connection, (row.station_id for row in listed))
    answers = []
    for row in listed:
        try:
            answers.append(_listed(row, names))
        except BadInput:
            continue  # its own page says so, and the others are listed
    return answers


@router.post("", status_code=201, max_body_size=PLAN_BODY)
def plan_pour(new: NewPour, service: ServiceDep, who: MakerDep, done: OnceDep) -> PourAnswer:
    """Plan a pour from a plan file and predict it; once, with an `Idempotency-Key`."""
    if done is not None:
        return one(service, done.of_pour)
    pour_id = pour_actions.plan_pour(service, new.plan_toml, new.client, new.station, who.name)
    return one(service, pour_id)


@router.get("/{pour_id}")
def get_pour(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> PourAnswer:
    """One pour."""
    return one(service, pour_id)


@router.put("/{pour_id}/plan", max_body_size=PLAN_BODY)
def change_plan(pour_id: RowId, plan: PlanShape, service: ServiceDep, who: MakerDep) -> PourAnswer:
    """Replace the plan of a pour that has not been poured."""
    pour_actions.change_plan(service, pour_id, plan.plan_toml, who.name)
    return one(service, pour_id)


@router.post("/{pour_id}/stage")
def next_stage(pour_id: RowId, step: StepShape, service: ServiceDep, who: MakerDep) -> PourAnswer:
    """Take the pour to its next stage; a step that nothing takes by accident with what confirms it."""
    pour_actions.move_on(service, pour_id, step.to, who.name, step.text, step.confirm)
    return one(service, pour_id)


@router.post("/{pour_id}/undo")
def undo(pour_id: RowId, meant: UndoShape, service: ServiceDep, who: MakerDep) -> PourAnswer:
    """Take the pour's last step back, within ten minutes: first hour over, out of the form, given up, sealed."""
    undoing.undo(service, pour_id, who.name, meant.mark)
    return one(service, pour_id)


@router.get("/{pour_id}/ending")
def ending(
    pour_id: RowId, service: ServiceDep, _who: ViewerDep, to: Annotated[Stage | None, Query()] = None
) -> EndingAnswer:
    """Return what stands in the way of a step (by default, the end of the watch, or the seal), who has signed an
    exception, what confirms it; and the last step, while it can be taken back."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        last = undoing.undoable(service, connection, pour)
        return ending_of(service, connection, pour, to).to_answer(
            exceptions.confirmation(
                connection, pour, to or exceptions.end_of(pour), service.timeline.true_ms()
            ),
            None
            if last is None
            else UndoAnswer(
                step=last.event.kind,
                by=last.event.by,
                at_ms=last.event.at_ms,
                until_ms=last.until_ms,
                mark=last.mark,
            ),
        )


@router.post("/{pour_id}/ending/exception")
def sign_exception(
    pour_id: RowId, signed: ExceptionShape, service: ServiceDep, who: MakerDep
) -> EndingAnswer:
    """Somebody answers for a step that something stands in the way of: it may be taken within half an hour."""
    exceptions.sign_exception(service, pour_id, signed.person, signed.reason, who.name, signed.to)
    return ending(pour_id, service, who, signed.to)


@router.post("/{pour_id}/notes", status_code=201)
def add_note(pour_id: RowId, new: NoteShape, service: ServiceDep, who: MakerDep, done: OnceDep) -> PourAnswer:
    """Add a note; to a sealed record with the reason why; once, with an `Idempotency-Key`."""
    if done is None:
        pour_actions.add_entry(service, pour_id, who.name, pour_actions.Entry(new.text, reason=new.reason))
    return one(service, pour_id)


@router.get("/{pour_id}/curve", response_model=CurveAnswer)
def curve(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    _who: ReaderDep,
    width: Annotated[int, Query(ge=50, le=4000)] = 800,
) -> Response:
    """Return the measured curves, thinned to a screen's width; no hot sample is lost."""
    shown = "[]"
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        if pour.poured_ms is not None:
            shown = service.curves.thinned_json(connection, pour_id, pour.poured_ms, width)
    now_h = None if pour.poured_ms is None else (service.timeline.true_ms() - pour.poured_ms) / 3.6e6
    about = json.dumps({"pour": pour_id, "stage": pour.stage, "now_h": now_h}, allow_nan=False)
    body = f'{about[:-1]}, "traces": {shown}}}'.encode()
    if "gzip" not in request.headers.get("accept-encoding", ""):
        return Response(body, media_type="application/json", headers={"Vary": "Accept-Encoding"})
    # Level 4: half a millisecond's worth larger than the best, and three times as quick.
    return Response(
        gzip.compress(body, 4),
        media_type="application/json",
        headers={"Content-Encoding": "gzip", "Vary": "Accept-Encoding"},
    )


def one(service: Service, pour_id: int) -> PourAnswer:
    """One pour as programs see it."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        names = stations.names_of(connection, [pour.station_id])
        listed = _listed(pour, names)
        stands = status_of(service, connection, pour, service.timeline.true_ms())
    with _sound(pour):
        return PourAnswer(**listed.model_dump(), prediction=pour.prediction, standing=status_json(stands))


@contextmanager
def _sound(pour: ListedPour) -> Iterator[None]:
    """Raise BadInput for a record from elsewhere that an earlier program took in without a look at it."""
    try:
        yield
    except ValidationError as error:
        if pour.origin is None:
            raise
        raise BadInput(
            phrase("pour {pour_id}", pour_id=pour.id),
            phrase("is a record from elsewhere that cannot be shown"),
            remedy=phrase("an owner can delete it on its record's page"),
        ) from error


def _listed(pour: ListedPour, names: dict[int, str]) -> PourListed:
    with _sound(pour):
        return PourListed(
            id=pour.id,
            title=pour.title,
            client=pour.client,
            stage=pour.stage,
            station=None if pour.station_id is None else names.get(pour.station_id),
            created_ms=pour.created_ms,
            poured_ms=pour.poured_ms,
            released_ms=pour.released_ms,
            closed_ms=pour.closed_ms,
            plan_toml=pour.plan_toml,
            workshop=None if pour.origin is None else str(pour.origin["workshop"]),
        )
