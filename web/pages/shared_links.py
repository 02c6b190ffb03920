"""Links that show something without a sign-in: board or wall view for a screen, a pour's record for its client."""

from __future__ import annotations

import re
from typing import Annotated, Any
from urllib.parse import urlencode

import segno
from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, NotFound
from logger.store import events, pours, shared_links, shop_events
from logger.store.shared_links import LinkKind
from logger.words.numbers import LANGUAGE_NAMES, LANGUAGES
from logger.words.phrase import phrase
from web.actions import sign_in
from web.schemas import RowId
from web.security import access
from web.security.access import MakerDep, OwnerDep, ServiceDep
from web.security.throttle import address_key
from web.service.service import Service
from web.views.reader_units import SYSTEMS, keep_on_device
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: Where each kind of link leads to; {}: its pour.
LEADS_TO = {
    LinkKind.RECORD: "/pours/{}/record",
    LinkKind.SCREEN: "/",
    LinkKind.WALL: "/wall",
}
#: The cookie in which a browser keeps each.
COOKIES = {
    LinkKind.RECORD: access.RECORD_COOKIE,
    LinkKind.SCREEN: access.SCREEN_COOKIE,
    LinkKind.WALL: access.WALL_COOKIE,
}
#: A screen's browser keeps its link this long, s.
SCREEN_S = 365 * 24 * 3600


@router.get("/links")
def links(request: Request, service: ServiceDep, _who: MakerDep) -> Response:
    """Every link that holds, and a form for another."""
    return page(request, "links.html", _context(service))


@router.post("/links")
def share(
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    label: Annotated[str, Form(max_length=100)],
    pour: Annotated[str, Form(max_length=20)] = "",
    units: Annotated[str, Form(max_length=10)] = "",
    language: Annotated[str, Form(max_length=4)] = "",
) -> Response:
    """Make a new link; its address is shown in the answer only."""
    try:
        label = _checked_label(label)
        if pour and not re.fullmatch(r"[0-9]{1,9}", pour):
            raise BadInput(
                phrase("pour"), phrase("is not a pour"), value=pour, remedy=phrase("choose one from the list")
            )
        now_ms = service.timeline.now_ms()
        with service.store.write() as tx:
            pour_id = int(pour) if pour else None
            _row, token = shared_links.share(tx, pour_id, label, who.name, now_ms)
            kind = "screen-link-made" if pour_id is None else "record-link-made"
            events.add_event(tx, pour_id, now_ms, kind, who.name, label)
    except (BadInput, NotFound) as error:
        return page(request, "links.html", _context(service) | {"problem": error.fact}, status=422)
    address = _address(service, token, units, language)
    calendar = f"{service.settings.link_base}/calendar/{token}"
    return page(
        request,
        "links.html",
        _context(service) | {"address": address, "calendar": calendar, "made_for": label},
    )


@router.post("/links/wall")
def share_wall(
    request: Request,
    service: ServiceDep,
    who: OwnerDep,
    label: Annotated[str, Form(max_length=100)],
    clients: Annotated[str, Form(max_length=4)] = "",
    units: Annotated[str, Form(max_length=10)] = "",
    language: Annotated[str, Form(max_length=4)] = "",
) -> Response:
    """Make a link to the wall view; its address and code are shown in the answer only."""
    try:
        label = _checked_label(label)
    except BadInput as error:
        return page(request, "links.html", _context(service) | {"problem": error.fact}, status=422)
    now_ms, named = service.timeline.now_ms(), clients == "yes"
    with service.store.write() as tx:
        _row, token = shared_links.share(tx, None, label, who.name, now_ms, LinkKind.WALL, clients=named)
        events.add_event(tx, None, now_ms, "wall-link-made", who.name, label, data={"clients": named})
    address = _address(service, token, units, language)
    code = segno.make(address, error="m", micro=False).svg_data_uri(border=2)
    made = {"address": address, "made_for": label, "code": code}
    return page(request, "links.html", _context(service) | made)


@router.post("/links/{link_id}/end")
def end(link_id: RowId, service: ServiceDep, who: MakerDep) -> Response:
    """End a link at once, wherever it went."""
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        link = shared_links.end(tx, link_id, now_ms)
        foreign = link.pour_id is not None and pours.origin_of(tx, link.pour_id) is not None
        # A card is the shop's affair: neither its opening nor its end is part of what happened to the pour.
        of_shop = foreign or link.kind == LinkKind.CARD
        events.add_event(tx, None if of_shop else link.pour_id, now_ms, "link-ended", who.name, link.label)
    return RedirectResponse("/links", 303)


@router.get("/shared/{token}")
def opened(token: str, request: Request, service: ServiceDep) -> Response:
    """Open a link: its token moves into a cookie, out of the address. Raises NotFound, TooMany."""
    now_ms = service.timeline.now_ms()
    tries = sign_in.Tries(request)
    tries.take(request.app.state.throttle.tries_of_address, address_key(request.scope))
    with service.store.read() as connection:
        link = shared_links.by_token(connection, token[:100], now_ms, *LEADS_TO)
    if link is None:
        raise NotFound(
            phrase("this link was ended, has run out, or was not copied whole; ask whoever gave it to you")
        )
    tries.give_back()
    with service.store.write() as tx:
        shared_links.note_use(tx, link.id, now_ms)
    kind = LinkKind(link.kind)
    answer = RedirectResponse(LEADS_TO[kind].format(link.pour_id), 303)
    # A screen or a client keeps what their link asked for: ?units=us&language=de.
    language = request.query_params.get("language", "")
    units = SYSTEMS.get(request.query_params.get("units", ""))
    keep_on_device(answer, request, units, language if language in LANGUAGES else None)
    name = COOKIES[kind].format(link.pour_id)
    # Lax, not Strict: a client follows it from a mail, and it can change nothing.
    answer.set_cookie(
        name, token, max_age=SCREEN_S, httponly=True, samesite="lax", secure=access.secure(request)
    )
    return answer


def _checked_label(label: str) -> str:
    """Return what a link is for. Raises BadInput."""
    label = " ".join(label.split())
    if not label or not label.isprintable():
        raise BadInput(
            phrase("label"),
            phrase("is empty"),
            remedy=phrase("say whom or what it is for, to end the right one later"),
        )
    return label


def _address(service: Service, token: str, units: str, language: str) -> str:
    """Return a link's address, with the units and the language in which it is to be read."""
    asked = {
        "units": units if units in SYSTEMS else "",
        "language": language if language in LANGUAGES else "",
    }
    query = urlencode({name: value for name, value in asked.items() if value})
    return f"{service.settings.link_base}/shared/{token}{'?' if query else ''}{query}"


def _context(service: Service) -> dict[str, Any]:
    with service.store.read() as connection:
        rows = shared_links.holding(connection, service.timeline.now_ms())
        titles, own = shop_events.titles(connection), shop_events.titles(connection, own=True)
    return {
        "links": rows,
        "titles": titles,
        "own": own,
        "problem": None,
        "address": None,
        "calendar": None,
        "code": None,
        "made_for": None,
        "languages": LANGUAGE_NAMES,
    }
