"""The life of a pour: planned → ready → pouring → watched → curing → released → closed, or spoiled.

Pure: which step may follow which, and what each asks for. The store keeps the steps as events.
"""

from __future__ import annotations

from enum import StrEnum

from logger.errors import NotAllowed
from logger.facts import Fact, fact


class Stage(StrEnum):
    """Where a pour is in its life."""

    PLANNED = "planned"  #: on paper; everything may still change
    READY = "ready"  #: every point signed; the prediction is frozen when pouring starts
    POURING = "pouring"  #: resin is flowing
    WATCHED = "watched"  #: the first hour by the form
    CURING = "curing"  #: nobody sits by it; the station watches
    RELEASED = "released"  #: out of the form
    CLOSED = "closed"  #: the record is sealed
    SPOILED = "spoiled"  #: given up; the record is kept, since it teaches most


#: What may follow what. A pour can be spoiled at any time before it is closed; a spoiled one is closed to seal it.
FOLLOWS: dict[Stage, tuple[Stage, ...]] = {
    Stage.PLANNED: (Stage.READY, Stage.SPOILED),
    Stage.READY: (Stage.POURING, Stage.PLANNED, Stage.SPOILED),
    Stage.POURING: (Stage.WATCHED, Stage.SPOILED),
    Stage.WATCHED: (Stage.CURING, Stage.SPOILED),
    Stage.CURING: (Stage.RELEASED, Stage.SPOILED),
    Stage.RELEASED: (Stage.CLOSED, Stage.SPOILED),
    Stage.SPOILED: (Stage.CLOSED,),
    Stage.CLOSED: (),
}

#: So long a step that nothing takes by accident can be taken back, ms.
UNDO_MS = 10 * 60_000

#: Stages in which the station's readings belong to the pour and alarms are judged.
LIVE = (Stage.POURING, Stage.WATCHED, Stage.CURING)


def stage_word(stage: str) -> Fact:
    """Return a stage in a word."""
    return fact(f"at-stage-{stage}")


def next_stage(now: Stage, target: Stage, pour: str) -> Stage:
    """Return the wanted stage, if it may follow.

    Raises NotAllowed naming the pour, both stages, and what may follow instead.
    """
    if target in FOLLOWS[now]:
        return target
    may = tuple(stage_word(stage) for stage in FOLLOWS[now]) or fact("closed-takes-additions")
    raise NotAllowed(
        fact("stage-cannot-follow", pour=pour, now=stage_word(now), target=stage_word(target), may=may)
    )
