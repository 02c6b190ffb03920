"""The shop page: what do mistakes cost us, and what would have caught them? Which resin is there, how well known?"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from sqlalchemy import Connection
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput
from logger.record import happened, learn
from logger.record.shop import Lessons, Lot, check_lot, lessons, stock
from logger.store import events, pours, resins, seals, shop
from web.access import MakerDep, ServiceDep, ViewerDep
from web.pages.frame import page
from web.pages.measures import number_from
from web.service import Service

router = APIRouter(include_in_schema=False)
Word = Annotated[str, Form(max_length=100)]


@router.get("/shop")
def shop_page(request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Lessons, fits, shelf."""
    with service.store.read() as connection:
        account = lessons_of(connection)
        shelf = shelf_of(connection, today(service))
        offered = list(learn.offers(connection).values())
        waiting = len(learn.due(connection))
        titles = shop.titles(connection)
        foreign = shop.foreign_pours(connection)
        products = sorted(row.data["name"] for row in resins.kept(connection).values())
    return page(request, "shop.html", {"account": account, "shelf": shelf, "offered": offered, "waiting": waiting,
                                       "titles": titles, "foreign": foreign, "states": happened.STATES,
                                       "products": products})  # fmt: skip


@router.post("/shop/stock")
def note_stock(
    service: ServiceDep, who: MakerDep, product: Word, part: Word, lot: Word, kg: Word, expires_on: Word = "",
    what: Word = "received",
) -> Response:  # fmt: skip
    """A lot came in, or was thrown away."""
    if what not in ("received", "discarded"):
        raise BadInput("what", "is not known", value=what, allowed="received, discarded", remedy="choose one")
    data = check_lot({"product": product, "part": part, "lot": lot, "kg": number_from(kg, "Mass"),
                      "expires_on": expires_on}) | {"what": what}  # fmt: skip
    with service.store.write() as tx:
        events.add_event(tx, None, service.timeline.true_ms(), "stock", who.name, "", data)
    return RedirectResponse("/shop#shelf", 303)


def lessons_of(connection: Connection) -> Lessons:
    """The account over every sealed record and what was added to it since."""
    told = []
    for pour_id, record in shop.sealed_records(connection):
        count = pours.get_pour(connection, pour_id).seal["events"]["count"]
        later = [{"kind": row.kind, "at_ms": row.at_ms, "by": row.by, "text": row.text, "data": row.data}
                 for row in seals.events_after(connection, pour_id, count)]  # fmt: skip
        told.append((pour_id, record, later))
    return lessons(told)


def shelf_of(connection: Connection, on: date) -> list[Lot]:
    """The lots on the shelf."""
    received = [row.data for row in shop.shop_events(connection, "stock")]
    used: list[dict[str, Any]] = [
        row.data
        for row in shop.events_of_all_pours(connection, "lot", "addition")
        if row.kind == "lot" or (row.data or {}).get("about") == "lot"
    ]
    return stock(received, used, on)


def today(service: Service) -> date:
    """Today, by the machine's time zone."""
    return datetime.fromtimestamp(service.timeline.true_ms() / 1000, UTC).astimezone().date()
