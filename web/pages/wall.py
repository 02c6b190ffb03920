"""The wall view: every pour on a large screen, read from across the shop, by a link without a sign-in. Read-only."""

from __future__ import annotations

import logging

from fastapi import APIRouter, Request
from sqlalchemy.exc import DBAPIError
from starlette.responses import Response

from logger.condition.condition_words import STAGE_WORDS
from logger.pour import Stage
from logger.store import pours, shared_links
from logger.store.rows import SharedLinkRow
from logger.units import MINUTE_MS
from web.security.access import ServiceDep, WallDep
from web.service.service import Service
from web.views.render import page
from web.views.tiles import live_tiles, wall_room_for

log = logging.getLogger(__name__)
router = APIRouter(include_in_schema=False)
#: No search engine keeps it, and its address goes to no other site.
UNLISTED = {"X-Robots-Tag": "noindex", "Referrer-Policy": "no-referrer"}
#: Pours that are still read from five metres on one screen; so many that are planned are named on an empty one.
MOST_SHOWN, MOST_AHEAD = 13, 5
#: Places between which everything moves each minute, so that nothing burns into the screen.
PLACES = 9


@router.get("/wall")
def wall(request: Request, service: ServiceDep, link: WallDep) -> Response:
    """Every pour that is watched, the gravest first and largest."""
    now_ms = service.timeline.true_ms()
    _note_use(service, link)
    with service.store.read() as connection:
        tiles = live_tiles(service, connection, now_ms)
        ahead = [] if tiles else pours.all_pours(connection, (Stage.PLANNED, Stage.READY), MOST_AHEAD)
    shown = tiles[:MOST_SHOWN]
    context = {
        "tiles": shown,
        "more": len(tiles) - len(shown),
        "room": wall_room_for(len(shown)),
        "clients": link is not None and link.clients,
        "ahead": ahead,
        "stage_words": STAGE_WORDS,
        "alarms_linked": [alarm for tile in shown for alarm in tile.standing.linked()],
        "place": now_ms // MINUTE_MS % PLACES,
    }
    answer = page(request, "wall.html", context)
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
