"""What a maker decides about handing a table over: which photo is on its sheet, whether its public card is open; and
the workshop's logo.

None of it is part of what happened to the pour: its events are the shop's, and no sealed record changes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection

from logger.errors import BadInput
from logger.record import event_views
from logger.store import events, logos, pours, shared_links, shop_events
from logger.words.phrase import phrase
from web.actions.photos import check_size
from web.security.access import Who
from web.service.service import Service
from web.views.photo_sanitize import logo

#: Largest logo that is taken, bytes; what is kept of it is far smaller.
LARGEST_LOGO = 5 * 1024 * 1024
PHOTO_CHOSEN = "sheet-photo"
#: A choice of no photo at all.
NO_PHOTO = ""


def photos_of(record: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return a record's photos, also those added after sealing: of the table first, then those of points; newest
    first.
    """
    added = [
        row["data"] | {"at_ms": row["at_ms"], "text": row["text"]}
        for row in record["additions"]
        if event_views.subject(row["kind"], row["data"]) == "photo"
    ]
    by_hash = {photo["sha256"]: photo for photo in [*record["photos"], *added]}
    return sorted(by_hash.values(), key=lambda photo: (bool(photo.get("point")), -photo["at_ms"]))


def sheet_photo(connection: Connection, pour_id: int, record: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the photo on a table's sheet: the one that was chosen, else the newest that is no check's; or None."""
    photos = photos_of(record)
    chosen = None
    for event in shop_events.shop_events(connection, PHOTO_CHOSEN):
        if event.facts.get("pour") == pour_id:
            chosen = event.facts.get("sha256")
    if chosen == NO_PHOTO:
        return None
    named = next((photo for photo in photos if photo["sha256"] == chosen), None)
    return named or next((photo for photo in photos if not photo.get("point")), None)


def choose_photo(service: Service, pour_id: int, sha256: str, record: Mapping[str, Any], who: Who) -> None:
    """Put one of the pour's photos on its sheet; NO_PHOTO: none. Raises BadInput."""
    if sha256 != NO_PHOTO and sha256 not in {photo["sha256"] for photo in photos_of(record)}:
        raise BadInput(
            phrase("photo"), phrase("is none of this pour's"), remedy=phrase("choose one from the list")
        )
    data = {"pour": pour_id, "sha256": sha256}
    with service.store.write() as tx:
        now_ms = service.timeline.true_ms()
        events.add_event(tx, None, now_ms, PHOTO_CHOSEN, who.name, data=data, shop_id=who.shop_id)


def publish_card(service: Service, pour_id: int, title: str, who: Who) -> str:
    """Open a pour's public card under that title, and return its token. Raises BadInput, NotFound."""
    title = re.sub(r"\s+", " ", title).strip()
    if not title or not title.isprintable():
        raise BadInput(
            phrase("title"), phrase("is empty"), remedy=phrase("say what the card calls the table")
        )
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        pours.get_pour(tx, pour_id)
        token = shared_links.publish_card(tx, pour_id, title[:100], who.name, now_ms)
        data = {"pour": pour_id}
        events.add_event(tx, None, now_ms, "card-opened", who.name, title, data, shop_id=who.shop_id)
    return token


def choose_logo(service: Service, raw: bytes, who: Who) -> None:
    """Keep a picture, drawn anew, as the workshop's logo. Raises BadInput."""
    check_size(
        raw,
        phrase("logo"),
        LARGEST_LOGO,
        phrase("choose a picture first"),
        phrase("export it smaller"),
    )
    drawn = logo(raw)
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        logos.keep_logo(tx, drawn, who.name, now_ms, who.shop_id)
        events.add_event(tx, None, now_ms, "logo-chosen", who.name, shop_id=who.shop_id)


def remove_logo(service: Service, who: Who) -> None:
    """Show no logo any more."""
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        logos.drop_logo(tx, who.shop_id)
        events.add_event(tx, None, now_ms, "logo-removed", who.name, shop_id=who.shop_id)
