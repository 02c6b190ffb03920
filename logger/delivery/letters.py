"""Writes what has to be told of a pour's alarms into the outbox, in the transaction in which they changed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sqlalchemy import Connection

from logger.alarms.telling import Rules, Told, tell, told_from_dict, told_to_dict
from logger.alarms.watchbook import Watchbook
from logger.alarms.wording import words
from logger.settings import Messages
from logger.store import outbox
from logger.store.alarms import row_id_of

#: A message that the first addresses have refused so many times has failed for good: the second are told at once.
FAILED_TRIES = 3


def rules_of(messages: Messages) -> Rules:
    """The settings as the rules of telling."""
    return Rules(
        first=len(messages.urls),
        second=len(messages.second_urls),
        second_after_min=messages.second_after_min,
        quiet_from_min=_minute(messages.quiet_from),
        quiet_until_min=_minute(messages.quiet_until),
    )


def write_letters(
    tx: Connection,
    pour_id: int,
    about: str,
    book: Watchbook,
    told: dict[str, Any],
    rules: Rules,
    now_ms: int,
    minute_of_day: int | None,
    link: Callable[[int], str],
) -> dict[str, Any]:
    """Puts every message that is due into the outbox; gives what has been told of each alarm now (JSON-safe).

    `told`: what this gave the last time. `about`: the pour's title. `link`: alarm row id → address of its page.
    Messages about the same alarm that still wait are outdated: only what is true now is worth a ring.
    """
    after: dict[str, Any] = {}
    # Also those that have just become normal: that they are over may have to be told.
    for key in dict.fromkeys([*(entry.key for entry in book.entries()), *told]):
        kind, state = book.look_up(key)
        before = told_from_dict(told[key]) if key in told else Told()
        row_id = row_id_of(tx, pour_id, key, state.activation)
        failed = row_id is not None and outbox.tries_in_vain(tx, row_id, "first") >= FAILED_TRIES
        telling = tell(kind, state, before, rules, now_ms, minute_of_day, first_failed=failed)
        for message in telling.messages:
            text = words(kind, state, message.why, about, None if row_id is None else link(row_id))
            if row_id is not None:
                outbox.outdate(tx, row_id, str(message.to), now_ms)
            outbox.add_message(
                tx, alarm_id=row_id, why=str(message.why), to=str(message.to),
                title=text.title, body=text.body, now_ms=now_ms,
            )  # fmt: skip
        if telling.told != Told():
            after[key] = told_to_dict(telling.told)
    return after


def _minute(text: str | None) -> int | None:
    if text is None:
        return None
    hour, _, minute = text.partition(":")
    return int(hour) * 60 + int(minute)
