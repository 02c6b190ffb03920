"""A new pour: describe it, or hand in a plan file. It is predicted at once; nothing is fixed before pouring."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, DidNotConverge, LoggerError
from logger.store import pours, resins, stations
from web import desk
from web.access import MakerDep, ServiceDep
from web.pages.describe import plan_text
from web.pages.frame import page
from web.pages.measures import units_of
from web.pages.resins import resin_of
from web.service import Service
from web.shapes import PLAN_BODY

router = APIRouter(include_in_schema=False)
#: Longest plan file, characters; as the API takes it.
LONGEST = 200_000
#: Earlier pours offered as the source of a resin.
EARLIER = 30


@router.get("/pours/new")
def new_pour(
    request: Request, service: ServiceDep, _who: MakerDep, resin: Annotated[str, Query(max_length=12)] = ""
) -> Response:  # fmt: skip
    """An empty form, with the resin from which somebody comes chosen in it."""
    return page(request, "new-pour.html", _choices(service) | {"given": {"earlier": resin}, "problem": None})


@router.post("/pours/new", max_body_size=PLAN_BODY)
async def plan_it(request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """A planned pour, or the form again with what was wrong."""
    async with request.form(max_files=1, max_fields=60) as form:
        given = {name: value for name, value in form.items() if isinstance(value, str)}
        upload = form.get("file")
        raw = await upload.read(4 * LONGEST) if isinstance(upload, UploadFile) else b""
    try:
        pasted = _file_text(raw, given)
        pour_id = await run_in_threadpool(_plan, request, service, who.name, given, pasted)
    except (BadInput, DidNotConverge) as error:
        context = _choices(service) | {"given": given, "problem": str(error)}
        return page(request, "new-pour.html", context, status=422)
    return RedirectResponse(f"/pours/{pour_id}/plan", 303)


def _plan(request: Request, service: Service, by: str, given: Mapping[str, str], pasted: str) -> int:
    if pasted:
        text = pasted
    else:
        with service.store.read() as connection:
            chosen = resin_of(connection, given.get("earlier", ""))
        text = plan_text(given, units_of(request), *(chosen or (None, None)))
    return desk.plan_pour(
        service, text, given.get("client", "").strip()[:200], given.get("station") or None, by
    )


def _file_text(raw: bytes, given: Mapping[str, str]) -> str:
    text = given.get("plan_toml", "").strip()
    if raw:
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError as error:
            raise BadInput("plan file", "is not a text file", remedy="give a plan file in UTF-8") from error
    if len(text) > LONGEST:
        raise BadInput("plan file", "is too long", value=f"{len(text)} characters", allowed=f"at most {LONGEST}",
                       remedy="give the plan alone")  # fmt: skip
    return text


def _choices(service: Service) -> dict[str, Any]:
    with service.store.read() as connection:
        kept = {key: row.data["name"] for key, row in resins.kept(connection).items()}
        earlier: dict[str, str] = {}
        for pour in pours.all_pours(connection)[:EARLIER]:
            try:
                name = desk.plan_of(pour).resin.name
            except LoggerError:
                continue  # a plan of an older program that no longer reads offers no resin
            if resins.resin_key(name) not in kept:
                earlier.setdefault(name, str(pour.id))
        names = [row.name for row in stations.all_stations(connection) if row.revoked_ms is None]
    choices = list(kept.items())
    choices += [(pour, f"{name}, as in an earlier pour") for name, pour in earlier.items()]
    return {"resins": sorted(choices, key=lambda one: one[1].casefold()), "stations": names}
