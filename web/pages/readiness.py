"""The readiness page: are we really ready? Every point signed by a person, whoever they are; ratio and form by two."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.facts import Fact, fact
from logger.planning.finding import Light
from logger.planning.readiness import SigningPoint, Where
from logger.pour import Stage
from logger.store import page_queries, pours
from logger.words.phrase import phrase
from web.actions import pours as pour_actions
from web.actions import readiness, signing_rounds
from web.actions.message_test import untested
from web.actions.photos import Caption, keep_photo, photo_of, photos_of
from web.actions.watch_facts import POINT as WATCH
from web.schemas import PHOTO_BODY, PHOTOS_BODY, RowId
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.views.plan_links import links_of_points
from web.views.render import page

router = APIRouter(include_in_schema=False)
PointName = Annotated[str, Form(max_length=80)]
Person = Annotated[str, Form(max_length=readiness.LONGEST_NAME)]
#: Place → its heading, and what is done there.
PLACES = {
    Where.DESK: (phrase("On paper"), phrase("Read what the plan has worked out.")),
    Where.BENCH: (
        phrase("At the bench"),
        phrase("Look at resin, scale and pails; photograph the labels and what stands ready."),
    ),
    Where.FORM: (
        phrase("At the form"),
        phrase("Walk round it and look from below; photograph what is asked."),
    ),
}


@router.get("/pours/{pour_id}/ready")
def ready_page(
    pour_id: RowId, request: Request, service: ServiceDep, who: ViewerDep, signer: str = ""
) -> Response:
    """Show the points with their signatures."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        if readiness.still_worked_out(service, pour):
            return page(request, "worked-out-soon.html", {"pour": pour})
        state = readiness.readiness_of(service, connection, pour_id)
        photos = page_queries.events_of_kind(connection, pour_id, "photo")
    plan = pour_actions.plan_of(pour)
    named = [person.name for person in plan.person]
    people = list(dict.fromkeys([who.name, *named, *(s.person for s in state.signatures)]))
    signer = signer.strip()[: readiness.LONGEST_NAME] or who.name
    if signer not in people:
        people.append(signer)
    now_ms = service.timeline.true_ms()
    rows = [_row(point, state, photos) | _again(point, state, signer, now_ms) for point in state.points]
    rows.sort(key=lambda row: (row["done"], _BLOCKING.index(row["point"].light)))
    places = [_place(where, state, rows, signer, now_ms) for where in Where]
    phone = _phone(places)
    return page(
        request,
        "ready.html",
        {
            "pour": pour,
            "places": [place for place in [*places, *phone] if place["rows"]],
            "phone_asked": bool(phone),
            "left": state.left,
            "people": people,
            "signer": signer,
            "untested": untested(service),
            "can_test": bool(service.addresses.groups()),
            "verdict": state.verdict,
            "links": links_of_points(state.verdict, plan, pour_id),
            "planned": pour.stage == Stage.PLANNED,
            "total": len(rows),
            "finished": sum(row["done"] for row in rows),
        },
    )


@router.post("/pours/{pour_id}/ready/sign")
def sign(pour_id: RowId, service: ServiceDep, who: MakerDep, point: PointName, person: Person) -> Response:
    """Somebody says yes to a point."""
    readiness.sign(service, pour_id, point, person, who.name)
    return _back(pour_id, person, point)


@router.post("/pours/{pour_id}/ready/place/{where}", max_body_size=PHOTOS_BODY)
async def sign_place(
    pour_id: RowId, where: str, request: Request, service: ServiceDep, who: MakerDep
) -> Response:
    """Somebody says yes to the points of a place together, with the photos taken there."""
    given, photos = await photos_of(request)
    person = given.get("person", who.name)
    await run_in_threadpool(signing_rounds.sign_place, service, pour_id, where, person, who.name, photos)
    # What was read at the desk is followed by what is looked at on the bench.
    return _back(pour_id, person, Where.BENCH if where == Where.DESK else where)


@router.post("/pours/{pour_id}/ready/place/{where}/again", max_body_size=PHOTOS_BODY)
async def check_place_again(
    pour_id: RowId, where: str, request: Request, service: ServiceDep, who: MakerDep
) -> Response:
    """Keep the second check of a place's points by the same person, with its photos."""
    given, photos = await photos_of(request)
    person = given.get("person", who.name)
    await run_in_threadpool(
        signing_rounds.check_place_again, service, pour_id, where, person, who.name, photos
    )
    return _back(pour_id, person, where)


@router.post("/pours/{pour_id}/ready/unsign")
def unsign(pour_id: RowId, service: ServiceDep, who: MakerDep, point: PointName, person: Person) -> Response:
    """Take a signature back."""
    readiness.unsign(service, pour_id, point, person, who.name)
    return _back(pour_id, person, point)


