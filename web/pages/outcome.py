"""What people tell a record: how it ended, tests, lots, layers; on a sealed record as additions with a reason."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, NotAllowed
from logger.pour import Stage
from logger.record import happened
from logger.record.shop import check_lot
from logger.store import events, pours
from web.access import MakerDep, ServiceDep
from web.pages.measures import number_from
from web.service import Service
from web.shapes import RowId

router = APIRouter(include_in_schema=False)

Word = Annotated[str, Form(max_length=300)]
Long = Annotated[str, Form(max_length=4000)]


@router.post("/pours/{pour_id}/record/outcome")
async def told_outcome(pour_id: RowId, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """How it ended: good, flawed or lost, with its defects and what mending cost."""
    async with request.form(max_fields=40, max_files=0) as form:
        given = {name: value for name, value in form.items() if not isinstance(value, UploadFile)}
        named = [str(name) for name in form.getlist("defect")]
    data = happened.check_outcome({
        "state": given.get("state"),
        "defects": [{"kind": kind, "where": given.get(f"where-{kind}", "").strip()} for kind in named],
        "rework_cost": _number(given.get("cost", ""), "What mending cost"),
        "currency": given.get("currency", "").strip(),
        "rework_h": _number(given.get("hours", ""), "Hours of work"),
    })  # fmt: skip
    return tell(service, pour_id, who.name, "outcome", given.get("text", ""), data, given.get("reason", ""))


@router.post("/pours/{pour_id}/record/test")
def told_test(
    pour_id: RowId, service: ServiceDep, who: MakerDep, what: Word, value: Word, text: Long = "", reason: Word = "",
) -> Response:  # fmt: skip
    """A test on the casting: how it came out of the form, how hard it was."""
    if what not in happened.TESTS:
        raise BadInput(
            "what", "is not known", value=what, allowed=", ".join(happened.TESTS), remedy="choose one"
        )
    if not value.strip():
        raise BadInput("value", "is empty", remedy="say what the test showed")
    return tell(service, pour_id, who.name, "test", text, {"what": what, "value": value.strip()}, reason)


@router.post("/pours/{pour_id}/record/lot")
def lot(
    pour_id: RowId, service: ServiceDep, who: MakerDep, product: Word, part: Word, lot: Word, kg: Word,
    expires_on: Word = "", reason: Word = "",
) -> Response:  # fmt: skip
    """A resin lot that went into this pour."""
    data = check_lot({"product": product, "part": part, "lot": lot, "kg": number_from(kg, "Used"),
                      "expires_on": expires_on})  # fmt: skip
    return tell(service, pour_id, who.name, "lot", "", data, reason)


@router.post("/pours/{pour_id}/record/layer")
def layer(
    pour_id: RowId, service: ServiceDep, who: MakerDep, number: Word, reason: Word = ""
) -> Response:  # fmt: skip
    """A layer that is poured now."""
    value = number_from(number, "Layer")
    if not 2 <= value <= 100 or value != int(value):
        raise BadInput(
            "number",
            "is not a layer",
            value=number,
            allowed="2 to 100",
            remedy="the first is the pour itself",
        )
    return tell(service, pour_id, who.name, "layer", "", {"number": int(value)}, reason)


@router.post("/pours/{pour_id}/record/addition")
def addition(
    pour_id: RowId, service: ServiceDep, who: MakerDep, text: Long, reason: Word = ""
) -> Response:  # fmt: skip
    """Something that is added to a sealed record. On an open one it is a note."""
    if not text.strip():
        raise BadInput("text", "is empty", remedy="write what is to be added")
    return tell(service, pour_id, who.name, "note", text, {}, reason)


def tell(
    service: Service, pour_id: int, by: str, kind: str, text: str, data: dict[str, Any], reason: str
) -> Response:  # fmt: skip
    """Keeps it with the pour: as it is while the record grows, as an addition with its reason once it is sealed.

    Raises NotAllowed before pouring, BadInput for a sealed record without a reason.
    """
    with service.store.write() as tx:
        pour = pours.get_pour(tx, pour_id)
        if pour.poured_ms is None:
            raise NotAllowed(
                f"pour {pour_id} is {pour.stage}: there is nothing to tell of it before it is poured"
            )
        if pour.stage == Stage.CLOSED:
            if not reason.strip():
                raise BadInput(
                    "reason", "is empty", remedy="this record is sealed: say why you add to it now"
                )
            data = data | {"about": kind, "reason": reason.strip()}
            kind = "addition"
        events.add_event(tx, pour_id, service.timeline.true_ms(), kind, by, text.strip()[:4000], data or None)
    service.news.tell("pour", pour=pour_id)
    return RedirectResponse(
        f"/pours/{pour_id}/record#{'additions' if kind == 'addition' else 'outcome'}", 303
    )


def _number(text: str, name: str) -> float:
    return number_from(text, name) if text.strip() else 0.0
