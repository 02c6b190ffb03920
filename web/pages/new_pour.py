"""A new pour: describe it, or hand in a plan file. It is predicted at once; nothing is fixed before pouring."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, StringConstraints
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, DidNotConverge, LoggerError
from logger.plan.file import Resin
from logger.store import pours, resins, shop_events, stations
from logger.words.phrase import phrase
from web.actions import pours as pour_actions
from web.actions.resins import fitted, resin_of
from web.schemas import PLAN_BODY
from web.security.access import MakerDep, ServiceDep
from web.security.idempotency import HEADER, digest, once
from web.service.service import Service
from web.views.assessed import first_answer
from web.views.datasheet_form import SYSTEMS, FormFields
from web.views.plan_drawing import cut_of, section_drawing
from web.views.plan_edit import bare_degrees
from web.views.plan_findings import arranged
from web.views.plan_form import SHAPES, described, plan_text, room_guess, usual_words, with_usual
from web.views.reader_units import reader_of
from web.views.refused_fields import RefusedFields
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: Longest plan file, characters; as the API takes it.
LONGEST = 200_000
#: Earlier pours offered as the source of a resin.
EARLIER = 30
Short = Annotated[str, StringConstraints(max_length=40)]


@router.get("/pours/new")
def new_pour(
    request: Request, service: ServiceDep, _who: MakerDep, resin: Annotated[str, Query(max_length=12)] = ""
) -> Response:
    """Show an empty form, with the resin from which somebody comes chosen in it."""
    if service.plan_work is not None:
        service.plan_work.warm_up()
    return _page(request, service, {"earlier": resin, "key": str(uuid.uuid4())})


class Lengths(BaseModel):
    """What the form has said so far, as it was typed; empty: not yet."""

    title: Annotated[str, StringConstraints(max_length=300)] = ""
    shape: Short = ""
    depth: Short = ""
    width: Short = ""
    length: Short = ""
    room: Short = ""
    earlier: Short = ""


@router.get("/pours/new/answer")
def first(
    request: Request, service: ServiceDep, _who: MakerDep, given: Annotated[Lengths, Query()]
) -> Response:
    """Return the first answer to what stands in the form, as a piece of its page: nothing is planned yet."""
    said = given.model_dump()
    with service.store.read() as connection:
        usual, chosen = shop_events.usual_of(connection), resin_of(connection, given.earlier)
    shown: dict[str, Any] = {"plan": None, "problem": None, "range": None}
    u = reader_of(request)
    try:
        # With the name that the pour will have it is the same plan: when it is sent, it has been answered.
        table = described(said | {"title": given.title.strip() or "-"}, u)
        if chosen is not None:
            answer = first_answer(plan_text(with_usual(usual, table), *chosen))
            cut, peak_c = cut_of(answer.plan), answer.prediction.peak_c
            shown |= {"plan": answer.plan, "assessment": answer.assessment, "peak_c": peak_c}
            shown["range"] = answer.chances and [answer.chances.peak_c(part) for part in (0.05, 0.95)]
            shown["section"] = lambda across: section_drawing(cut, u, across)
            shown["arranged"] = arranged(
                answer.assessment.verdict, (), (), lambda _item: "", asked="underside-unsaid"
            )
    except RefusedFields:
        pass  # half typed: the form says what is missing when it is sent
    except (BadInput, DidNotConverge) as error:
        shown["problem"] = error.fact
    return page(request, "first-answer.html", shown)


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
        return await run_in_threadpool(_page, request, service, given, error)
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
    client = given.get("client", "").strip()[:200]
    with service.store.read() as connection:
        station = given.get("station") or _only(stations.names_in_use(connection))
    if pasted:
        return pour_actions.plan_pour(service, pasted, client, station, by, at_once=True)
    f = FormFields(given, reader_of(request))
    table = described(given, f.u)
    with service.store.read() as connection:
        usual, chosen = shop_events.usual_of(connection), resin_of(connection, given.get("earlier", ""))
        listed = bool(resins.listed(connection))
    fresh = None
    if chosen is None:
        if listed and not f.words("resin"):
            raise RefusedFields({"earlier": phrase("No resin is chosen. Choose the one that you will pour.")})
        fresh = fitted(f)
        chosen = Resin.model_validate(fresh["table"]), fresh["mix"]
    text = plan_text(with_usual(usual, table), *chosen)
    pour_id = pour_actions.plan_pour(service, text, client, station, by, at_once=True)
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
            raise BadInput(
                phrase("plan file"), phrase("is not a text file"), remedy=phrase("give a plan file in UTF-8")
            ) from error
    if len(text) > LONGEST:
        raise BadInput(
            phrase("plan file"),
            phrase("is too long"),
            value=phrase("{n} characters", n=len(text)),
            allowed=phrase("at most {longest}", longest=LONGEST),
            remedy=phrase("give the plan alone"),
        )
    return text


def _page(
    request: Request, service: Service, given: Mapping[str, str], error: LoggerError | None = None
) -> Response:
    with service.store.read() as connection:
        choices = _resins(connection)
        usual = shop_events.usual_of(connection)
        names = stations.names_in_use(connection)
        probes = [one for rows in stations.probes_by_station(connection).values() for one in rows]
    u = reader_of(request)
    guess = room_guess(usual, probes, service.timeline.now_ms())
    only = _only([key for key, _ in choices])
    filled = {"earlier": only or ""} | {name: value for name, value in given.items() if value}
    if guess is not None and error is None:
        filled.setdefault("room", bare_degrees(guess.celsius, u))
    context = {
        "given": filled,
        "problem": None if error is None else error.fact,
        "wrong": error.fields if isinstance(error, RefusedFields) else {},
        "resins": choices,
        "stations": names,
        "guess": guess,
        "usual": usual_words(usual),
        "shapes": SHAPES,
        "systems": SYSTEMS,
    }
    return page(request, "new-pour.html", context, status=200 if error is None else 422)


def _only(choices: Sequence[str]) -> str | None:
    """Return the one thing that there is to choose, None where there is none or more."""
    return choices[0] if len(choices) == 1 else None


def _resins(connection: Connection) -> list[tuple[str, str]]:
    """Key or pour → the name of each resin that can be chosen, in order."""
    listed = {key: row.facts["name"] for key, row in resins.listed(connection).items()}
    earlier: dict[str, str] = {}
    for pour in pours.all_pours(connection, most=EARLIER):
        try:
            name = pour_actions.plan_of(pour).resin.name
        except LoggerError:
            continue  # a plan of an older program that no longer reads offers no resin
        if resins.resin_key(name) not in listed:
            earlier.setdefault(name, str(pour.id))
    choices = list(listed.items())
    choices += [(pour, phrase("{name}, as in an earlier pour", name=name)) for name, pour in earlier.items()]
    return sorted(choices, key=lambda one: one[1].casefold())
