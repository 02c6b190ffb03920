"""Whether a pour's watch may end, and who has signed that it ends all the same. The one place that says so, for pages
and programs alike; the rule itself is logger/alarms/ending.py."""

from __future__ import annotations

import logging
from dataclasses import dataclass

from sqlalchemy import Connection

from logger.alarms.ending import (
    EXCEPTION_MIN,
    OF_THE_CORE,
    SETTLES_H,
    CoreEvidence,
    Obstacle,
    ObstacleKind,
    excepted,
    obstacles,
)
from logger.errors import BadInput, LoggerError, MayNotEnd, NotAllowed
from logger.live.forecast_facts import answer_of
from logger.pour import LIVE, Stage
from logger.quantities import METRIC, cut
from logger.store import events, forecasts, pours
from logger.store.rows import EventRow, PourRow
from web.answers import EndingAnswer, ExceptionAnswer, ObstacleAnswer
from web.service.service import Service

log = logging.getLogger(__name__)
#: The event of a signed exception: data {"person", "reason", "whys", "obstacles", "step"}.
EXCEPTION = "end-exception"
#: Steps that end a pour's watch, or hide what it saw: out of the form, given up, sealed.
ENDS = (Stage.RELEASED, Stage.SPOILED, Stage.CLOSED)
#: Longest name of a person who signs; shortest and longest reason.
LONGEST_NAME, SHORTEST_REASON, LONGEST_REASON = 60, 10, 2000


@dataclass(frozen=True, slots=True)
class Ending:
    """What keeps a pour's watch from ending, and the exception that lets it pass for now."""

    obstacles: tuple[Obstacle, ...]
    exception: EventRow | None

    @property
    def may_end(self) -> bool:
        """Whether the watch may end now."""
        return not self.obstacles or self.exception is not None

    @property
    def signable(self) -> bool:
        """Whether a person may sign an exception."""
        return all(obstacle.signable for obstacle in self.obstacles)

    def to_answer(self) -> EndingAnswer:
        """Return it as programs see it, in SI."""
        signed = self.exception
        return EndingAnswer(
            may_end=self.may_end,
            obstacles=[
                ObstacleAnswer(why=str(o.why), text=METRIC.shown(o.text), signable=o.signable)
                for o in self.obstacles
            ],
            exception=None
            if signed is None
            else ExceptionAnswer(
                person=signed.facts["person"],
                reason=signed.facts["reason"],
                at_ms=signed.at_ms,
                until_ms=signed.at_ms + round(EXCEPTION_MIN * 60_000),
            ),
        )


def ending_of(service: Service, connection: Connection, pour: PourRow) -> Ending:
    """Whether a pour's watch may end, or the record of one that has ended be sealed. Raises NotFound."""
    blocking = _obstacles(service, connection, pour)
    if not blocking:
        return Ending((), None)
    signed = events.of_kind(connection, pour.id, EXCEPTION)[-1:]
    for row in signed:
        of_this_step = pour.stage in LIVE or (pour.released_ms is not None and row.at_ms >= pour.released_ms)
        if of_this_step and excepted(blocking, row.facts, service.timeline.true_ms() - row.at_ms):
            return Ending(blocking, row)
    return Ending(blocking, None)


def must_be_over(service: Service, connection: Connection, pour: PourRow, to: Stage) -> None:
    """Raise MayNotEnd when a step would end the watch, or seal the record, of a pour that is not known to be cool."""
    if to not in ENDS or pour.poured_ms is None:
        return
    ending = ending_of(service, connection, pour)
    if not ending.may_end:
        texts = [obstacle.text for obstacle in ending.obstacles]
        raise MayNotEnd(f"pour {pour.id} ({pour.title})", texts, signable=ending.signable)


def sign_exception(service: Service, pour_id: int, person: str, reason: str, by: str) -> None:
    """Somebody answers for ending a watch that should go on; it may be ended within half an hour, by a step of its own.

    Raises BadInput without a name and a reason, MayNotEnd for what nobody may sign, NotAllowed when nothing is in the
    way, NotFound.
    """
    name, why = " ".join(person.split()), reason.strip()[:LONGEST_REASON]
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise BadInput(
            "person",
            "has no name that can be kept",
            value=person,
            allowed=f"1 to {LONGEST_NAME} characters",
            remedy="say who answers for it",
        )
    if len(why) < SHORTEST_REASON:
        raise BadInput(
            "reason",
            "is too short",
            value=reason,
            allowed=f"at least {SHORTEST_REASON} characters",
            remedy="say how you know that the core is cool; it stands in the record",
        )
    with service.store.write() as tx:
        pour = pours.get_pour(tx, pour_id)
        blocking = _obstacles(service, tx, pour)
        if not blocking:
            raise NotAllowed(
                f"pour {pour_id}: nothing keeps its watch from ending, so there is nothing to sign"
            )
        texts = [obstacle.text for obstacle in blocking]
        if not all(obstacle.signable for obstacle in blocking):
            raise MayNotEnd(f"pour {pour_id} ({pour.title})", texts, signable=False)
        text = cut(f"{why} ({name}). In the way: {' '.join(texts)}", 4000)
        data = {"person": name, "reason": why, "whys": [str(o.why) for o in blocking], "obstacles": texts}
        events.add_event(tx, pour_id, service.timeline.true_ms(), EXCEPTION, by, text, data)
    service.news.publish("pour", pour=pour_id)


def _obstacles(service: Service, connection: Connection, pour: PourRow) -> tuple[Obstacle, ...]:
    shift_ms, now_ms = service.timeline.shift_ms, service.timeline.now_ms()
    if pour.poured_ms is None or pour.station_id is None:
        return ()  # it was never watched
    if pour.stage in LIVE:
        return _obstacles_at(service, connection, pour, now_ms)
    if pour.stage not in (Stage.RELEASED, Stage.SPOILED) or pour.released_ms is None:
        return ()
    ended_ms = pour.released_ms - shift_ms
    if now_ms - ended_ms >= SETTLES_H * 3.6e6:
        return ()
    # What was not known when it ended will not be known any more: whoever ended it has answered for that.
    return tuple(
        o for o in _obstacles_at(service, connection, pour, ended_ms) if o.why is not ObstacleKind.UNKNOWN
    )


def _obstacles_at(
    service: Service, connection: Connection, pour: PourRow, at_ms: int
) -> tuple[Obstacle, ...]:
    """Return the rule's answer. A stored pour that cannot be read is one of which nobody knows how hot it is."""
    try:
        return obstacles(_core_evidence(service, connection, pour), at_ms)
    except (LoggerError, AssertionError, AttributeError, KeyError, TypeError, ValueError):
        log.exception("pour %s: whether its watch may end cannot be told", pour.id)
        text = "What is stored of this pour cannot be read: nobody knows how hot its core is."
        return (Obstacle(ObstacleKind.UNKNOWN, text),)


def _core_evidence(service: Service, connection: Connection, pour: PourRow) -> CoreEvidence:
    book = service.watch.book_of(connection, pours.to_judge(connection, pour.id))
    started_ms = pour.started_ms - service.timeline.shift_ms
    newest, predicted = forecasts.latest(connection, pour.id), pour.prediction or {}
    assert book.setup.limits is not None
    return CoreEvidence(
        signals=book.signals,
        limits=book.setup.limits,
        started_ms=started_ms,
        states={name: book.state(name) for name in OF_THE_CORE},
        doubted=book.doubted,
        answer=None if newest is None else answer_of(newest.body, started_ms),
        foretold=(predicted["peak_c"], predicted["peak_at_h"]) if "peak_c" in predicted else None,
    )
