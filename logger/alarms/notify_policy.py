"""Whom to tell now, and why: pure, one alarm at a time.

Asked every few seconds and after every change. `Notified` is what has been told of an alarm so far; it goes with the
alarm through restarts, so nobody is told twice for a restart, and "it is over" only goes to those who heard that it
began.

No rule here can keep a high-priority alarm quiet: quiet hours hold low ones only, whatever the settings say.
Rules worth having (repeat until acknowledged, second person, worse tells again, acknowledged elsewhere tells the
others) are common practice in on-call engines; no source.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from typing import Any

from logger.alarms.kind import Kind, Priority
from logger.alarms.state import AlarmState, Phase

#: The second person hears of a high-priority alarm after this long at the latest, whatever the settings say.
HIGH_SECOND_MIN = 15.0


class Recipient(StrEnum):
    """Whom a message goes to: the first addresses in the settings, or the second ones."""

    FIRST = "first"
    SECOND = "second"


class NotifyReason(StrEnum):
    """Why somebody is told, or why nobody is."""

    FIRST_TIME = "first-time"
    WORSE = "worse"
    REALARM = "realarm"
    REPEAT_DUE = "repeat-due"
    SECOND_PERSON = "second-person"  #: nobody has acknowledged in time
    CHANNEL_FAILED = "channel-failed"  #: the first addresses cannot be reached
    RETURNED = "returned"
    TAKEN = "taken"  #: somebody else has it in hand
    # nobody is told, because:
    ALREADY_TOLD = "already-told"
    HELD_QUIET_HOURS = "held-quiet-hours"
    SHELVED = "shelved"
    OUT_OF_SERVICE = "out-of-service"
    NOTHING_UP = "nothing-up"
    NOBODY_TO_TELL = "nobody-to-tell"


@dataclass(frozen=True, slots=True)
class Rules:
    """The settings that matter here. Quiet hours in minutes of the local day, from ≤ t < until, over midnight too."""

    first: int = 1  #: how many first addresses there are
    second: int = 0
    second_after_min: float = 10.0
    quiet_from_min: int | None = None
    quiet_until_min: int | None = None


@dataclass(frozen=True, slots=True)
class Notified:
    """What has been told of one alarm."""

    activation: int = 0
    severity: int = 0  #: the worst that was told
    times: int = 0
    spell_ms: int | None = None  #: since when it has been waiting for an acknowledgement
    last_ms: int | None = None
    second: bool = False  #: the second person knows of it
    taken: bool = False  #: the acknowledgement has been noted
    down: bool = False  #: that it is over has been told


@dataclass(frozen=True, slots=True)
class Message:
    """One message to be sent. Title and text: see wording.py."""

    to: Recipient
    why: NotifyReason


@dataclass(frozen=True, slots=True)
class NotifyDecision:
    """What to send now, and the main reason for it or against it."""

    told: Notified
    why: NotifyReason
    messages: tuple[Message, ...] = ()


def decide(
    kind: Kind,
    state: AlarmState,
    told: Notified,
    rules: Rules,
    now_ms: int,
    minute_of_day: int | None,
    first_failed: bool = False,
) -> NotifyDecision:
    """Whom to tell of this alarm now.

    `minute_of_day`: local time; None when the clock is not set, and then no hour is quiet. `first_failed`: the first
    addresses have failed for good (nothing more will be tried there for this alarm).
    """
    if told.activation != state.activation:
        told = Notified(activation=state.activation)
    if state.out is not None:
        return NotifyDecision(told, NotifyReason.OUT_OF_SERVICE)
    if state.shelf is not None:
        return NotifyDecision(told, NotifyReason.SHELVED)
    if state.phase is Phase.RAISED:
        held = kind.priority is Priority.LOW and is_quiet(rules, minute_of_day)
        if held:
            return NotifyDecision(told, NotifyReason.HELD_QUIET_HOURS)
        if rules.first + rules.second == 0:
            return NotifyDecision(told, NotifyReason.NOBODY_TO_TELL)
        return _shout(kind, state, told, rules, now_ms, first_failed)
    if state.phase is Phase.ACKNOWLEDGED:
        return _taken(told, rules)
    return _over(kind, state, told, rules, minute_of_day, now_ms)


def is_quiet(rules: Rules, minute_of_day: int | None) -> bool:
    """Is this minute of the day within the quiet hours?"""
    start, end = rules.quiet_from_min, rules.quiet_until_min
    if start is None or end is None or minute_of_day is None or start == end:
        return False
    if start < end:
        return start <= minute_of_day < end
    return minute_of_day >= start or minute_of_day < end


def second_after_min(kind: Kind, rules: Rules) -> float:
    """Minutes without an answer until the second person is told."""
    return (
        min(rules.second_after_min, HIGH_SECOND_MIN)
        if kind.priority is Priority.HIGH
        else rules.second_after_min
    )


def _shout(
    kind: Kind, state: AlarmState, told: Notified, rules: Rules, now_ms: int, first_failed: bool
) -> NotifyDecision:
    whys: list[NotifyReason] = []
    if told.times == 0:
        whys.append(NotifyReason.FIRST_TIME)
    elif state.severity > told.severity:
        whys.append(NotifyReason.WORSE)
    elif told.taken:
        whys.append(NotifyReason.REALARM)
    elif told.last_ms is None or now_ms - told.last_ms >= kind.repeat_min * 60_000:
        whys.append(NotifyReason.REPEAT_DUE)
    spell_ms = now_ms if told.spell_ms is None or told.taken else told.spell_ms
    second = told.second
    messages: list[Message] = []
    if whys:
        messages += [Message(to, whys[0]) for to in _those(rules, second)]
        second = second or rules.first == 0
    if rules.second > 0 and not second:
        waited = now_ms - spell_ms >= second_after_min(kind, rules) * 60_000
        if first_failed:
            whys.append(NotifyReason.CHANNEL_FAILED)
        elif waited and kind.priority is not Priority.LOW:
            whys.append(NotifyReason.SECOND_PERSON)
        if first_failed or (waited and kind.priority is not Priority.LOW):
            messages.append(Message(Recipient.SECOND, whys[-1]))
            second = True
    if not messages:
        return NotifyDecision(replace(told, spell_ms=spell_ms), NotifyReason.ALREADY_TOLD)
    told = replace(
        told,
        severity=max(told.severity, state.severity),
        times=told.times + 1,
        spell_ms=spell_ms,
        last_ms=now_ms
        if whys[0] not in (NotifyReason.CHANNEL_FAILED, NotifyReason.SECOND_PERSON)
        else told.last_ms,
        second=second,
        taken=False,
    )
    return NotifyDecision(told, whys[0], tuple(messages))


def _those(rules: Rules, second: bool) -> list[Recipient]:
    """Everybody who has a part in this alarm so far."""
    if rules.first == 0:
        return [Recipient.SECOND]
    return [Recipient.FIRST, Recipient.SECOND] if second and rules.second > 0 else [Recipient.FIRST]


def _taken(told: Notified, rules: Rules) -> NotifyDecision:
    if told.taken or told.times == 0:
        return NotifyDecision(replace(told, taken=told.times > 0), NotifyReason.ALREADY_TOLD)
    told = replace(told, taken=True)
    others = told.second or rules.first > 1
    messages = tuple(Message(to, NotifyReason.TAKEN) for to in _those(rules, told.second)) if others else ()
    return NotifyDecision(told, NotifyReason.TAKEN if messages else NotifyReason.ALREADY_TOLD, messages)


def _over(
    kind: Kind, state: AlarmState, told: Notified, rules: Rules, minute_of_day: int | None, now_ms: int
) -> NotifyDecision:
    if state.activation == 0 or told.down:
        return NotifyDecision(told, NotifyReason.NOTHING_UP)
    # It came and went between two looks (late readings): only what a low one did overnight is left to the pages.
    unheard = told.times == 0
    if unheard and (state.phase is not Phase.RETURNED or kind.priority is Priority.LOW):
        return NotifyDecision(told, NotifyReason.NOTHING_UP)
    if kind.priority is Priority.LOW and is_quiet(rules, minute_of_day):
        return NotifyDecision(told, NotifyReason.HELD_QUIET_HOURS)
    if rules.first + rules.second == 0:
        return NotifyDecision(told, NotifyReason.NOBODY_TO_TELL)
    messages = tuple(Message(to, NotifyReason.RETURNED) for to in _those(rules, told.second))
    told = replace(told, down=True, times=told.times + 1, last_ms=now_ms)
    return NotifyDecision(told, NotifyReason.RETURNED, messages)


def notified_to_dict(told: Notified) -> dict[str, Any]:
    """JSON-safe values."""
    return asdict(told)


def notified_from_dict(table: dict[str, Any]) -> Notified:
    """Return what `notified_to_dict` wrote. Raises TypeError on anything else."""
    return Notified(**table)