@router.post("/pours/{pour_id}/ready/override")
def override(
    pour_id: RowId,
    service: ServiceDep,
    who: MakerDep,
    point: PointName,
    person: Person,
    reason: Annotated[str, Form(max_length=readiness.LONGEST_REASON)],
) -> Response:
    """Let a point pass by name and reason; it goes into the record."""
    readiness.let_pass(service, pour_id, point, person, reason, who.name)
    return _back(pour_id, person, point)


@router.post("/pours/{pour_id}/ready/photo", max_body_size=PHOTO_BODY)
async def photo(pour_id: RowId, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Keep a photo as the evidence of a point."""
    given, raw = await photo_of(request)
    point = given.get("point", "")
    await run_in_threadpool(readiness.may_sign, service, pour_id, point)
    await run_in_threadpool(keep_photo, service, pour_id, raw, who.name, Caption(point, point))
    return _back(pour_id, given.get("person", who.name), point)


@router.post("/pours/{pour_id}/ready/again", max_body_size=PHOTO_BODY)
async def again(pour_id: RowId, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Keep the second check of a point by the same person, with its photo."""
    given, raw = await photo_of(request)
    point, person = given.get("point", ""), given.get("person", who.name)
    await run_in_threadpool(readiness.may_sign_again, service, pour_id, point, person)
    await run_in_threadpool(keep_photo, service, pour_id, raw, who.name, Caption(point, point))
    await run_in_threadpool(readiness.sign_again, service, pour_id, point, person, who.name)
    return _back(pour_id, person, point)


@router.post("/pours/{pour_id}/ready")
def ready(pour_id: RowId, service: ServiceDep, who: MakerDep) -> Response:
    """Every point is signed: the pour is ready. Raises NotReady with what stands in the way."""
    pour_actions.move_on(service, pour_id, Stage.READY, who.name)
    return RedirectResponse(f"/pours/{pour_id}", 303)


def _place(
    where: Where, state: readiness.Readiness, rows: list[dict[str, Any]], signer: str, now_ms: int
) -> dict[str, Any]:
    """Return a place with its points, and what the signer may sign there together."""
    mine = [row for row in rows if row["point"].where is where]
    heading, lead = PLACES[where]
    together = signing_rounds.to_sign(state, where, signer)
    again, from_ms = signing_rounds.to_check_again(state, where, signer)
    signed = [row["point"] for row in mine if row["signed"]]
    return {
        "id": where.value,
        "heading": heading,
        "lead": lead,
        "rows": mine,
        "open": sum(not row["done"] for row in mine),
        "together": together,
        "photo_of": signing_rounds.without_photo(state, together or signed),
        "again": again,
        "again_ms": from_ms,
        "again_now": bool(again) and now_ms >= from_ms,
    }


def _phone(places: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the phone as the last place of the round, its point taken from the others, where nobody would be called:
    that is not signed in passing."""
    for place in places:
        asked = [row for row in place["rows"] if row["point"].id == WATCH and not row["done"]]
        if not asked or asked[0]["point"].in_passing:
            continue
        place["rows"] = [row for row in place["rows"] if row not in asked]
        place["open"] -= 1
        heading, lead = phrase("On your phone"), phrase("See that an alarm reaches somebody.")
        none: dict[str, Any] = {
            "together": [],
            "photo_of": [],
            "again": [],
            "again_ms": 0,
            "again_now": False,
        }
        return [{"id": "phone", "heading": heading, "lead": lead, "rows": asked, "open": 1, **none}]
    return []


def _row(point: SigningPoint, state: readiness.Readiness, photos: Any) -> dict[str, Any]:
    left = state.left_of(point)
    # What stands in the way is told without the question and the findings, which are printed above it anyway.
    return {
        "point": point,
        "signed": [s for s in state.signatures if s.point == point.id],
        "passed": next((o for o in state.overrides if o.point == point.id), None),
        "photos": [row for row in photos if (row.data or {}).get("point") == point.id],
        "done": not left,
        "left": [_short(one) for one in left],
    }


#: Within a place what blocks comes first.
_BLOCKING = [Light.STOP, Light.WATCH, Light.OK]
#: What is left to do → the same where the findings stand above it.
_ABOVE = {"left-blocked": fact("left-blocked-above"), "left-unknown": fact("left-unknown-above")}


def _short(obstacle: Fact) -> Fact:
    left = obstacle.values["left"]
    assert isinstance(left, Fact)  # every obstacle of a point has it
    return _ABOVE.get(left.code, left)


def _again(point: SigningPoint, state: readiness.Readiness, signer: str, now_ms: int) -> dict[str, Any]:
    """Return from when the signer may check the point again alone (None: never), and whether that is now."""
    from_ms = state.again_from_ms(point, signer)
    return {"again_ms": from_ms, "again_now": from_ms is not None and now_ms >= from_ms}


def _back(pour_id: int, person: str, point: str) -> Response:
    signer = quote(person.strip()[: readiness.LONGEST_NAME])
    return RedirectResponse(f"/pours/{pour_id}/ready?signer={signer}#{point}", 303)
