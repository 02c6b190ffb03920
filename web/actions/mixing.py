"""What is done at the mixing bench: a batch's check, and the taps that start and end its clock."""

from __future__ import annotations

from typing import Any, Literal

from logger.errors import BadInput
from logger.facts import fact
from logger.store import events, page_queries, pours
from logger.words.phrase import phrase
from web.actions.pours import may_keep
from web.service.service import Service
from web.views.mixing import BENCH_EVENTS, EMPTIED, NOT_EMPTIED, NOT_STARTED, STARTED, Batch, batches_of

Tap = Literal["started", "not-started", "emptied", "not-emptied"]


def add_check(
    service: Service, pour_id: int, sentence: str, facts: dict[str, Any], number: int | None, by: str
) -> int:
    """Keep a batch's check with the pour; return its event's id.

    number: the batch's; None for a new batch. Raises BadInput for a number that no batch can have, NotAllowed and
    NotFound.
    """
    with service.store.write() as tx:
        may_keep(pours.get_pour(tx, pour_id), "batch")
        batches = batches_of(page_queries.events_of_kind(tx, pour_id, *BENCH_EVENTS))
        number = _numbered(batches, number)
        at_ms = service.timeline.true_ms()
        events.add_event(tx, pour_id, at_ms, "batch", by, sentence, facts | {"number": number})
        check_id = page_queries.newest_events(tx, pour_id, 1)[0].id
    service.news.publish("pour", pour=pour_id)
    return check_id


def tap_clock(service: Service, pour_id: int, number: int, what: Tap, by: str) -> None:
    """Start a batch's clock, end it, or take either back. A second tap of the same changes nothing.

    Raises BadInput for a number that no batch can have, NotAllowed, NotFound.
    """
    with service.store.write() as tx:
        may_keep(pours.get_pour(tx, pour_id), "mixing")
        batches = batches_of(page_queries.events_of_kind(tx, pour_id, *BENCH_EVENTS))
        number = _numbered(batches, number)
        batch = next((b for b in batches if b.number == number), Batch(number))
        done = {
            STARTED: batch.stirred_ms is not None,
            NOT_STARTED: batch.stirred_ms is None,
            EMPTIED: batch.emptied,
            NOT_EMPTIED: not batch.emptied,
        }[what]
        if done:
            return
        code = f"batch-{what}" if what != EMPTIED or batch.light != "stop" else "batch-emptied-unpoured"
        data = {"number": number, "what": what}
        events.add_event(
            tx, pour_id, service.timeline.true_ms(), "mixing", by, fact(code, number=number), data
        )
    service.news.publish("pour", pour=pour_id)


def _numbered(batches: list[Batch], number: int | None) -> int:
    following = batches[-1].number + 1 if batches else 1
    if number is None:
        return following
    if not 1 <= number <= following:
        raise BadInput(
            phrase("batch"),
            phrase("is not the number of a batch"),
            value=number,
            allowed=phrase("1 to {following}", following=following),
            remedy=phrase("open the mixing page again"),
        )
    return number
