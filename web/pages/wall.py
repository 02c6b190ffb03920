"""The wall view: every pour on a large screen, read from across the shop, by a link without a sign-in. Read-only."""

from __future__ import annotations

import logging

from fastapi import APIRouter, Request
from sqlalchemy.exc import DBAPIError
from starlette.responses import Response

from logger.pour import LIVE
from logger.store import pours, shared_links
from logger.store.rows import SharedLinkRow
from web.security.access import ServiceDep, WallDep
from web.service.service import Service
from web.views.render import page
from web.views.status import status_of, urgency

log = logging.getLogger(__name__)
router = APIRouter(include_in_schema=False)
#: No search engine keeps it, and its address goes to no other site.
UNLISTED = {"X-Robots-Tag": "noindex, nofollow", "Referrer-Policy": "no-referrer"}


@router.get("/wall")
def wall(request: Request, service: ServiceDep, link: WallDep) -> Response:
    """Every pour that is watched, the gravest first and largest."""
    now_ms = service.timeline.true_ms()
    _note_use(service, link)
    with service.store.read() as connection:
        shown = [
            (pour, status_of(service, connection, pour, now_ms))
            for pour in pours.predicted_pours(connection, LIVE)
        ]
    shown.sort(key=lambda one: (urgency(one[1]), -one[0].id))
    clients = link is not None and link.clients
    answer = page(request, "wall.html", {"shown": shown, "clients": clients})
    answer.headers.update(UNLISTED)
    return answer


def _note_use(service: Service, link: SharedLinkRow | None) -> None:
    now_ms = service.timeline.now_ms()
    if link is None or (link.seen_ms is not None and now_ms - link.seen_ms < shared_links.SEEN_EVERY_MS):
        return
    try:
        with service.store.write() as tx:
            shared_links.note_use(tx, link.id, now_ms)
    except DBAPIError as error:
        # A screen goes on showing while nothing can be written: now most of all.
        log.warning("when a screen's link was last used could not be noted: %s", error.orig)
