"""The shop page: what mistakes cost, and what would have caught them; which resin is there, how well known."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from pydantic import BaseModel, StringConstraints
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput
from logger.record import event_views, refit_offers
from logger.record.shop_history import Lessons, check_lot
from logger.store import events, resins, shop_events
from logger.words.phrase import phrase, phrases
from web.actions import shop as shop_actions
from web.schemas import PLAN_BODY
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.plan_fields import USUAL
from web.views.plan_form import usual_words
from web.views.plan_sections import shown_section
from web.views.reader_units import reader_of
from web.views.refused_fields import RefusedFields
from web.views.render import page
from web.views.shop_account import accounts_of, shelf_of, today
from web.views.typed import kg_from, single

router = APIRouter(include_in_schema=False)
#: Most fields of what is usual: forty people.
MOST_FIELDS = 400
Word = Annotated[str, StringConstraints(max_length=100)]


class StockedLot(BaseModel):
    """A lot that came in, or was thrown away."""

    product: Word
    part: Word
    lot: Word
    kg: Word
    expires_on: Word = ""
    what: Word = "received"


@router.get("/shop")
def shop_page(request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Lessons, fits, shelf, and what is usual."""
    return _page(request, service)


@router.post("/shop/usual", max_body_size=PLAN_BODY)
async def keep_usual(request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Keep what is usual in the shop, for every new plan."""
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        given = {name: value for name, value in form.items() if isinstance(value, str)}
    return await run_in_threadpool(_keep_usual, request, service, who.name, given)


def _keep_usual(request: Request, service: Service, by: str, given: Mapping[str, str]) -> Response:
    try:
        shop_actions.change_usual(service, given, reader_of(request), by)
    except RefusedFields as error:
        return _page(request, service, given, error.fields)
    return RedirectResponse("/shop#usual", 303)


def _bars(account: Lessons) -> list[dict[str, Any]]:
    """Return the defects, each with the part of the records that had it."""
    return [
        {
            "name": trouble.words,
            "value": phrases("{n} pour", "{n} pours", len(trouble.pours)),
            "part": len(trouble.pours) / account.records,
        }
        for trouble in account.troubles
    ]


def _page(
    request: Request,
    service: Service,
    typed: Mapping[str, str] | None = None,
    wrong: Mapping[str, str] | None = None,
) -> Response:
    with service.store.read() as connection:
        account, of_year = accounts_of(connection, today(service))
        shelf = shelf_of(connection, today(service))
        offered = list(refit_offers.offers(connection).values())
        waiting = len(refit_offers.due(connection))
        titles = shop_events.titles(connection)
        foreign = shop_events.foreign_pours(connection)
        usual = shop_events.usual_of(connection)
        products = sorted(row.facts["name"] for row in resins.listed(connection).values())
    return page(
        request,
        "shop.html",
        {
            "account": account,
            "of_year": of_year,
            "troubles": _bars(account),
            "shelf": shelf,
            "offered": offered,
            "waiting": waiting,
            "titles": titles,
            "foreign": foreign,
            "states": event_views.STATES,
            "products": products,
            "usual": shown_section(USUAL, usual, reader_of(request), typed, wrong),
            "usual_words": usual_words(usual),
            "usual_open": bool(wrong),
        },
        status=422 if wrong else 200,
    )


@router.post("/shop/stock")
def note_stock(
    request: Request, service: ServiceDep, who: MakerDep, lot: Annotated[StockedLot, Form()]
) -> Response:
    """Note a lot that came in, or was thrown away."""
    if lot.what not in ("received", "discarded"):
        raise BadInput(
            "what",
            phrase("is not known"),
            value=lot.what,
            allowed=phrase("received, discarded"),
            remedy=phrase("choose one"),
        )
    data = check_lot(
        lot.model_dump(exclude={"what"})
        | {"kg": single(kg_from(lot.kg, phrase("Mass"), reader_of(request)), lot.kg, phrase("Mass"))}
    )
    data |= {"what": lot.what}
    with service.store.write() as tx:
        events.add_event(tx, None, service.timeline.true_ms(), "stock", who.name, "", data)
    return RedirectResponse("/shop#shelf", 303)
