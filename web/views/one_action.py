"""The one thing to do about a pour now: what its page offers as its one large button. Pure.

A step that cannot be taken back by pressing again is never it: `Act.STEP` leads to where it is held down.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from logger.alarms.kind import Priority
from logger.condition.evidence import OpenAlarm
from logger.condition.judgement import Condition, Severity
from logger.pour import LIVE, Stage

#: The alarm that a look at the form answers by itself.
LOOK_DUE = "look-due"


class Act(StrEnum):
    """What there is to do."""

    TAKE = "take"  #: say that one is on an alarm
    REMEDIES = "remedies"  #: see what to do about a danger that somebody is on
    LOOK = "look"  #: look at the form, and say what was found
    SEEN = "seen"  #: say that one has seen an alarm that is over
    SIGN = "sign"  #: go through the list, and sign that it is ready
    STATION = "station"  #: choose the station whose probes are in the form
    POUR = "pour"  #: start pouring
    FULL = "full"  #: say that the form is full
    STEP = "step"  #: the next step, that is held down
    NOTE = "note"  #: write a note, or take a photo
    RECORD = "record"  #: read the record


@dataclass(frozen=True, slots=True)
class OneAction:
    """The one thing to do, and the alarm that it is about, if it is about one."""

    act: Act
    alarm: OpenAlarm | None = None


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a pour is. station: whether it has one. looks_over: whether no look of the first hour is still due.
    may_step: whether nothing stands in the way of the step that follows."""

    stage: Stage
    station: bool = True
    looks_over: bool = False
    may_step: bool = False


def one_action(condition: Condition, progress: Progress, now_ms: int) -> OneAction:
    """Return the one thing to do about a pour at `now_ms` (true time).

    First an alarm that nobody is on, if it leads or is of high priority; then the danger that somebody is on; then
    what is left of the alarms, the look that is due, and where the pour goes next.
    """
    if progress.stage not in LIVE:
        return OneAction(_off_watch(progress))
    alarms = [alarm for alarm in (condition.alarm, *condition.others) if alarm is not None]
    waiting = [alarm for alarm in alarms if alarm.true and not alarm.answered]
    first = next((a for a in waiting if a is condition.alarm or a.priority is Priority.HIGH), None)
    if first is not None:
        return _to_take(first)
    if condition.severity >= Severity.BLIND:
        answered = next((alarm for alarm in alarms if alarm.answered), None)
        if answered is not None:
            return OneAction(Act.REMEDIES, answered)
        # Nothing rings yet: whoever looks finds out more than this page knows.
        return _to_take(waiting[0]) if waiting else OneAction(Act.LOOK)
    if waiting:
        return _to_take(waiting[0])
    due_ms = condition.look_due_ms
    if due_ms is not None and due_ms <= now_ms:
        return OneAction(Act.LOOK)
    over = next((alarm for alarm in alarms if not alarm.true), None)
    if over is not None:
        return OneAction(Act.SEEN, over)
    return OneAction(_on_watch(progress))


def _to_take(alarm: OpenAlarm) -> OneAction:
    return OneAction(Act.LOOK if alarm.kind == LOOK_DUE else Act.TAKE, alarm)


def _off_watch(progress: Progress) -> Act:
    if progress.stage is Stage.PLANNED:
        return Act.SIGN
    if progress.stage is Stage.READY:
        return Act.POUR if progress.station else Act.STATION
    return Act.RECORD


def _on_watch(progress: Progress) -> Act:
    if progress.stage is Stage.POURING:
        return Act.FULL
    if progress.stage is Stage.WATCHED and not progress.looks_over:
        return Act.LOOK
    return Act.STEP if progress.may_step else Act.NOTE
