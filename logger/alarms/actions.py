"""What people do to an alarm: acknowledge, shelve, take out of service. Pure; every act has a name to it.

All raise BadInput for an act without a name.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from logger.alarms.kind import Kind, Priority
from logger.alarms.state import (
    AlarmState,
    AlarmStep,
    OutOfService,
    Phase,
    Shelf,
    Trigger,
    Why,
    annunciated,
    transition,
)
from logger.errors import BadInput, NotAllowed, OutOfRange
from logger.facts import NOTHING, fact, sentence
from logger.quantities import hours as hours_of
from logger.units import HOUR_MS

#: The longest time out of service of a high-priority kind without a figure of its own, h: never for good either.
HIGH_OUT_MAX_H = 4.0


@dataclass(frozen=True, slots=True)
class Act:
    """What a person does to an alarm: who, when (ms on the steady timeline) and why."""

    by: str
    now_ms: int
    reason: str = ""

    def __post_init__(self) -> None:
        if not self.by.strip():
            raise BadInput(
                fact("act-on-an-alarm"), fact("has-no-name"), value=self.by, remedy=fact("say-who-you-are")
            )

    def step(
        self, kind: Kind, subject: str, before: AlarmState, after: AlarmState, why: Why, text: str
    ) -> AlarmStep:
        """Return the new state and the record of this act."""
        trigger = Trigger(why, text, self.now_ms, by=self.by)
        return AlarmStep(after, (transition(kind, subject, before, after, trigger),))


def acknowledge(
    kind: Kind, state: AlarmState, act: Act, subject: str = "pour", activation: int | None = None
) -> AlarmStep:
    """Take the alarm in hand. A second acknowledgement changes nothing.

    `activation`: the one that the person saw, from a link. Raises NotAllowed when the alarm has been raised again
    since.
    """
    if activation is not None and activation != state.activation:
        raise NotAllowed(fact("raised-again-since", title=kind.title, this=activation, last=state.activation))
    if state.phase is Phase.RAISED:
        after, why = replace(state, phase=Phase.ACKNOWLEDGED), Why.ACKNOWLEDGED
        code = "alarm-in-hand"
    elif state.phase is Phase.RETURNED:
        after, why = replace(state, phase=Phase.NORMAL), Why.CLOSED
        code = "alarm-confirmed-over"
    else:
        return AlarmStep(state)
    after = replace(after, acknowledged_ms=act.now_ms, acknowledged_by=act.by)
    text = fact(code, who=act.by, reason=sentence(state.reason))
    return act.step(kind, subject, state, after, why, text)


def shelve(kind: Kind, state: AlarmState, act: Act, hours: float, subject: str = "pour") -> AlarmStep:
    """Keep the alarm quiet for some hours. Shelved again while shelved, the time counts from the first shelving.

    Raises OutOfRange beyond the kind's longest time.
    """
    start = state.shelf.from_ms if state.shelf is not None else act.now_ms
    until = act.now_ms + _ms_of(hours)
    if until <= act.now_ms or until - start > kind.shelve_max_h * HOUR_MS:
        raise OutOfRange(
            fact("snooze-of", title=kind.title),
            fact("too-long-or-not-above-0"),
            value=hours,
            allowed=fact("snooze-at-most", most=hours_of(kind.shelve_max_h)),
            remedy=fact("snooze-shorter"),
        )
    severity = max(1, state.severity) if state.up else 1
    after = replace(state, shelf=Shelf(act.by, act.reason, start, until, severity))
    why_so = fact("alarm-why", why=act.reason) if act.reason else NOTHING
    text = fact("alarm-shelved", who=act.by, time=hours_of(hours), why=why_so)
    return act.step(kind, subject, state, after, Why.SHELVED, text)


def unshelve(kind: Kind, state: AlarmState, act: Act, subject: str = "pour") -> AlarmStep:
    """Take the alarm off the shelf before its time. What is true must be acknowledged again."""
    if state.shelf is None:
        return AlarmStep(state)
    after = annunciated(replace(state, shelf=None))
    return act.step(kind, subject, state, after, Why.UNSHELVED, fact("alarm-unshelved", who=act.by))


def take_out_of_service(
    kind: Kind, state: AlarmState, act: Act, hours: float | None = None, subject: str = "pour"
) -> AlarmStep:
    """Keep the alarm quiet until somebody puts it back, for a stated reason; a high-priority kind only until an end.

    Raises BadInput without a reason, OutOfRange for hours that are missing, too long or not above 0.
    """
    reason = act.reason.strip()
    if not reason:
        raise BadInput(
            fact("out-of-service-of", title=kind.title),
            fact("out-without-reason"),
            remedy=fact("say-why-in-short"),
        )
    start = state.out.from_ms if state.out is not None else act.now_ms
    until = None if hours is None else act.now_ms + _ms_of(hours)
    longest = kind.out_of_service_max_h
    if kind.priority is Priority.HIGH and longest is None:
        longest = HIGH_OUT_MAX_H
    too_long = longest is not None and (until is None or until - start > longest * HOUR_MS)
    if too_long or (until is not None and until <= act.now_ms):
        allowed = fact("above-0-h") if longest is None else fact("out-at-most", most=hours_of(longest))
        raise OutOfRange(
            fact("out-of-service-of", title=kind.title),
            fact("ends-too-late" if too_long else "ends-wrong"),
            value=hours,
            allowed=allowed,
            remedy=fact("give-hours-until-checked"),
        )
    after = replace(state, out=OutOfService(act.by, reason, start, until))
    for_h = fact("alarm-out-for", time=hours_of(hours)) if hours else NOTHING
    text = fact("alarm-out", who=act.by, reason=reason, time=for_h)
    return act.step(kind, subject, state, after, Why.OUT_OF_SERVICE, text)


def return_to_service(kind: Kind, state: AlarmState, act: Act, subject: str = "pour") -> AlarmStep:
    """Put the alarm back in service. What is true must be acknowledged again."""
    if state.out is None:
        return AlarmStep(state)
    after = annunciated(replace(state, out=None))
    return act.step(kind, subject, state, after, Why.BACK_IN_SERVICE, fact("alarm-back", who=act.by))


def _ms_of(hours: float) -> int:
    """Return hours as milliseconds; anything that is not a plain positive number of hours counts as none."""
    return round(hours * HOUR_MS) if 0 < hours < 1e6 else 0
