"""What programs tell a record: outcome, tests, lots, layers, photos; on a sealed one as additions with a reason.

Each is kept once, with an `Idempotency-Key` (web/security/idempotency.py).
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool

from logger.record import event_views
from logger.record.shop_history import check_lot
from logger.store import page_queries
from logger.store.rows import EventRow
from web.actions import pours, readiness
from web.actions.photos import Caption, keep_photo, photo_of
from web.actions.pours import Entry
from web.answers import ERRORS, EventAnswer
from web.schemas import PHOTO_BODY, LayerShape, LotShape, OutcomeShape, RowId, TestShape
from web.security.access import MakerDep, ServiceDep
from web.security.idempotency import OnceDep
from web.service.service import Service

router = APIRouter(prefix="/api/pours/{pour_id}", tags=["records"], responses=ERRORS)


@router.post("/outcome", status_code=201)
def outcome(
    pour_id: RowId, shape: OutcomeShape, service: ServiceDep, who: MakerDep, done: OnceDep
) -> EventAnswer:
    """How it ended: good, flawed or lost, with its defects and what mending cost. Told again, it counts anew."""
    if done is not None:
        return _event(done)
    data = event_views.check_outcome(shape.model_dump(exclude={"text", "reason"}))
    pours.add_entry(service, pour_id, who.name, Entry(shape.text, "outcome", data, shape.reason))
    return _newest(service, pour_id)


@router.post("/tests", status_code=201)
def test(pour_id: RowId, shape: TestShape, service: ServiceDep, who: MakerDep, done: OnceDep) -> EventAnswer:
    """A test on the casting: how it came out of the form, how hard it was."""
    if done is not None:
        return _event(done)
    data = event_views.check_test({"what": shape.what, "value": shape.value})
    pours.add_entry(service, pour_id, who.name, Entry(shape.text, "test", data, shape.reason))
    return _newest(service, pour_id)


@router.post("/lots", status_code=201)
def lot(pour_id: RowId, shape: LotShape, service: ServiceDep, who: MakerDep, done: OnceDep) -> EventAnswer:
    """Note a resin lot that went into this pour."""
    if done is not None:
        return _event(done)
    data = check_lot(shape.model_dump(exclude={"reason"}))
    pours.add_entry(service, pour_id, who.name, Entry("", "lot", data, shape.reason))
    return _newest(service, pour_id)


@router.post("/layers", status_code=201)
def layer(
    pour_id: RowId, shape: LayerShape, service: ServiceDep, who: MakerDep, done: OnceDep
) -> EventAnswer:
    """Note a later layer that is poured now."""
    if done is not None:
        return _event(done)
    entry = Entry("", "layer", event_views.check_layer(shape.number), shape.reason)
    pours.add_entry(service, pour_id, who.name, entry)
    return _newest(service, pour_id)


@router.post("/photos", status_code=201, max_body_size=PHOTO_BODY)
async def photo(
    pour_id: RowId, request: Request, service: ServiceDep, who: MakerDep, done: OnceDep
) -> EventAnswer:
    """Keep a photo (multipart: photo, text, point, reason); with `point` it is the evidence of that readiness point."""
    if done is not None:
        return _event(done)
    given, raw = await photo_of(request)
    point = given.get("point", "").strip()

    def store() -> EventAnswer:
        if point:
            readiness.may_sign(service, pour_id, point)
        text = given.get("text", "").strip() or point
        keep_photo(service, pour_id, raw, who.name, Caption(text, point, given.get("reason", "")))
        return _newest(service, pour_id)

    return await run_in_threadpool(store)


def _newest(service: Service, pour_id: int) -> EventAnswer:
    """Return the event as it is kept now."""
    with service.store.read() as connection:
        return _event(page_queries.newest_events(connection, pour_id, 1)[0])


def _event(row: EventRow) -> EventAnswer:
    return EventAnswer(at_ms=row.at_ms, kind=row.kind, by=row.by, text=row.text, data=row.data)
