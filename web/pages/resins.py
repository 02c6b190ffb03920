"""The resins page: the systems that are poured, how well each is known, what is left of it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from markupsafe import Markup
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.cure.fit.datasheet import datasheet_from_text
from logger.cure.fit.what_it_means import Narrowing
from logger.errors import BadInput, DidNotConverge, LoggerError
from logger.plan.file import Resin
from logger.quantities import temperature
from logger.record import refit_offers
from logger.record.fit_plots import fitted_plots
from logger.record.shop_history import Lot
from logger.store import pours, resins
from logger.words.phrase import phrase
from logger.words.reader import Reader
from web.actions import pours as pour_actions
from web.actions.resins import fitted
from web.schemas import PLAN_BODY
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.datasheet_form import SYSTEMS, FormFields, fields_of, mix_fields
from web.views.reader_units import reader_of
from web.views.render import page
from web.views.resin_meaning import further_words, meaning_kept
from web.views.shop_account import shelf_of, today

router = APIRouter(include_in_schema=False)
Key = Annotated[str, Path(pattern=r"^[0-9a-f]{12}$")]
#: Fitted number → its words, the unit in which it is shown, and how many of its own make one of those.
RANGES = {
    "k1_per_s": (phrase("rate of the start, at {at}", at=temperature(25.0, 0)), "1/s", 1.0),
    "k2_per_s": (phrase("rate once it feeds itself, at {at}", at=temperature(25.0, 0)), "1/s", 1.0),
    "e_j_mol": (phrase("activation energy"), "kJ/mol", 1000.0),
    "heat_of_cure_j_g": (phrase("heat of cure"), "J/g", 1.0),
}


@router.get("/resins")
def resins_page(request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Every resin of the list, and those that were poured without being on it."""
    u = reader_of(request)
    with service.store.read() as connection:
        listed, poured = resins.listed(connection), _poured(connection)
        shelf = shelf_of(connection, today(service))
        offered = _offers(connection)
        waiting = len(refit_offers.due(connection))
        off = {key: row.facts["name"] for key, row in resins.dropped(connection).items()}
    names = {key: row.facts["name"] for key, row in listed.items()} | {
        key: planned["name"] for key, planned in poured.items() if key not in listed
    }
    shown = [
        _shown(key, listed.get(key), poured.get(key), shelf, offered.get(key), u)
        for key in sorted(names, key=lambda key: names[key].casefold())
    ]
    if service.resin_work is not None:
        for one in shown:
            one["coming"] = one["row"] is not None and service.resin_work.ask(one["row"].facts)
    context = {
        "resins": shown,
        "off": {key: name for key, name in off.items() if key not in names},
        "waiting": waiting,
    }
    return page(request, "resins.html", context)


@router.get("/resins/new")
def new_resin(
    request: Request,
    _who: MakerDep,
    resin: Annotated[str, Query(max_length=200)] = "",
    then: Annotated[str, Query(max_length=200)] = "",
) -> Response:
    """Show an empty datasheet, with the name where it is known; `then`: the page to go on to with the resin chosen."""
    return _form(request, {"resin": resin, "then": then if _is_here(then) else ""}, None)


@router.get("/resins/{key}/edit")
def edit(request: Request, key: Key, service: ServiceDep, _who: MakerDep) -> Response:
    """Show a resin's datasheet, to be changed; as a file where it says more than the form has room for."""
    with service.store.read() as connection:
        data = resins.get(connection, key).facts
    if not data["sheet_toml"]:
        return _form(
            request,
            {"resin": data["name"], "note": data["note"], **mix_fields(data["mix"], reader_of(request))},
            None,
        )
    given = fields_of(datasheet_from_text(data["sheet_toml"]), reader_of(request))
    if given is None:
        given = {"sheet_toml": data["sheet_toml"]}
    return _form(request, given | mix_fields(data["mix"], reader_of(request)), None)


