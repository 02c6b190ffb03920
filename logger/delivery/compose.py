"""Writes what has to be told of a pour's alarms into the outbox, in the transaction in which they changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from logger.alarms.book import AlarmBook
from logger.alarms.kind import Kind
from logger.alarms.notify_policy import (
    Message,
    Notified,
    NotifyReason,
    Rules,
    decide,
    notified_from_dict,
    notified_to_dict,
)
from logger.alarms.state import AlarmState, Phase
from logger.alarms.wording import words
from logger.delivery.signed_links import Address, new_token
from logger.quantities import METRIC, units_from
from logger.settings import Messages
from logger.store import outbox
from logger.store.alarms import row_id_of
from logger.store.message_links import Purpose, revoke_links
from logger.store.outbox import NewMessage
from logger.store.shop_events import units_of_pour

#: A message that the first addresses have refused so many times has failed for good: the second are told at once.
FAILED_TRIES = 3
#: Why a link in an earlier message holds no longer: what it was about is not what is true now.
NEWS = (NotifyReason.FIRST_TIME, NotifyReason.WORSE, NotifyReason.REALARM)


def rules_of(messages: Messages) -> Rules:
    """Return the settings as the rules of telling."""
    return Rules(
        first=len(messages.urls),
        second=len(messages.second_urls),
        second_after_min=messages.second_after_min,
        quiet_from_min=minute_of(messages.quiet_from),
        quiet_until_min=minute_of(messages.quiet_until),
    )


@dataclass(frozen=True, slots=True)
class Notification:
    """One message that is due, before it is worded."""

    key: str
    kind: Kind
    state: AlarmState
    message: Message


def due_notifications(
    book: AlarmBook,
    told: dict[str, Any],
    rules: Rules,
    now_ms: int,
    minute_of_day: int | None,
    first_failed: Callable[[str, AlarmState], bool],
) -> tuple[list[Notification], dict[str, Any]]:
    """Every message that is due, and what has been told of each alarm then (JSON-safe).

    `told`: what this gave the last time. `first_failed`: alarm's key and state → whether the first addresses cannot
    be reached.
    """
    letters: list[Notification] = []
    after: dict[str, Any] = {}
    # Also those that have just become normal: that they are over may have to be told.
    for key in dict.fromkeys([*(entry.key for entry in book.entries()), *told]):
        kind, state = book.look_up(key)
        before = notified_from_dict(told[key]) if key in told else Notified()
        failed = first_failed(key, state)
        telling = decide(kind, state, before, rules, now_ms, minute_of_day, first_failed=failed)
        letters += [Notification(key, kind, state, message) for message in telling.messages]
        if telling.told != Notified():
            after[key] = notified_to_dict(telling.told)
    return letters, after


def write_notifications(
    tx: Connection,
    pour_id: int,
    about: str,
    book: AlarmBook,
    told: dict[str, Any],
    rules: Rules,
    now_ms: int,
    minute_of_day: int | None,
    address: Address,
) -> dict[str, Any]:
    """Put every message that is due into the outbox; gives what has been told of each alarm now (JSON-safe).

    `told`: what this gave the last time. `about`: the pour's title.
    """
    failed = _first_failed(tx, pour_id, rules)
    letters, after = due_notifications(book, told, rules, now_ms, minute_of_day, failed)
    enqueue(tx, pour_id, about, letters, now_ms, address)
    return after


def nothing_due(
    connection: Connection,
    pour_id: int,
    book: AlarmBook,
    told: dict[str, Any],
    rules: Rules,
    now_ms: int,
    minute_of_day: int | None,
) -> bool:
    """Whether write_letters would write nothing."""
    failed = _first_failed(connection, pour_id, rules)
    return due_notifications(book, told, rules, now_ms, minute_of_day, failed) == ([], told)


def _first_failed(connection: Connection, pour_id: int, rules: Rules) -> Callable[[str, AlarmState], bool]:
    def failed(key: str, state: AlarmState) -> bool:
        if rules.second == 0 or state.phase is not Phase.RAISED:
            return False  # it would change nothing, and this is asked every few seconds
        row_id = row_id_of(connection, pour_id, key, state.activation)
        return row_id is not None and outbox.tries_in_vain(connection, row_id, "first") >= FAILED_TRIES

    return failed


def enqueue(
    tx: Connection, pour_id: int, about: str, letters: Sequence[Notification], now_ms: int, address: Address
) -> list[int]:
    """Put messages into the outbox, worded in the shop's units and with their links; gives their ids.

    Messages about the same alarm that still wait are outdated: only what is true now is worth a ring.
    """
    ids = []
    units = units_from(units_of_pour(tx, pour_id)) if letters else METRIC
    revoked: set[str] = set()
    for letter in letters:
        to, why = str(letter.message.to), letter.message.why
        row_id = row_id_of(tx, pour_id, letter.key, letter.state.activation)
        since_ms, link = None, address(f"/pours/{pour_id}")
        if row_id is not None:
            if why in NEWS and letter.key not in revoked:
                revoke_links(tx, row_id, now_ms)
                revoked.add(letter.key)
            since_ms = outbox.outdate(tx, row_id, to, now_ms)
            link = address(f"/alarms/{row_id}")
            if why is not NotifyReason.TAKEN:
                link = address(f"/a/{new_token(tx, Purpose.ACKNOWLEDGE, to, row_id, now_ms)}")
        text = words(letter.kind, letter.state, why, about, link, units)
        ids.append(
            outbox.add_message(
                tx,
                NewMessage(alarm_id=row_id, why=str(why), to=to, title=text.title, body=text.body),
                now_ms=now_ms,
                since_ms=since_ms,
            )
        )
    return ids


def minute_of(text: str | None) -> int | None:
    """Minutes of the day of a time such as 22:30."""
    if text is None:
        return None
    hour, _, minute = text.partition(":")
    return int(hour) * 60 + int(minute)
