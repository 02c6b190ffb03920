"""The ready page: are we really ready? Every point signed by a person, whoever they are; ratio and form by two."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, NotAllowed
from logger.planning.readiness import Point, obstacles, summary
from logger.pour import Stage
from logger.store import pours, shown
from web import desk
from web.access import MakerDep, ServiceDep, ViewerDep
from web.pages.assessed import assessment_of
from web.pages.frame import page
from web.pages.photos import keep_photo, photo_of
from web.pages.plan import SIGNS
from web.service import Service
from web.shapes import PHOTO_BODY, RowId

router = APIRouter(include_in_schema=False)
#: Longest name of a person who signs.
LONGEST_NAME = 60


@router.get("/pours/{pour_id}/ready")
def ready_page(
    pour_id: RowId, request: Request, service: ServiceDep, who: ViewerDep, signer: str = ""
) -> Response:
    """The points with their signatures."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        signatures, overrides = shown.signatures_of(connection, pour_id)
        photos = shown.events_of_kind(connection, pour_id, "photo")
    points = assessment_of(pour.plan_toml).points
    named = [person.name for person in desk.plan_of(pour).person]
    people = list(dict.fromkeys([who.name, *named, *(s.person for s in signatures)]))
    signer = signer.strip()[:LONGEST_NAME] or who.name
    if signer not in people:
        people.append(signer)
    left = obstacles(points, signatures, overrides)
    rows = [_row(point, signatures, overrides, photos) for point in points]
    rows.sort(key=lambda row: row["done"])
    return page(
        request,
        "ready.html",
        {"pour": pour, "rows": rows, "left": left, "people": people, "signer": signer, "signs": SIGNS,
         "summary": summary(points), "planned": pour.stage == Stage.PLANNED,
         "total": len(points), "finished": sum(row["done"] for row in rows)},
    )  # fmt: skip


@router.post("/pours/{pour_id}/ready/sign")
def sign(
    pour_id: RowId, service: ServiceDep, who: MakerDep, point: Annotated[str, Form(max_length=80)],
    person: Annotated[str, Form(max_length=LONGEST_NAME)],
) -> Response:  # fmt: skip
    """Somebody says yes to a point."""
    name = _known(service, pour_id, point, person)
    desk.note(
        service, pour_id, f"{point}: signed by {name}", who.name, "signed", {"point": point, "person": name}
    )
    return _back(pour_id, name, point)


@router.post("/pours/{pour_id}/ready/unsign")
def unsign(
    pour_id: RowId, service: ServiceDep, who: MakerDep, point: Annotated[str, Form(max_length=80)],
    person: Annotated[str, Form(max_length=LONGEST_NAME)],
) -> Response:  # fmt: skip
    """Takes a signature back."""
    name = _known(service, pour_id, point, person)
    desk.note(service, pour_id, f"{point}: {name} took the signature back", who.name, "unsigned",
              {"point": point, "person": name})  # fmt: skip
    return _back(pour_id, name, point)


@router.post("/pours/{pour_id}/ready/override")
def override(
    pour_id: RowId, service: ServiceDep, who: MakerDep, point: Annotated[str, Form(max_length=80)],
    person: Annotated[str, Form(max_length=LONGEST_NAME)], reason: Annotated[str, Form(max_length=2000)],
) -> Response:  # fmt: skip
    """Lets a point pass that stands at stop, by name and reason; it goes into the record."""
    name = _known(service, pour_id, point, person)
    if not reason.strip():
        raise BadInput(
            "reason", "is empty", remedy="say why it is poured all the same; it stands in the record"
        )
    desk.note(service, pour_id, reason.strip(), who.name, "override",
              {"point": point, "person": name, "reason": reason.strip()})  # fmt: skip
    return _back(pour_id, name, point)


@router.post("/pours/{pour_id}/ready/photo", max_body_size=PHOTO_BODY)
async def photo(pour_id: RowId, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """A photo as the evidence of a point."""
    given, raw = await photo_of(request)
    point = given.get("point", "")
    person = await run_in_threadpool(_known, service, pour_id, point, given.get("person", who.name))
    await run_in_threadpool(keep_photo, service, pour_id, raw, who.name, f"{point}", point)
    return _back(pour_id, person, point)


@router.post("/pours/{pour_id}/ready")
def ready(pour_id: RowId, service: ServiceDep, who: MakerDep) -> Response:
    """Every point is signed: the pour is ready."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        signatures, overrides = shown.signatures_of(connection, pour_id)
    left = obstacles(assessment_of(pour.plan_toml).points, signatures, overrides)
    if left:
        raise NotAllowed(f"{len(left)} things stand in the way, the first: {left[0]}")
    desk.move_on(
        service, pour_id, Stage.READY, who.name, f"{len(signatures)} signatures, {len(overrides)} let pass"
    )
    return RedirectResponse(f"/pours/{pour_id}", 303)


def _row(point: Point, signatures: Any, overrides: Any, photos: Any) -> dict[str, Any]:
    mine = [s for s in signatures if s.point == point.id]
    passed = next((o for o in overrides if o.point == point.id), None)
    own = [row for row in photos if (row.data or {}).get("point") == point.id]
    left = obstacles([point], mine, [passed] if passed else [])
    # What stands in the way is told without the question, which is printed above it anyway.
    return {"point": point, "signed": mine, "passed": passed, "photos": own, "done": not left,
            "left": [text.removeprefix(point.question).strip() for text in left]}  # fmt: skip


def _known(service: Service, pour_id: int, point: str, person: str) -> str:
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
    if pour.stage != Stage.PLANNED:
        raise NotAllowed(f"pour {pour_id} is {pour.stage}: points are signed while it is planned")
    if point not in {p.id for p in assessment_of(pour.plan_toml).points}:
        raise BadInput(
            "point", "is not asked by this plan", value=point, remedy="reload the page; the plan was changed"
        )
    name = person.strip()
    if not name:
        raise BadInput("person", "has no name", remedy="say who signs")
    return name


def _back(pour_id: int, person: str, point: str) -> Response:
    return RedirectResponse(f"/pours/{pour_id}/ready?signer={quote(person)}#{point}", 303)
