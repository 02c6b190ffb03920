"""Steps that nothing takes by accident, for pages and programs: first hour over, out of the form, given up, sealed.

What stands in the way (the rule itself is logger/alarms/ending.py), who has signed that it is done all the same, and
the confirmation: a step is asked for first, and then confirmed with what the asking gave. That holds for ten minutes,
for that step of that pour at that stage: a second tap, a late tap on an old page, a request sent again change nothing.
It guards against accidents, not against people: whoever may take the step may ask for it.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import Connection

from logger.alarms.ending import (
    EXCEPTION_MIN,
    OF_THE_CORE,
    SETTLES_H,
    CoreEvidence,
    Obstacle,
    ObstacleKind,
    StepEvidence,
    excepted,
    step_obstacles,
)
from logger.alarms.first_hour import next_due_ms, summarize_looks
from logger.condition.condition_words import STAGE_WORDS
from logger.condition.peaks import open_from_h
from logger.errors import BadInput, LoggerError, MayNotEnd, NotAllowed, NotConfirmed
from logger.facts import fact, in_a_row
from logger.live.forecast_facts import answer_of
from logger.pour import LIVE, Stage
from logger.quantities import minutes
from logger.store import events, forecasts, page_queries, pours
from logger.store.rows import EventRow, PourRow
from logger.words.phrase import phrase
from web.answers import EndingAnswer, ExceptionAnswer, ObstacleAnswer, UndoAnswer
from web.service.service import Service

log = logging.getLogger(__name__)
#: The event of a signed exception: data {"person", "reason", "whys", "obstacles", "step"}.
EXCEPTION = "end-exception"
#: Steps that end a pour's watch, or hide what it saw: out of the form, given up, sealed.
ENDS = (Stage.RELEASED, Stage.SPOILED, Stage.CLOSED)
#: Steps that are asked for, confirmed, and can be taken back for ten minutes.
CONFIRMED = (Stage.CURING, *ENDS)
#: So long a confirmation holds, min.
CONFIRM_MIN = 10.0
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

    def to_answer(self, confirm: str, undo: UndoAnswer | None) -> EndingAnswer:
        """Return it as programs see it, in SI."""
        signed = self.exception
        return EndingAnswer(
            may_end=self.may_end,
            obstacles=[
                ObstacleAnswer(why=str(o.why), text=o.text, signable=o.signable) for o in self.obstacles
            ],
            exception=None
            if signed is None
            else ExceptionAnswer(
                person=signed.facts["person"],
                reason=signed.facts["reason"],
                at_ms=signed.at_ms,
                until_ms=signed.at_ms + round(EXCEPTION_MIN * 60_000),
            ),
            confirm=confirm,
            undo=undo,
        )


def end_of(pour: PourRow) -> Stage:
    """Return the step that ends a pour's watch, or of one that has ended the seal."""
    return Stage.CLOSED if pour.stage in (Stage.RELEASED, Stage.SPOILED) else Stage.RELEASED


def ending_of(service: Service, connection: Connection, pour: PourRow, to: Stage | None = None) -> Ending:
    """Return what stands in the way of a step; None: of the end of the watch, or of the seal after it.

    Raises NotFound.
    """
    to = to or end_of(pour)
    return endings_of(service, connection, pour, (to,))[to]


def endings_of(
    service: Service, connection: Connection, pour: PourRow, steps: Sequence[Stage]
) -> dict[Stage, Ending]:
    """Return step → what stands in its way; what they are judged by is gathered once. Raises NotFound."""
    blocking = _obstacles(service, connection, pour, steps)
    if not any(blocking.values()):
        return dict.fromkeys(steps, Ending((), None))
    signed = events.of_kind(connection, pour.id, EXCEPTION)
    return {to: _with_exception(service, pour, to, blocking[to], signed) for to in steps}


