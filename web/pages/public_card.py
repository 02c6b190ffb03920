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
from logger.record.verify import Verdict, verify
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
#: A proof holds so long before it is made again, ms: it reads every row of the pour, and a Pi takes seconds for it.
PROVEN_MS = 10 * 60 * 1000
#: Pours whose proof is remembered at most.
MOST_PROVEN = 500
#: Letters of the seal that paper has, for a person to compare.
CODE_LETTERS = 16


@dataclass(slots=True)
class SealProofs:
    """The last proof of each pour's seal, made by one thread at a time, however many ask."""

    _made: dict[int, tuple[int, str, Verdict]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def of(self, service: Service, pour: PourRow) -> tuple[int, Verdict]:
        """Return when a pour's record was proven last (true ms), and what came of it; what is new is proven anew."""
        now_ms, heads = service.timeline.true_ms(), f"{pour.reading_head} {pour.event_head}"
        with self._lock:
            kept = self._made.get(pour.id)
            if kept is None or kept[1] != heads or not 0 <= now_ms - kept[0] < PROVEN_MS:
                with service.store.read() as connection:
                    proof = verify(connection, pour.id, pictures=Path(service.settings.data_dir) / FOLDER)
                while len(self._made) >= MOST_PROVEN:
                    del self._made[next(iter(self._made))]
                kept = self._made[pour.id] = (now_ms, heads, proof)
        return kept[0], kept[2]


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
        record = gather(connection, pour.id, service.settings.workshop)
        logo = logos.logo_of(connection, link.shop_id)
        units = shop_events.reading_of(connection, link.shop_id).units
    tries.give_back()
    if link.seen_ms is None or now_ms - link.seen_ms > PROVEN_MS:
        with service.store.write() as tx:
            shared_links.note_use(tx, link.id, now_ms)
    proven_ms, proof = proofs_of(request).of(service, pour)
    true_ms = service.timeline.true_ms()
    sealed = pour.stage == Stage.CLOSED and record["seal"] is not None
    shown = {
        "u": replace(reader_without_sign_in(request, units), now_ms=true_ms),
        "title": link.label,
        "workshop": record["workshop"],
        "logo": None if logo is None else png(logo),
        "poured_ms": pour.poured_ms,
        "released_ms": pour.released_ms,
        "sealed_ms": pour.closed_ms if sealed else None,
        "verdict": hand_over.cure_verdict(record),
        "holds": proof.ok,
        "proven_ms": proven_ms,
        "code": seal_hash(record["seal"])[:CODE_LETTERS] if sealed else None,
    }
    answer = page(request, "card.html", shown)
    # The address is the key: it goes to no other site, and to no search engine.
    answer.headers["Referrer-Policy"] = "no-referrer"
    answer.headers["X-Robots-Tag"] = "noindex"
    return answer


def proofs_of(request: Request) -> SealProofs:
    """Return this service's proofs."""
    state = request.app.state
    if not hasattr(state, "seal_proofs"):
        state.seal_proofs = SealProofs()
    proofs: SealProofs = state.seal_proofs
    return proofs
