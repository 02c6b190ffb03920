"""Whom to notify of an alarm now, and why: pure, one alarm at a time.

Decided every few seconds and after every change. `Notified` is what has been sent about an alarm so far; it goes with
the alarm through restarts, so a restart repeats no message, and "it is over" only goes to those who got the first one.

No rule here can keep a high-priority alarm quiet: quiet hours hold low ones only, whatever the settings say.
The rules (repeat until acknowledged, a second person, again when it gets worse, word to the others when somebody has
acknowledged) are common practice in on-call engines; no source.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from enum import StrEnum

from logger.alarms.kind import Kind, Priority
from logger.alarms.state import AlarmState, Phase
from logger.alarms.state_json import JsonTable

#: The second person is notified of a high-priority alarm after this long at the latest, whatever the settings say.
HIGH_SECOND_MIN = 15.0


class Recipient(StrEnum):
    """Whom a message goes to: the first addresses in the settings, or the second ones."""

    FIRST = "first"
    SECOND = "second"


class NotifyReason(StrEnum):
    """Why somebody is notified, or why nobody is."""

    FIRST_TIME = "first-time"
    WORSE = "worse"
    REALARM = "realarm"
    REPEAT_DUE = "repeat-due"
    SECOND_PERSON = "second-person"  #: nobody has acknowledged in time
    CHANNEL_FAILED = "channel-failed"  #: the first addresses cannot be reached
    RETURNED = "returned"
    TAKEN = "taken"  #: somebody else has it in hand
    # nobody is notified, because:
    ALREADY_TOLD = "already-told"
    HELD_QUIET_HOURS = "held-quiet-hours"
    SHELVED = "shelved"
    OUT_OF_SERVICE = "out-of-service"
    NOTHING_UP = "nothing-up"
    NOBODY_TO_TELL = "nobody-to-tell"


@dataclass(frozen=True, slots=True)
class Rules:
    """The settings of notification. Quiet hours in minutes of the local day, from ≤ t < until, over midnight too."""

    first: int = 1  #: how many first addresses there are
    second: int = 0
    second_after_min: float = 10.0
    quiet_from_min: int | None = None
    quiet_until_min: int | None = None


@dataclass(frozen=True, slots=True)
class Notified:
    """What has been sent about one alarm."""

    activation: int = 0
    severity: int = 0  #: the worst that was sent
    times: int = 0
    spell_ms: int | None = None  #: since when it has been waiting for an acknowledgement
    last_ms: int | None = None
    second: bool = False  #: the second person has been notified
    taken: bool = False  #: the acknowledgement has been noted
    down: bool = False  #: that it is over has been sent


@dataclass(frozen=True, slots=True)
class LocalTime:
    """The time of a decision: ms on the steady timeline, and the minute of the local day.

    `minute_of_day` None: the clock is not set, and then no hour is quiet.
    """

    now_ms: int
    minute_of_day: int | None


@dataclass(frozen=True, slots=True)
class Message:
    """One message to be sent. Title and text: see logger/delivery/wording.py."""

    to: Recipient
    why: NotifyReason


@dataclass(frozen=True, slots=True)
class NotifyDecision:
    """What to send now, and the main reason for it or against it."""

    notified: Notified
    why: NotifyReason
    messages: tuple[Message, ...] = ()


def decide(
    kind: Kind,
    state: AlarmState,
    notified: Notified,
    rules: Rules,
    time: LocalTime,
    first_failed: bool = False,
) -> NotifyDecision:
    """Decide whom to notify of this alarm now.

    `first_failed`: the first addresses have failed for good (nothing more will be tried there for this alarm).
    """
    if notified.activation != state.activation:
        notified = Notified(activation=state.activation)
    if state.out is not None:
        return NotifyDecision(notified, NotifyReason.OUT_OF_SERVICE)
    if state.shelf is not None:
        return NotifyDecision(notified, NotifyReason.SHELVED)
    if state.phase is Phase.RAISED:
        if kind.priority is Priority.LOW and is_quiet(rules, time.minute_of_day):
            return NotifyDecision(notified, NotifyReason.HELD_QUIET_HOURS)
        if rules.first + rules.second == 0:
            return NotifyDecision(notified, NotifyReason.NOBODY_TO_TELL)
        return _while_raised(kind, state, notified, rules, time.now_ms, first_failed)
    if state.phase is Phase.ACKNOWLEDGED:
        return _once_acknowledged(notified, rules)
    return _once_over(kind, state, notified, rules, time)


def is_quiet(rules: Rules, minute_of_day: int | None) -> bool:
    """Return whether this minute of the day is within the quiet hours."""
    start, end = rules.quiet_from_min, rules.quiet_until_min
    if start is None or end is None or minute_of_day is None or start == end:
        return False
    if start < end:
        return start <= minute_of_day < end
    return minute_of_day >= start or minute_of_day < end


def second_after_min(kind: Kind, rules: Rules) -> float:
    """Return the minutes without an acknowledgement until the second person is notified."""
    return (
        min(rules.second_after_min, HIGH_SECOND_MIN)
        if kind.priority is Priority.HIGH
        else rules.second_after_min
    )


def _while_raised(
    kind: Kind, state: AlarmState, notified: Notified, rules: Rules, now_ms: int, first_failed: bool
) -> NotifyDecision:
    whys: list[NotifyReason] = []
    if notified.times == 0:
        whys.append(NotifyReason.FIRST_TIME)
    elif state.severity > notified.severity:
        whys.append(NotifyReason.WORSE)
    elif notified.taken:
        whys.append(NotifyReason.REALARM)
    elif notified.last_ms is None or now_ms - notified.last_ms >= kind.repeat_min * 60_000:
        whys.append(NotifyReason.REPEAT_DUE)
    spell_ms = now_ms if notified.spell_ms is None or notified.taken else notified.spell_ms
    second = notified.second
    messages: list[Message] = []
    if whys:
        messages += [Message(to, whys[0]) for to in _recipients(rules, second)]
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
        return NotifyDecision(replace(notified, spell_ms=spell_ms), NotifyReason.ALREADY_TOLD)
    notified = replace(
        notified,
        severity=max(notified.severity, state.severity),
        times=notified.times + 1,
        spell_ms=spell_ms,
        last_ms=now_ms
        if whys[0] not in (NotifyReason.CHANNEL_FAILED, NotifyReason.SECOND_PERSON)
        else notified.last_ms,
        second=second,
        taken=False,
    )
    return NotifyDecision(notified, whys[0], tuple(messages))


def _recipients(rules: Rules, second: bool) -> list[Recipient]:
    """Return everybody who has a part in this alarm so far."""
    if rules.first == 0:
        return [Recipient.SECOND]
    return [Recipient.FIRST, Recipient.SECOND] if second and rules.second > 0 else [Recipient.FIRST]


def _once_acknowledged(notified: Notified, rules: Rules) -> NotifyDecision:
    if notified.taken or notified.times == 0:
        return NotifyDecision(replace(notified, taken=notified.times > 0), NotifyReason.ALREADY_TOLD)
    notified = replace(notified, taken=True)
    others = notified.second or rules.first > 1
    messages = (
        tuple(Message(to, NotifyReason.TAKEN) for to in _recipients(rules, notified.second)) if others else ()
    )
    return NotifyDecision(notified, NotifyReason.TAKEN if messages else NotifyReason.ALREADY_TOLD, messages)


def _once_over(
    kind: Kind, state: AlarmState, notified: Notified, rules: Rules, time: LocalTime
) -> NotifyDecision:
    if state.activation == 0 or notified.down:
        return NotifyDecision(notified, NotifyReason.NOTHING_UP)
    # It came and went between two looks (late readings): only what a low one did overnight is left to the pages.
    unsent = notified.times == 0
    if unsent and (state.phase is not Phase.RETURNED or kind.priority is Priority.LOW):
        return NotifyDecision(notified, NotifyReason.NOTHING_UP)
    if kind.priority is Priority.LOW and is_quiet(rules, time.minute_of_day):
        return NotifyDecision(notified, NotifyReason.HELD_QUIET_HOURS)
    if rules.first + rules.second == 0:
        return NotifyDecision(notified, NotifyReason.NOBODY_TO_TELL)
    messages = tuple(Message(to, NotifyReason.RETURNED) for to in _recipients(rules, notified.second))
    notified = replace(notified, down=True, times=notified.times + 1, last_ms=time.now_ms)
    return NotifyDecision(notified, NotifyReason.RETURNED, messages)


def notified_to_dict(notified: Notified) -> JsonTable:
    """Return JSON-safe values."""
    return asdict(notified)


def notified_from_dict(table: JsonTable) -> Notified:
    """Return what `notified_to_dict` wrote. Raises TypeError on anything else."""
    return Notified(**table)