def _with_exception(
    service: Service, pour: PourRow, to: Stage, blocking: tuple[Obstacle, ...], signed: Sequence[EventRow]
) -> Ending:
    """Return a step's obstacles with the exception that lets it pass all the same, if one does."""
    if not blocking:
        return Ending((), None)
    of_hour = to is Stage.CURING
    of_step = [row for row in signed if (row.facts.get("step") == str(Stage.CURING)) is of_hour]
    for row in of_step[-1:]:
        lately = pour.stage in LIVE or (pour.released_ms is not None and row.at_ms >= pour.released_ms)
        if lately and excepted(blocking, row.facts, service.timeline.true_ms() - row.at_ms):
            return Ending(blocking, row)
    return Ending(blocking, None)


def must_be_over(service: Service, connection: Connection, pour: PourRow, to: Stage) -> None:
    """Raise MayNotEnd when something stands in the way of a step that nothing takes by accident."""
    if to not in CONFIRMED or pour.poured_ms is None:
        return
    ending = ending_of(service, connection, pour, to)
    if not ending.may_end:
        texts = [obstacle.text for obstacle in ending.obstacles]
        raise MayNotEnd(
            phrase("pour {number} ({title})", number=pour.id, title=pour.title),
            texts,
            signable=ending.signable,
        )


def confirmation(connection: Connection, pour: PourRow, to: Stage, now_ms: int) -> str:
    """Return what confirms a step of a pour as it stands now. `now_ms`: true time."""
    return f"{to}.{pours.step_mark(connection, pour.id)}.{now_ms // 60_000}"


def must_be_confirmed(connection: Connection, pour: PourRow, to: Stage, given: str, now_ms: int) -> None:
    """Raise NotConfirmed unless a step was asked for lately, at the stage at which the pour is now."""
    if to not in CONFIRMED:
        return
    stage = phrase(
        "{pour}: nothing was changed. Its stage is now: {stage}.",
        pour=pour.title,
        stage=STAGE_WORDS[Stage(pour.stage)],
    )
    if not given:
        raise NotConfirmed(
            phrase(
                "{stage} This step is asked for first, and then confirmed: open the pour's page.", stage=stage
            )
        )
    if given.split(".")[:2] != confirmation(connection, pour, to, now_ms).split(".")[:2]:
        raise NotConfirmed(
            phrase("{stage} What was pressed was made before that: open the pour's page again.", stage=stage)
        )
    minute = given.rpartition(".")[2]
    if not minute.isdecimal() or not 0 <= now_ms / 60_000 - int(minute) <= CONFIRM_MIN:
        raise NotConfirmed(
            phrase(
                "{stage} The page was opened more than {confirm_min} ago: open it again, look, and then press.",
                stage=stage,
                confirm_min=minutes(CONFIRM_MIN),
            )
        )


def sign_exception(
    service: Service, pour_id: int, person: str, reason: str, by: str, to: Stage | None = None
) -> None:
    """Somebody answers for a step that something stands in the way of (None: the end of the watch, or the seal); it may
    be taken within half an hour, by a step of its own.

    Raises BadInput without a name and a reason, MayNotEnd for what nobody may sign, NotAllowed when nothing is in the
    way, NotFound.
    """
    name, why = " ".join(person.split()), reason.strip()[:LONGEST_REASON]
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise BadInput(
            phrase("person"),
            phrase("has no name that can be kept"),
            value=person,
            allowed=phrase("1 to {longest_name} characters", longest_name=LONGEST_NAME),
            remedy=phrase("say who answers for it"),
        )
    if len(why) < SHORTEST_REASON:
        raise BadInput(
            phrase("reason"),
            phrase("is too short"),
            value=reason,
            allowed=phrase("at least {shortest_reason} characters", shortest_reason=SHORTEST_REASON),
            remedy=phrase("say how you know that the core is cool; it stands in the record"),
        )
    with service.store.write() as tx:
        pour = pours.get_pour(tx, pour_id)
        to = to or end_of(pour)
        blocking = _obstacles(service, tx, pour, (to,))[to]
        if not blocking:
            raise NotAllowed(
                phrase(
                    "pour {pour_id}: nothing keeps its watch from ending, so there is nothing to sign",
                    pour_id=pour_id,
                )
            )
        texts = [obstacle.text for obstacle in blocking]
        if not all(obstacle.signable for obstacle in blocking):
            raise MayNotEnd(
                phrase("pour {number} ({title})", number=pour_id, title=pour.title), texts, signable=False
            )
        text = fact("event-end-exception", why=why, name=name, obstacles=in_a_row(texts))
        whys = [obstacle.name for obstacle in blocking]
        data = {"person": name, "reason": why, "whys": whys, "obstacles": texts, "step": str(to)}
        events.add_event(tx, pour_id, service.timeline.true_ms(), EXCEPTION, by, text, data)
    service.news.publish("pour", pour=pour_id)


