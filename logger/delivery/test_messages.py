"""Test messages: a person confirms with a tap that one has arrived, and how long ago that was is shown."""

from __future__ import annotations

from sqlalchemy import Connection

from logger.alarms.notify_policy import is_quiet
from logger.delivery.addresses import AddressBook
from logger.delivery.signed_links import Address, new_token
from logger.store import outbox
from logger.store.message_links import Purpose
from logger.store.outbox import NewMessage
from logger.units import HOUR_MS
from logger.words.phrase import phrase


def write_trials(tx: Connection, addresses: AddressBook, now_ms: int, address: Address, why: str) -> int:
    """Write a test message to each group; one that still waits is replaced. Return how many.

    `why`: a sentence that says why it comes.
    """
    outbox.outdate_of(tx, outbox.TRIAL, now_ms)
    groups = list(addresses.groups())
    for to in groups:
        link = address(f"/a/{new_token(tx, Purpose.CONFIRM, to, None, now_ms)}")
        body = phrase(
            "This is a test: nothing is wrong. {why}\n"
            "Tap to say that it has arrived (in the workshop's network): {link}",
            why=why,
            link=link,
        )
        outbox.add_message(
            tx,
            NewMessage(
                alarm_id=None,
                why=outbox.TRIAL,
                to=to,
                title=phrase("Test message: please confirm"),
                body=body,
            ),
            now_ms=now_ms,
        )
    return len(groups)


def trial_due(connection: Connection, addresses: AddressBook, now_ms: int, minute_of_day: int | None) -> bool:
    """Return whether it is time for the regular test message: never in quiet hours."""
    if not addresses.groups() or is_quiet(addresses.rules(), minute_of_day):
        return False
    last_ms = outbox.last_trial_ms(connection)
    return last_ms is None or now_ms - last_ms >= addresses.settings.test_every_h * HOUR_MS


#: What the link of one way's own test is for: its number follows.
ONE = "channel-"


def write_one(tx: Connection, channel_id: int, now_ms: int) -> str:
    """Make the link that confirms one way's test, and return its token."""
    return new_token(tx, Purpose.CONFIRM, f"{ONE}{channel_id}", None, now_ms)


def confirmed_channel(to: str) -> int | None:
    """Return the way that a test's link confirms; None: a group of addresses."""
    number = to.removeprefix(ONE)
    return int(number) if number != to and number.isdecimal() else None
