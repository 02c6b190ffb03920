"""Which waiting messages are still worth sending: pure.

A receiver that was away for a day must not be flooded with what has long been over. Of one alarm, to one receiver,
only the newest message is sent; it says how things are now. What is left goes out in the order in which it was written.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Waiting:
    """One message that has not been sent. `alarm` None: a message of its own (a test), never superseded."""

    id: int
    alarm: str | None
    to: str
    created_ms: int


@dataclass(frozen=True, slots=True)
class Sorted:
    """What to send, in order, and what has been overtaken: message id → id of the one that replaces it."""

    send: tuple[int, ...]
    overtaken: dict[int, int]


def sort_waiting(messages: Iterable[Waiting]) -> Sorted:
    """Return the messages to send, oldest first (id breaks a tie), and those that a newer one has overtaken."""
    ordered = sorted(messages, key=lambda message: (message.created_ms, message.id))
    newest: dict[tuple[str, str], int] = {}
    for message in ordered:
        if message.alarm is not None:
            newest[message.alarm, message.to] = message.id
    send: list[int] = []
    overtaken: dict[int, int] = {}
    for message in ordered:
        last = message.id if message.alarm is None else newest[message.alarm, message.to]
        if last == message.id:
            send.append(message.id)
        else:
            overtaken[message.id] = last
    return Sorted(tuple(send), overtaken)
