"""Test messages: a person confirms with a tap that one has arrived, and how long ago that was is shown."""

from __future__ import annotations

from sqlalchemy import Connection

from logger.alarms.notify_policy import is_quiet
from logger.delivery.compose import rules_of
from logger.delivery.signed_links import Address, new_token
from logger.settings import Messages
from logger.store import outbox
from logger.store.message_links import Purpose
from logger.store.outbox import NewMessage
from logger.units import HOUR_MS


def groups_of(messages: Messages) -> list[str]:
    """Return the groups of addresses that are set."""
    return [name for name, urls in (("first", messages.urls), ("second", messages.second_urls)) if urls]


def write_trials(tx: Connection, messages: Messages, now_ms: int, address: Address, why: str) -> int:
    """Write a test message to each group; one that still waits is replaced. Return how many.

    `why`: a sentence that says why it comes.
    """
    outbox.outdate_of(tx, outbox.TRIAL, now_ms)
    groups = groups_of(messages)
    for to in groups:
        link = address(f"/a/{new_token(tx, Purpose.CONFIRM, to, None, now_ms)}")
        body = (
            f"This is a test: nothing is wrong. {why}\n"
            f"Tap to say that it has arrived (in the workshop's network): {link}"
        )
        outbox.add_message(
            tx,
            NewMessage(
                alarm_id=None, why=outbox.TRIAL, to=to, title="Test message: please confirm", body=body
            ),
            now_ms=now_ms,
        )
    return len(groups)


def trial_due(connection: Connection, messages: Messages, now_ms: int, minute_of_day: int | None) -> bool:
    """Return whether it is time for the regular test message: never in quiet hours."""
    if not groups_of(messages) or is_quiet(rules_of(messages), minute_of_day):
        return False
    last_ms = outbox.last_trial_ms(connection)
    return last_ms is None or now_ms - last_ms >= messages.test_every_h * HOUR_MS