def _obstacles(
    service: Service, connection: Connection, pour: PourRow, steps: Sequence[Stage]
) -> dict[Stage, tuple[Obstacle, ...]]:
    """Return step → what stands in its way."""
    shift_ms, now_ms = service.timeline.shift_ms, service.timeline.now_ms()
    nothing: dict[Stage, tuple[Obstacle, ...]] = dict.fromkeys(steps, ())
    if pour.poured_ms is None or pour.station_id is None:
        return nothing  # it was never watched
    if pour.stage in LIVE:
        evidence = cache(lambda: _evidence(service, connection, pour, now_ms))
        return {to: _obstacles_at(pour.id, to, evidence, now_ms) for to in steps}
    if pour.stage not in (Stage.RELEASED, Stage.SPOILED) or pour.released_ms is None:
        return nothing
    ended_ms = pour.released_ms - shift_ms
    if now_ms - ended_ms >= SETTLES_H * 3.6e6:
        return nothing
    evidence = cache(lambda: _evidence(service, connection, pour, ended_ms))
    return dict.fromkeys(steps, _obstacles_at(pour.id, Stage.CLOSED, evidence, ended_ms))


def _obstacles_at(
    pour_id: int, to: Stage, evidence: Callable[[], StepEvidence], at_ms: int
) -> tuple[Obstacle, ...]:
    """Return the rule's answer. A stored pour that cannot be read is one of which nobody knows how hot it is."""
    try:
        return step_obstacles(to, evidence(), at_ms)
    except (LoggerError, AssertionError, AttributeError, KeyError, TypeError, ValueError):
        log.exception("pour %s: whether its watch may end cannot be told", pour_id)
        if to is Stage.CLOSED:
            return ()  # whoever ended its watch has answered for that
        text = phrase("What is stored of this pour cannot be read: nobody knows how hot its core is.")
        return (Obstacle(ObstacleKind.UNKNOWN, text),)


def _evidence(service: Service, connection: Connection, pour: PourRow, at_ms: int) -> StepEvidence:
    book = service.watch.book_of(connection, pours.to_judge(connection, pour.id))
    shift_ms = service.timeline.shift_ms
    started_ms = pour.started_ms - shift_ms
    newest, predicted = forecasts.latest(connection, pour.id), pour.prediction or {}
    body: dict[str, Any] | None = None if newest is None else newest.body
    looks = page_queries.looks_of(connection, pour.id)
    due_ms = next_due_ms(pour.started_ms, service.rhythm, looks)
    assert book.setup.limits is not None
    core = CoreEvidence(
        signals=book.signals,
        limits=book.setup.limits,
        started_ms=started_ms,
        states={name: book.state(name) for name in OF_THE_CORE},
        doubted=book.doubted,
        answer=None if body is None else answer_of(body, started_ms),
        foretold=(predicted["peak_c"], predicted["peak_at_h"]) if "peak_c" in predicted else None,
    )
    return StepEvidence(
        core=core,
        entries=tuple(book.entries()),
        open_from_h=open_from_h(body, pour.prediction),
        looks=summarize_looks(pour.started_ms, service.rhythm, looks, at_ms + shift_ms),
        next_look_ms=None if due_ms is None else due_ms - shift_ms,
    )