@router.post("/resins", max_body_size=PLAN_BODY)
async def keep(request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Fit a datasheet and keep the resin, or show the form again with what was wrong."""
    async with request.form(max_files=0, max_fields=60) as form:
        given = {name: value for name, value in form.items() if isinstance(value, str)}
    try:
        key = await run_in_threadpool(_keep, service, who.name, given, reader_of(request))
    except (BadInput, DidNotConverge) as error:
        return _form(request, given, error.fact)
    then = given.get("then", "")
    if _is_here(then):
        return RedirectResponse(f"{then}{'&' if '?' in then else '?'}resin={key}", 303)
    return RedirectResponse(f"/resins#resin-{key}", 303)


@router.post("/resins/{key}/take")
def take(key: Key, service: ServiceDep, who: MakerDep) -> Response:
    """Take the fit from our own pours for plans to come. Records and frozen predictions stay as they are."""
    with service.store.write() as tx:
        offer = _offers(tx).get(key)
        if offer is None or not offer["table"]:
            raise BadInput(
                phrase("fit"),
                phrase("is not offered for this resin"),
                remedy=phrase("seal a pour of it first"),
            )
        row = resins.listed(tx).get(key)
        listed: dict[str, Any] = (
            row.facts if row is not None else {"note": "", "sheet_toml": None, "fit": None, "mix": {}}
        )
        table = tomllib.loads(offer["table"])["resin"]
        source = {"kind": "pours", "pours": offer["pours"], "message": offer["message"]}
        resins.put(
            tx,
            service.timeline.true_ms(),
            who.name,
            {**listed, "name": table["name"], "table": table, "source": source},
        )
    return RedirectResponse(f"/resins#resin-{key}", 303)


@router.post("/resins/{key}/datasheet")
def back_to_sheet(key: Key, service: ServiceDep, who: MakerDep) -> Response:
    """Take the datasheet's fit again for plans to come."""
    with service.store.write() as tx:
        data = resins.get(tx, key).facts
        if not data["fit"]:
            raise BadInput(
                phrase("datasheet"), phrase("was never given for this resin"), remedy=phrase("add it first")
            )
        resins.put(
            tx,
            service.timeline.true_ms(),
            who.name,
            {**data, "table": data["fit"]["resin"], "source": {"kind": "datasheet"}},
        )
    return RedirectResponse(f"/resins#resin-{key}", 303)


@router.post("/resins/{key}/drop")
def drop(key: Key, service: ServiceDep, who: MakerDep) -> Response:
    """Off the list; it can be put back."""
    with service.store.write() as tx:
        resins.drop(tx, service.timeline.true_ms(), who.name, key)
    return RedirectResponse("/resins", 303)


@router.post("/resins/{key}/put-back")
def put_back(key: Key, service: ServiceDep, who: MakerDep) -> Response:
    """On the list again, as it was."""
    with service.store.write() as tx:
        resins.put_back(tx, service.timeline.true_ms(), who.name, key)
    return RedirectResponse(f"/resins#resin-{key}", 303)


def _keep(service: Service, by: str, given: Mapping[str, str], u: Reader) -> str:
    data = fitted(FormFields(given, u))
    with service.store.write() as tx:
        return resins.put(tx, service.timeline.true_ms(), by, data)


def _form(request: Request, given: Mapping[str, str], problem: str | None) -> Response:
    context = {"given": given, "problem": problem, "systems": SYSTEMS}
    return page(request, "resin-form.html", context, status=422 if problem else 200)


def _is_here(path: str) -> bool:
    """Whether it is a page of this program: a path alone, so that no link can lead somebody elsewhere."""
    return re.fullmatch(r"/[A-Za-z0-9][A-Za-z0-9/_?=&.-]*", path) is not None


def _poured(connection: Connection) -> dict[str, dict[str, Any]]:
    """Key → name, newest resin and pours (newest first) of every resin that a pour was planned with."""
    by_key: dict[str, dict[str, Any]] = {}
    for pour in pours.all_pours(connection):
        try:
            resin = pour_actions.plan_of(pour).resin
        except LoggerError:
            # A plan of an older program that no longer reads names no resin; its record still tells it.
            continue
        mine = by_key.setdefault(
            resins.resin_key(resin.name), {"name": resin.name, "resin": resin, "pours": []}
        )
        mine["pours"].append((pour.id, pour.title))
    return by_key


def _offers(connection: Connection) -> dict[str, dict[str, Any]]:
    """Key → the newest fit from our own pours."""
    newest: dict[str, dict[str, Any]] = {}
    for offer in sorted(refit_offers.offers(connection).values(), key=lambda offer: offer["at_ms"]):
        newest[resins.resin_key(offer["resin"])] = offer
    return newest


def _shown(
    key: str,
    row: Any,
    poured: dict[str, Any] | None,
    shelf: list[Lot],
    offer: dict[str, Any] | None,
    u: Reader,
) -> dict[str, Any]:
    data = None if row is None else row.data
    resin = Resin.model_validate(data["table"]) if data else (poured or {})["resin"]
    fit = data["fit"] if data else None
    plots = fitted_plots(fit, u) if fit else []
    return {
        "key": key,
        "name": resin.name,
        "resin": resin,
        "row": row,
        "fit": fit,
        "source": data["source"] if data else None,
        "mix": data["mix"] if data else {},
        "plots": [(words, Markup(svg)) for words, svg in plots],
        "ranges": _ranges(fit) if fit else [],
        "lots": [lot for lot in shelf if resins.resin_key(lot.product) == key],
        "pours": (poured or {}).get("pours", []),
        "offer": offer,
        "means": None if row is None else meaning_kept(row.facts),
        "depths": _depths(row, u),
        "further": _further(row, u),
        "taken": bool(offer and data and data["source"].get("pours") == offer["pours"]),
    }


def _depths(row: Any, u: Reader) -> list[dict[str, Any]]:
    """Return the safe depth in each room as bars, longest where half of the cases are too hot."""
    means = None if row is None else meaning_kept(row.facts)
    if means is None or not means.depths:
        return []
    longest = max(max(depth.safe_mm, depth.even_mm) for depth in means.depths) or 1.0
    rows = []
    for depth in means.depths:
        values = {"even": u.span(depth.even_mm)}
        rows.append(
            {
                "name": phrase("Room at {room}", room=u.temp(depth.room_c, 0)),
                "value": u.at_most(depth.safe_mm),
                "part": depth.safe_mm / longest,
                "further": depth.even_mm / longest,
                "note": phrase("The datasheet's limit. Too hot in 5 of 10 cases from {even} on.", **values)
                if depth.by_sheet
                else phrase("Too hot in 5 of 10 cases from {even} on.", **values),
            }
        )
    return rows


def _further(row: Any, u: Reader) -> list[tuple[Narrowing, str]]:
    """Each further statement that would make a resin surer, with its words."""
    means = None if row is None else meaning_kept(row.facts)
    return [] if means is None else [(one, further_words(one, u)) for one in means.worth]


def _ranges(fit: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Words, fitted value and 90 % range of each fitted number."""
    resin = fit["resin"]
    values = resin["rate"] | {
        "e_j_mol": resin["rate"]["e1_j_mol"],
        "heat_of_cure_j_g": resin["heat_of_cure_j_g"],
    }
    rows: list[tuple[str, str, str]] = []
    for name, (low, high) in fit["ranges_90pct"].items():
        words, unit, scale = RANGES[name]
        span = phrase("{low} to {high}", low=f"{low / scale:.3g}", high=f"{high / scale:.3g}")
        rows.append((words, f"{values[name] / scale:.3g} {unit}", span))
    return rows
