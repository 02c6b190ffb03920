"""What people do to an alarm: acknowledge, shelve, take out of service. Pure; every act has a name to it."""

from __future__ import annotations

from dataclasses import replace

from logger.alarms.kind import Kind, Priority
from logger.alarms.state import AlarmState, AlarmStep, OutOfService, Phase, Shelf, Why, annunciated, change
from logger.errors import BadInput, NotAllowed, OutOfRange
from logger.units import HOUR_MS


def acknowledge(
    kind: Kind, state: AlarmState, by: str, now_ms: int, subject: str = "pour", activation: int | None = None
) -> AlarmStep:
    """Somebody has seen it and takes it. A second acknowledgement changes nothing.

    `activation`: the one that the person saw, from a link. Raises NotAllowed when the alarm has been raised again
    since, and BadInput without a name.
    """
    _named(by)
    if activation is not None and activation != state.activation:
        raise NotAllowed(
            f"{kind.title}: this acknowledges alarm number {activation}, and the last one is number "
            f"{state.activation}; open the alert page and acknowledge that one"
        )
    if state.phase is Phase.RAISED:
        after = replace(state, phase=Phase.ACKNOWLEDGED, acknowledged_ms=now_ms, acknowledged_by=by)
        why, text = Why.ACKNOWLEDGED, f"{by} has it in hand: {state.reason}"
    elif state.phase is Phase.RETURNED:
        after = replace(state, phase=Phase.NORMAL, acknowledged_ms=now_ms, acknowledged_by=by)
        why, text = Why.CLOSED, f"{by} has seen that it was true and is over: {state.reason}"
    else:
        return AlarmStep(state)
    return AlarmStep(after, (change(kind, state, after, why, text, now_ms, subject, by=by),))


def shelve(
    kind: Kind, state: AlarmState, by: str, now_ms: int, hours: float, subject: str = "pour", reason: str = ""
) -> AlarmStep:
    """Quiet for some hours. Shelved again while shelved, the time counts from the first shelving.

    Raises OutOfRange beyond the kind's longest time, BadInput without a name.
    """
    _named(by)
    start = state.shelf.from_ms if state.shelf is not None else now_ms
    until = now_ms + _ms_of(hours)
    if until <= now_ms or until - start > kind.shelve_max_h * HOUR_MS:
        raise OutOfRange(
            f"shelving of {kind.name}",
            "is too long or not above 0",
            value=hours,
            allowed=f"above 0 to {kind.shelve_max_h:g} h from the first shelving on",
            remedy="give a shorter time; it can be shelved again after it has been heard again",
        )
    severity = max(1, state.severity) if state.up else 1
    after = replace(state, shelf=Shelf(by, reason, start, until, severity))
    text = f"{by} shelved it for {hours:g} h" + (f": {reason}" if reason else "")
    return AlarmStep(after, (change(kind, state, after, Why.SHELVED, text, now_ms, subject, by=by),))


def unshelve(kind: Kind, state: AlarmState, by: str, now_ms: int, subject: str = "pour") -> AlarmStep:
    """Off the shelf before its time. What is true must be acknowledged again. Raises BadInput without a name."""
    _named(by)
    if state.shelf is None:
        return AlarmStep(state)
    after = annunciated(replace(state, shelf=None))
    text = f"{by} took it off the shelf"
    return AlarmStep(after, (change(kind, state, after, Why.UNSHELVED, text, now_ms, subject, by=by),))


def take_out_of_service(
    kind: Kind,
    state: AlarmState,
    by: str,
    reason: str,
    now_ms: int,
    hours: float | None = None,
    subject: str = "pour",
) -> AlarmStep:
    """Quiet until somebody puts it back, for a stated reason; a high-priority kind only until an end.

    Raises BadInput without a name or a reason, OutOfRange for hours that are missing, too long or not above 0.
    """
    _named(by)
    if not reason.strip():
        raise BadInput(f"{kind.name} out of service", "has no reason", remedy="say why in a few words")
    start = state.out.from_ms if state.out is not None else now_ms
    until = None if hours is None else now_ms + _ms_of(hours)
    longest = kind.out_of_service_max_h
    if kind.priority is Priority.HIGH and longest is None:
        longest = 4.0  # a high-priority kind without a figure of its own must not be silent for good either
    too_long = longest is not None and (until is None or until - start > longest * HOUR_MS)
    if too_long or (until is not None and until <= now_ms):
        allowed = "above 0 h" if longest is None else f"above 0 to {longest:g} h from the first time on"
        raise OutOfRange(
            f"{kind.name} out of service",
            "has no end, or one that is too late" if too_long else "has a wrong end",
            value=hours,
            allowed=allowed,
            remedy="give the hours until it must be looked at again",
        )
    after = replace(state, out=OutOfService(by, reason.strip(), start, until))
    text = f"{by} took it out of service: {reason.strip()}" + (f" (for {hours:g} h)" if hours else "")
    return AlarmStep(after, (change(kind, state, after, Why.OUT_OF_SERVICE, text, now_ms, subject, by=by),))


def return_to_service(
    kind: Kind, state: AlarmState, by: str, now_ms: int, subject: str = "pour"
) -> AlarmStep:
    """Back in service. What is true must be acknowledged again. Raises BadInput without a name."""
    _named(by)
    if state.out is None:
        return AlarmStep(state)
    after = annunciated(replace(state, out=None))
    text = f"{by} put it back in service"
    return AlarmStep(after, (change(kind, state, after, Why.BACK_IN_SERVICE, text, now_ms, subject, by=by),))


def _ms_of(hours: float) -> int:
    """Milliseconds; anything that is not a plain positive number of hours counts as none."""
    return round(hours * HOUR_MS) if 0 < hours < 1e6 else 0


def _named(by: str) -> None:
    if not by.strip():
        raise BadInput("an act on an alarm", "has no name to it", value=by, remedy="say who you are")
