"""A new pour: describe it, or hand in a plan file. It is predicted at once; nothing is fixed before pouring."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, DidNotConverge, LoggerError
from logger.plan.file import Resin
from logger.store import pours, resins, stations
from web.actions import pours as pour_actions
from web.pages.resins import fitted, resin_of
from web.schemas import PLAN_BODY
from web.security.access import MakerDep, ServiceDep
from web.security.idempotency import HEADER, digest, once
from web.service.service import Service
from web.views.datasheet_form import SYSTEMS, FormFields, mix_of
from web.views.plan_form import described, plan_text
from web.views.reader_units import units_of
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: Longest plan file, characters; as the API takes it.
LONGEST = 200_000
#: Earlier pours offered as the source of a resin.
EARLIER = 30


@router.get("/pours/new")
def new_pour(
    request: Request, service: ServiceDep, _who: MakerDep, resin: Annotated[str, Query(max_length=12)] = ""
) -> Response:
    """Show an empty form, with the resin from which somebody comes chosen in it."""
    given = {"earlier": resin, "key": str(uuid.uuid4())}
    return page(request, "new-pour.html", _choices(service) | {"given": given, "problem": None})


@router.post("/pours/new", max_body_size=PLAN_BODY)
async def plan_it(request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Plan the pour, or show the form again with what was wrong."""
    async with request.form(max_files=1, max_fields=60) as form:
        given = {name: value for name, value in form.items() if isinstance(value, str)}
        upload = form.get("file")
        raw = await upload.read(4 * LONGEST) if isinstance(upload, UploadFile) else b""
    try:
        pasted = _file_text(raw, given)
        pour_id = await _once(request, service, who.name, given, pasted)
    except (BadInput, DidNotConverge) as error:
        context = _choices(service) | {"given": given, "problem": str(error)}
        return page(request, "new-pour.html", context, status=422)
    return RedirectResponse(f"/pours/{pour_id}/plan", 303)


async def _once(request: Request, service: Service, by: str, given: Mapping[str, str], pasted: str) -> int:
    """Return the pour that this form has made, or makes now: pressed twice on a slow machine it makes one."""
    key = given.get("key", "")[:100]
    if key:
        sha256 = digest(
            {name: value for name, value in given.items() if name != "plan_toml"}, pasted.encode()
        )
        try:
            async with once(service, key, sha256, wait=True) as done:
                if done is not None and done.pour_id is not None:
                    return int(done.pour_id)
                return await run_in_threadpool(_plan, request, service, by, given, pasted)
        except BadInput as error:
            if error.where != HEADER:
                raise
            # Sent again with other numbers from a page that somebody went back to: that is another pour.
    return await run_in_threadpool(_plan, request, service, by, given, pasted)


def _plan(request: Request, service: Service, by: str, given: Mapping[str, str], pasted: str) -> int:
    text, fresh = pasted, None
    if not pasted:
        f = FormFields(given, units_of(request))
        table, mix = described(given, f.u), mix_of(f)
        with service.store.read() as connection:
            chosen = resin_of(connection, given.get("earlier", ""))
        if chosen is None:
            fresh = fitted(f)
            chosen = Resin.model_validate(fresh["table"]), fresh["mix"]
        # A ratio that is given here counts; what else is known of the mix stays.
        text = plan_text(table, chosen[0], {**chosen[1], **mix})
    client = given.get("client", "").strip()[:200]
    pour_id = pour_actions.plan_pour(service, text, client, given.get("station") or None, by)
    if fresh is not None:
        # What was copied from a datasheet once is on the list of resins from then on.
        with service.store.write() as tx:
            resins.put(tx, service.timeline.true_ms(), by, fresh)
    return pour_id


def _file_text(raw: bytes, given: Mapping[str, str]) -> str:
    text = given.get("plan_toml", "").strip()
    if raw:
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError as error:
            raise BadInput("plan file", "is not a text file", remedy="give a plan file in UTF-8") from error
    if len(text) > LONGEST:
        raise BadInput(
            "plan file",
            "is too long",
            value=f"{len(text)} characters",
            allowed=f"at most {LONGEST}",
            remedy="give the plan alone",
        )
    return text


def _choices(service: Service) -> dict[str, Any]:
    with service.store.read() as connection:
        listed = {key: row.facts["name"] for key, row in resins.listed(connection).items()}
        earlier: dict[str, str] = {}
        for pour in pours.all_pours(connection, most=EARLIER):
            try:
                name = pour_actions.plan_of(pour).resin.name
            except LoggerError:
                continue  # a plan of an older program that no longer reads offers no resin
            if resins.resin_key(name) not in listed:
                earlier.setdefault(name, str(pour.id))
        names = stations.names_in_use(connection)
    choices = list(listed.items())
    choices += [(pour, f"{name}, as in an earlier pour") for name, pour in earlier.items()]
    return {
        "resins": sorted(choices, key=lambda one: one[1].casefold()),
        "stations": names,
        "systems": SYSTEMS,
    }
