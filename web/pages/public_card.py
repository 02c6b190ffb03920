"""The card that a table's label opens, for anybody: what the label promises, and whether its seal holds now."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from pathlib import Path

from fastapi import APIRouter, Request
from starlette.responses import Response

from logger.errors import NotFound
from logger.pour import Stage
from logger.record.gather import gather
from logger.record.seal import seal_hash
from logger.record.verify import verify
from logger.store import logos, pours, shared_links, shop_events
from logger.store.photos import FOLDER
from logger.store.rows import PourRow
from logger.store.shared_links import LinkKind
from logger.words.phrase import phrase
from web.actions import sign_in
from web.security.access import ServiceDep
from web.security.throttle import address_key
from web.service.service import Service
from web.views import hand_over
from web.views.data_uri import png
from web.views.reader_units import reader_without_sign_in
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: What a card says is worked out again after so long, ms, or after the shorter time where something is new: it reads
#: every row of the pour, which takes a Pi seconds, and anybody may ask.
PROVEN_MS, NEW_MS = 10 * 60 * 1000, 60 * 1000
#: Pours whose card is remembered at most.
MOST_PROVEN = 500
#: Letters of the seal that paper has, for a person to compare.
CODE_LETTERS = 16


@dataclass(frozen=True, slots=True)
class CardFacts:
    """What a card says of a pour's record: whose it is, how the cure went, the seal's code (None: not sealed), whether
    the record stands, and when that was looked at (true ms) with which heads of its chains.
    """

    workshop: str
    verdict: hand_over.CureVerdict
    code: str | None
    holds: bool
    at_ms: int
    heads: tuple[str, str]

    def good_at(self, now_ms: int, heads: tuple[str, str]) -> bool:
        """Whether they need not be worked out again."""
        return 0 <= now_ms - self.at_ms < (PROVEN_MS if heads == self.heads else NEW_MS)


@dataclass(slots=True)
class Cards:
    """What was last found for each card, by one thread at a time, however many ask."""

    _found: dict[int, CardFacts] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def of(self, service: Service, pour: PourRow) -> CardFacts:
        """Return what a pour's card says."""
        now_ms, heads = service.timeline.true_ms(), (pour.reading_head, pour.event_head)
        with self._lock:
            found = self._found.pop(pour.id, None)
            if found is None or not found.good_at(now_ms, heads):
                found = _looked_up(service, pour, now_ms, heads)
            while len(self._found) >= MOST_PROVEN:
                del self._found[next(iter(self._found))]
            self._found[pour.id] = found
        return found


def _looked_up(service: Service, pour: PourRow, now_ms: int, heads: tuple[str, str]) -> CardFacts:
    with service.store.read() as connection:
        record = gather(connection, pour.id, service.settings.workshop)
        proof = verify(connection, pour.id, pictures=Path(service.settings.data_dir) / FOLDER)
    sealed = pour.stage == Stage.CLOSED and record["seal"] is not None
    code = seal_hash(record["seal"])[:CODE_LETTERS] if sealed else None
    verdict = hand_over.cure_verdict(record)
    return CardFacts(record["workshop"], verdict, code, proof.ok, now_ms, heads)


@router.get("/card/{token}")
def card(token: str, request: Request, service: ServiceDep) -> Response:
    """Show a table's public card. Raises NotFound, TooMany."""
    tries = sign_in.Tries(request)
    tries.take(request.app.state.throttle.tries_of_address, address_key(request.scope))
    now_ms = service.timeline.now_ms()
    with service.store.read() as connection:
        link = shared_links.by_token(connection, token[:100], now_ms, LinkKind.CARD)
        if link is None or link.pour_id is None:
            raise NotFound(
                phrase("this card was closed, or its address was not copied whole; ask the workshop")
            )
        pour = pours.get_pour(connection, link.pour_id)
        logo = logos.logo_of(connection, link.shop_id)
        units = shop_events.reading_of(connection, link.shop_id).units
    tries.give_back()
    if link.seen_ms is None or now_ms - link.seen_ms > PROVEN_MS:
        with service.store.write() as tx:
            shared_links.note_use(tx, link.id, now_ms)
    found = cards_of(request).of(service, pour)
    shown = {
        "u": replace(reader_without_sign_in(request, units), now_ms=service.timeline.true_ms()),
        "title": link.label,
        "workshop": found.workshop,
        "logo": None if logo is None else png(logo),
        "poured_ms": pour.poured_ms,
        "released_ms": pour.released_ms,
        "sealed_ms": pour.closed_ms,
        "found": found,
    }
    answer = page(request, "card.html", shown)
    # The address is the key: it goes to no other site, and to no search engine.
    answer.headers["Referrer-Policy"] = "no-referrer"
    answer.headers["X-Robots-Tag"] = "noindex"
    return answer


def cards_of(request: Request) -> Cards:
    """Return what this service last found for its cards."""
    state = request.app.state
    if not hasattr(state, "cards"):
        state.cards = Cards()
    cards: Cards = state.cards
    return cards
