"""What people tell a record: how it ended, tests, lots, layers; on a sealed record as additions with a reason."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from pydantic import BaseModel, StringConstraints
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from logger.record import event_views
from logger.record.shop_history import check_lot
from logger.words.phrase import phrase
from logger.words.reader import Reader
from web.actions import pours
from web.actions.pours import Entry
from web.schemas import RowId
from web.security.access import MakerDep, ServiceDep
from web.views.reader_units import language_of, reader_of
from web.views.typed import kg_from, number_from, single

router = APIRouter(include_in_schema=False)

Word = Annotated[str, StringConstraints(max_length=300)]
Long = Annotated[str, StringConstraints(max_length=4000)]
Reason = Annotated[str, Form(max_length=300)]


class CastingTest(BaseModel):
    """A test on the casting, with its reason where the record is sealed."""

    what: Word
    value: Word
    text: Long = ""
    reason: Word = ""


class UsedLot(BaseModel):
    """A lot that went into a pour, with its reason where the record is sealed."""

    product: Word
    part: Word
    lot: Word
    kg: Word
    expires_on: Word = ""
    reason: Word = ""


@router.post("/pours/{pour_id}/record/outcome")
async def outcome(pour_id: RowId, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """How it ended: good, flawed or lost, with its defects and what mending cost."""
    async with request.form(max_fields=40, max_files=0) as form:
        given = {name: value for name, value in form.items() if not isinstance(value, UploadFile)}
        named = [str(name) for name in form.getlist("defect")]
    u = Reader(language=language_of(request))
    data = event_views.check_outcome(
        {
            "state": given.get("state"),
            "defects": [{"kind": kind, "where": given.get(f"where-{kind}", "").strip()} for kind in named],
            "rework_cost": _number(given.get("cost", ""), phrase("Cost of rework"), u),
            "currency": given.get("currency", "").strip(),
            "rework_h": _number(given.get("hours", ""), phrase("Hours of work"), u),
        }
    )
    text, reason = given.get("text", ""), given.get("reason", "")
    entry = Entry(text, "outcome", data, reason)
    await run_in_threadpool(pours.add_entry, service, pour_id, who.name, entry)
    return _back(pour_id, reason)


@router.post("/pours/{pour_id}/record/test")
def casting_test(
    pour_id: RowId,
    service: ServiceDep,
    who: MakerDep,
    test: Annotated[CastingTest, Form()],
) -> Response:
    """Note a test on the casting: how it came out of the form, how hard it was."""
    data = event_views.check_test(test.model_dump(include={"what", "value"}))
    pours.add_entry(service, pour_id, who.name, Entry(test.text, "test", data, test.reason))
    return _back(pour_id, test.reason)


@router.post("/pours/{pour_id}/record/lot")
def lot(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    used: Annotated[UsedLot, Form()],
) -> Response:
    """Note a resin lot that went into this pour."""
    data = check_lot(
        used.model_dump(exclude={"reason"})
        | {"kg": single(kg_from(used.kg, phrase("Used"), reader_of(request)), used.kg, phrase("Used"))}
    )
    pours.add_entry(service, pour_id, who.name, Entry("", "lot", data, used.reason))
    return _back(pour_id, used.reason)


@router.post("/pours/{pour_id}/record/layer")
def layer(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    number: Annotated[Word, Form()],
    reason: Annotated[Word, Form()] = "",
) -> Response:
    """Note a layer that is poured now."""
    data = event_views.check_layer(number_from(number, phrase("Layer"), reader_of(request)))
    pours.add_entry(service, pour_id, who.name, Entry("", "layer", data, reason))
    return _back(pour_id, reason)


@router.post("/pours/{pour_id}/record/addition")
def addition(
    pour_id: RowId,
    service: ServiceDep,
    who: MakerDep,
    text: Annotated[Long, Form()],
    reason: Annotated[Word, Form()] = "",
) -> Response:
    """Something that is added to a sealed record. On an open one it is a note."""
    pours.add_entry(service, pour_id, who.name, Entry(text, reason=reason))
    return _back(pour_id, reason)


def _back(pour_id: int, reason: str) -> Response:
    # Only a sealed record asks for a reason.
    return RedirectResponse(f"/pours/{pour_id}/record#{'additions' if reason.strip() else 'outcome'}", 303)


def _number(text: str, name: str, u: Reader) -> float:
    return number_from(text, name, u) if text.strip() else 0.0
