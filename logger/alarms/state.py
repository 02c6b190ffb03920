"""The life of one alarm, pure: normal → raised → acknowledged → returned → normal.

`step` moves it by one observation and by the time that has passed; what people do to it stands in actions.py.
An `AlarmState` is everything there is to know: stored and read back, it goes on as if nothing had happened.
Names and transitions follow OPC 10000-9 (UA Part 9), sections 4.8 and 5.8; shelved and out-of-service alarms are
still judged and recorded, only quietly.

Two times: an observation's own (`at_ms`, when it was measured), on which delays run, and `now_ms`, on which
acknowledgement, shelving and re-alarm run. Both are on the service's steady timeline; a time that is equal or
a little earlier counts as no time passed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from logger.alarms.kind import Kind, in_unit
from logger.facts import Fact, Value, fact, sentence
from logger.quantities import minutes


class Phase(StrEnum):
    """Where an alarm is in its life."""

    NORMAL = "normal"
    RAISED = "raised"  #: true, and nobody has acknowledged it
    ACKNOWLEDGED = "acknowledged"  #: true, and somebody has it in hand
    RETURNED = "returned"  #: no longer true, and nobody has acknowledged it


#: What may follow what. RAISED → RAISED: told again because it is worse. RETURNED → RAISED: a new activation.
#: ACKNOWLEDGED → RETURNED only for latching kinds.
FOLLOWS: dict[Phase, tuple[Phase, ...]] = {
    Phase.NORMAL: (Phase.RAISED,),
    Phase.RAISED: (Phase.ACKNOWLEDGED, Phase.RETURNED, Phase.RAISED),
    Phase.ACKNOWLEDGED: (Phase.NORMAL, Phase.RAISED, Phase.RETURNED),
    Phase.RETURNED: (Phase.NORMAL, Phase.RAISED),
}

UP = (Phase.RAISED, Phase.ACKNOWLEDGED)


class Why(StrEnum):
    """Why an alarm changed."""

    FIRST_TIME = "first-time"  #: raised from normal
    AGAIN = "again"  #: raised anew before the last time was acknowledged
    WORSE = "worse"  #: its severity rose
    REALARM = "realarm"  #: still true long after it was acknowledged
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"  #: no longer true
    CLOSED = "closed"  #: acknowledged after it had returned
    SHELVED = "shelved"
    SHELF_ENDED = "shelf-ended"  #: its time on the shelf is over, or it got worse there
    UNSHELVED = "unshelved"  #: by a person
    OUT_OF_SERVICE = "out-of-service"
    BACK_IN_SERVICE = "back-in-service"


@dataclass(frozen=True, slots=True)
class Observation:
    """What a condition comes to. `active` None: not known, and then nothing is raised and nothing is cleared.

    `sure`: a lone bad reading has already been ruled out. `credit_s`: the longest time for which one observation may
    stand; two further apart have a gap between them, in which nothing is known.
    """

    active: bool | None
    at_ms: int
    reason: str = ""
    value: float | None = None
    limit: float | None = None
    severity: int = 1
    late: bool = False
    sure: bool = False
    credit_s: float = 60.0


@dataclass(frozen=True, slots=True)
class Shelf:
    """Quiet until `until_ms`, never for good. `severity`: getting worse than this ends it."""

    by: str
    reason: str
    from_ms: int
    until_ms: int
    severity: int


@dataclass(frozen=True, slots=True)
class OutOfService:
    """Quiet until somebody puts it back, or until `until_ms`. A high-priority kind always has an end."""

    by: str
    reason: str
    from_ms: int
    until_ms: int | None


@dataclass(frozen=True, slots=True)
class AlarmState:
    """The whole of one alarm."""

    phase: Phase = Phase.NORMAL
    activation: int = 0  #: how many times it has been raised
    severity: int = 0  #: the worst of this activation
    reason: str = ""
    value: float | None = None
    limit: float | None = None
    late: bool = False  #: raised by readings that came late
    raised_ms: int | None = None  #: when it was decided
    since_ms: int | None = None  #: when the reading that raised it was taken
    acknowledged_ms: int | None = None
    acknowledged_by: str | None = None
    returned_ms: int | None = None
    recent: tuple[int, ...] = ()  #: severities of the last m observations, 0 = not true; empty when all are 0
    pending_ms: int = 0  #: time over the limit, less the time back inside
    calm_ms: int | None = None  #: time back inside without a break; None: not inside
    seen_ms: int | None = None  #: time of the last observation that knew anything
    shelf: Shelf | None = None
    out: OutOfService | None = None

    @property
    def up(self) -> bool:
        """The condition is true as far as is known."""
        return self.phase in UP

    @property
    def quiet(self) -> bool:
        """Shelved or out of service: recorded, not told."""
        return self.shelf is not None or self.out is not None


@dataclass(frozen=True, slots=True)
class Transition:
    """One change of one alarm, with its reason. `quiet`: record it, tell nobody."""

    kind: str
    subject: str
    why: Why
    text: str
    activation: int
    severity: int
    before: Phase
    phase: Phase
    at_ms: int  #: when it was decided
    measured_ms: int  #: when the reading behind it was taken
    value: float | None = None
    limit: float | None = None
    late: bool = False
    quiet: bool = False
    by: str | None = None


@dataclass(frozen=True, slots=True)
class Trigger:
    """What brings a transition about: why, what is said of it, when, and by whom if a person did it.

    `measured_ms`: when the reading behind it was taken; None: there is none.
    """

    why: Why
    text: str
    now_ms: int
    measured_ms: int | None = None
    by: str | None = None


@dataclass(frozen=True, slots=True)
class AlarmStep:
    """A new state and what changed on the way."""

    state: AlarmState
    changes: tuple[Transition, ...] = ()


NORMAL = AlarmState()


def step(
    kind: Kind, state: AlarmState, observation: Observation, now_ms: int, subject: str = "pour"
) -> AlarmStep:
    """Return the alarm after one observation and the time up to `now_ms`."""
    changes: tuple[Transition, ...] = ()
    if state.phase is not Phase.NORMAL or state.shelf is not None or state.out is not None:
        state, changes = _time_passes(kind, state, now_ms, subject)
    if observation.active is None:
        return AlarmStep(state, changes)
    if not observation.active and not state.up and not state.recent:
        return AlarmStep(state, changes)
    move = _on_active if observation.active else _on_inactive
    after = move(kind, state, observation, now_ms, subject)
    return AlarmStep(after.state, changes + after.changes) if changes else after


def tick(kind: Kind, state: AlarmState, now_ms: int, subject: str = "pour") -> AlarmStep:
    """Return the alarm after time alone: nothing new is known."""
    return step(kind, state, Observation(None, now_ms), now_ms, subject)


def transition(
    kind: Kind, subject: str, before: AlarmState, after: AlarmState, trigger: Trigger
) -> Transition:
    """Return the record of a change from `before` to `after`."""
    return Transition(
        kind=kind.name,
        subject=subject,
        why=trigger.why,
        text=trigger.text,
        activation=after.activation,
        severity=after.severity,
        before=before.phase,
        phase=after.phase,
        at_ms=trigger.now_ms,
        measured_ms=trigger.now_ms if trigger.measured_ms is None else trigger.measured_ms,
        value=after.value,
        limit=after.limit,
        late=after.late,
        quiet=after.quiet,
        by=trigger.by,
    )


def _time_passes(
    kind: Kind, state: AlarmState, now_ms: int, subject: str
) -> tuple[AlarmState, tuple[Transition, ...]]:
    changes: list[Transition] = []
    if state.out is not None and state.out.until_ms is not None and now_ms >= state.out.until_ms:
        before, state = state, annunciated(replace(state, out=None))
        text = fact("alarm-back-in-time", who=before.out.by if before.out else "")
        changes.append(transition(kind, subject, before, state, Trigger(Why.BACK_IN_SERVICE, text, now_ms)))
    if state.shelf is not None and now_ms >= state.shelf.until_ms:
        before, state = state, annunciated(replace(state, shelf=None))
        text = (
            fact("shelf-over-still-true", reason=sentence(state.reason)) if state.up else fact("shelf-over")
        )
        changes.append(transition(kind, subject, before, state, Trigger(Why.SHELF_ENDED, text, now_ms)))
    if (
        state.phase is Phase.ACKNOWLEDGED
        and state.acknowledged_ms is not None
        and now_ms - state.acknowledged_ms >= kind.realarm_min * 60_000
    ):
        before, state = state, replace(state, phase=Phase.RAISED)
        passed = minutes(round((now_ms - (state.acknowledged_ms or now_ms)) / 60_000))
        who: Value = state.acknowledged_by or fact("somebody")
        text = fact("alarm-still-true", time=passed, who=who, reason=sentence(state.reason))
        changes.append(transition(kind, subject, before, state, Trigger(Why.REALARM, text, now_ms)))
    return state, tuple(changes)


def annunciated(state: AlarmState) -> AlarmState:
    """Return the state once it is no longer quiet: what is true and was hidden must be acknowledged as if new."""
    if state.quiet or state.phase is not Phase.ACKNOWLEDGED:
        return state
    return replace(state, phase=Phase.RAISED)


def _elapsed_ms(state: AlarmState, observation: Observation) -> int:
    """Return the time since the last observation, ms; 0 across a gap: longer than one observation may stand for."""
    if state.seen_ms is None:
        return 0
    passed = max(0, observation.at_ms - state.seen_ms)
    return passed if passed <= observation.credit_s * 1000 else 0


def _on_active(
    kind: Kind, state: AlarmState, observation: Observation, now_ms: int, subject: str
) -> AlarmStep:
    n, m = kind.n_of_m
    passed = _elapsed_ms(state, observation)
    recent = (*state.recent, max(1, observation.severity))[-m:]
    seen_ms = max(observation.at_ms, state.seen_ms or observation.at_ms)
    confirmed = observation.severity if observation.sure else _nth_largest(recent, n)
    if not state.up:
        pending = state.pending_ms + (passed if state.recent else 0)
        pending = min(pending, int(kind.on_delay_s * 1000))
        if confirmed < 1 or pending < kind.on_delay_s * 1000:
            return AlarmStep(replace(state, recent=recent, pending_ms=pending, seen_ms=seen_ms))
        after = replace(
            state,
            phase=Phase.RAISED,
            activation=state.activation + 1,
            severity=max(1, confirmed),
            reason=observation.reason,
            value=observation.value,
            limit=observation.limit,
            late=observation.late,
            raised_ms=now_ms,
            since_ms=observation.at_ms,
            acknowledged_ms=None,
            acknowledged_by=None,
            returned_ms=None,
            recent=recent,
            pending_ms=0,
            calm_ms=None,
            seen_ms=seen_ms,
        )
        why = Why.AGAIN if state.phase is Phase.RETURNED else Why.FIRST_TIME
        return _raised(
            kind, subject, state, after, Trigger(why, observation.reason, now_ms, observation.at_ms)
        )
    after = replace(
        state,
        reason=observation.reason,
        value=observation.value,
        limit=observation.limit,
        recent=recent,
        calm_ms=None,
        seen_ms=seen_ms,
    )
    if confirmed <= state.severity:
        return AlarmStep(after)
    after = replace(after, phase=Phase.RAISED, severity=confirmed)
    text = fact("alarm-worse", reason=observation.reason)
    worse = Trigger(Why.WORSE, text, now_ms, observation.at_ms)
    return _raised(kind, subject, state, after, worse)


def _raised(kind: Kind, subject: str, before: AlarmState, after: AlarmState, trigger: Trigger) -> AlarmStep:
    """Raise it, or make it worse; getting worse than it was when it was shelved takes it off the shelf."""
    changes: list[Transition] = []
    if after.shelf is not None and after.severity > after.shelf.severity:
        unshelved, after = replace(before, shelf=None), replace(after, shelf=None)
        text = fact("shelf-ended-worse", reason=sentence(after.reason))
        ended = Trigger(Why.SHELF_ENDED, text, trigger.now_ms)
        changes.append(transition(kind, subject, before, unshelved, ended))
        before = unshelved
    return AlarmStep(after, (*changes, transition(kind, subject, before, after, trigger)))


def _on_inactive(
    kind: Kind, state: AlarmState, observation: Observation, now_ms: int, subject: str
) -> AlarmStep:
    _, m = kind.n_of_m
    passed = _elapsed_ms(state, observation)
    recent = (*state.recent, 0)[-m:]
    seen_ms = max(observation.at_ms, state.seen_ms or observation.at_ms)
    if not state.up:
        pending = max(0, state.pending_ms - passed)
        if pending == 0 and not any(recent):
            recent = ()
        return AlarmStep(replace(state, recent=recent, pending_ms=pending, seen_ms=seen_ms))
    if _inside_deadband(kind, observation):
        return AlarmStep(replace(state, value=observation.value, recent=recent, seen_ms=seen_ms))
    calm = 0 if state.calm_ms is None else state.calm_ms + passed
    after = replace(state, value=observation.value, recent=recent, seen_ms=seen_ms, calm_ms=calm)
    if calm < kind.off_delay_s * 1000:
        return AlarmStep(after)
    acknowledged = state.phase is Phase.ACKNOWLEDGED and not kind.latching
    after = replace(
        after,
        phase=Phase.NORMAL if acknowledged else Phase.RETURNED,
        returned_ms=now_ms,
        calm_ms=None,
        recent=(),
        pending_ms=0,
    )
    # Conditions are judged far more often than alarms return, so they leave the usual sentence to this place.
    returned = Trigger(
        Why.RETURNED, observation.reason or _back(kind, observation), now_ms, observation.at_ms
    )
    return AlarmStep(after, (transition(kind, subject, state, after, returned),))


def _back(kind: Kind, observation: Observation) -> Fact:
    """Return what is said of a return for which the condition gives nothing."""
    if observation.value is None or observation.limit is None:
        return fact("alarm-no-longer", title=kind.title)
    value, limit = in_unit(observation.value, kind.unit), in_unit(observation.limit, kind.unit)
    return fact("alarm-back-inside", value=value, limit=limit)


def _inside_deadband(kind: Kind, observation: Observation) -> bool:
    if kind.deadband <= 0 or observation.value is None or observation.limit is None:
        return False
    return abs(observation.value - observation.limit) < kind.deadband


def _nth_largest(recent: tuple[int, ...], n: int) -> int:
    return sorted(recent, reverse=True)[n - 1] if len(recent) >= n else 0
