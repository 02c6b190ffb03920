"""The shop page: what do mistakes cost us, and what would have caught them? Which resin is there, how well known?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from pydantic import BaseModel, StringConstraints
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput
from logger.record import event_views, refit_offers
from logger.record.shop_history import check_lot
from logger.store import events, resins, shop_events
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.views.reader_units import number_from
from web.views.render import page
from web.views.shop_account import lessons_of, shelf_of, today

router = APIRouter(include_in_schema=False)
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
    """Lessons, fits, shelf."""
    with service.store.read() as connection:
        account = lessons_of(connection)
        shelf = shelf_of(connection, today(service))
        offered = list(refit_offers.offers(connection).values())
        waiting = len(refit_offers.due(connection))
        titles = shop_events.titles(connection)
        foreign = shop_events.foreign_pours(connection)
        products = sorted(row.facts["name"] for row in resins.listed(connection).values())
    return page(
        request,
        "shop.html",
        {
            "account": account,
            "shelf": shelf,
            "offered": offered,
            "waiting": waiting,
            "titles": titles,
            "foreign": foreign,
            "states": event_views.STATES,
            "products": products,
        },
    )


@router.post("/shop/stock")
def note_stock(service: ServiceDep, who: MakerDep, lot: Annotated[StockedLot, Form()]) -> Response:
    """Note a lot that came in, or was thrown away."""
    if lot.what not in ("received", "discarded"):
        raise BadInput(
            "what", "is not known", value=lot.what, allowed="received, discarded", remedy="choose one"
        )
    data = check_lot(lot.model_dump(exclude={"what"}) | {"kg": number_from(lot.kg, "Mass")})
    data |= {"what": lot.what}
    with service.store.write() as tx:
        events.add_event(tx, None, service.timeline.true_ms(), "stock", who.name, "", data)
    return RedirectResponse("/shop#shelf", 303)
