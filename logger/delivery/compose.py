"""Writes the notifications of a pour's alarms into the outbox, in the transaction in which the alarms changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from logger.alarms.book import AlarmBook
from logger.alarms.kind import Kind, Priority
from logger.alarms.notify_policy import (
    LocalTime,
    Message,
    Notified,
    NotifyReason,
    Rules,
    decide,
    notified_from_dict,
    notified_to_dict,
)
from logger.alarms.state import AlarmState, Phase
from logger.alarms.state_json import JsonTable
from logger.delivery.addresses import AddressBook
from logger.delivery.signed_links import Address, new_token
from logger.delivery.wording import About, Now, words
from logger.settings import Messages
from logger.store import outbox
from logger.store.alarms import row_id_of
from logger.store.message_links import Purpose, revoke_links
from logger.store.outbox import NewMessage
from logger.store.rows import JudgedPour

#: A message that the first addresses have refused so often has failed for good: the second are notified at once.
FAILED_TRIES = 3
#: Reasons that end the links of earlier messages: what those were about is not what is true now.
REVOKING = (NotifyReason.FIRST_TIME, NotifyReason.WORSE, NotifyReason.REALARM)

#: The alarm whose messages ask what a look has found.
LOOK_DUE = "look-due"

#: Alarm key → a stored `Notified`: what has been sent about each alarm of a pour, stored with its book.
NotifiedTable = dict[str, JsonTable]


def rules_of(messages: Messages) -> Rules:
    """Return the settings as the rules of notification, where they alone say who is called."""
    return AddressBook(messages).rules()


@dataclass(frozen=True, slots=True)
class Notification:
    """One message that is due, before it is worded."""

    key: str
    kind: Kind
    state: AlarmState
    message: Message


def due_notifications(
    book: AlarmBook,
    notified: NotifiedTable,
    rules: Rules,
    time: LocalTime,
    first_failed: Callable[[str, AlarmState], bool] = lambda _key, _state: False,
) -> tuple[list[Notification], NotifiedTable]:
    """Return every message that is due, and what has been sent about each alarm with them.

    `notified`: what has been sent so far. `first_failed`: alarm's key and state → whether the first addresses cannot
    be reached.
    """
    notifications: list[Notification] = []
    after: NotifiedTable = {}
    # Also those that have just become normal: a message that they are over may be due.
    for key in dict.fromkeys([*(entry.key for entry in book.entries()), *notified]):
        kind, state = book.look_up(key)
        before = notified_from_dict(notified[key]) if key in notified else Notified()
        decision = decide(kind, state, before, rules, time, first_failed=first_failed(key, state))
        notifications += [Notification(key, kind, state, message) for message in decision.messages]
        if decision.notified != Notified():
            after[key] = notified_to_dict(decision.notified)
    return notifications, after


@dataclass(frozen=True, slots=True)
class PourNow:
    """How a pour is now. alarm_id: the alarm that it is about; grave: whether it is a danger."""

    now: Now
    alarm_id: int | None
    grave: bool


@dataclass(frozen=True, slots=True)
class Composer:
    """Writes a pour's notifications into the outbox, by one workshop's rules and with links to one address."""

    rules: Rules
    address: Address
    pour_now: Callable[[Connection, int], PourNow | None] = lambda _connection, _pour_id: None

    def write_due(
        self, tx: Connection, pour: JudgedPour, book: AlarmBook, notified: NotifiedTable, time: LocalTime
    ) -> NotifiedTable:
        """Put every message that is due into the outbox; return what has been sent about each alarm with them."""
        notifications, after = self._due(tx, pour.id, book, notified, time)
        self.enqueue(tx, pour.id, pour.title, notifications, time.now_ms)
        return after

    def nothing_due(
        self, connection: Connection, pour_id: int, book: AlarmBook, notified: NotifiedTable, time: LocalTime
    ) -> bool:
        """Return whether `write_due` would change nothing."""
        return self._due(connection, pour_id, book, notified, time) == ([], notified)

    def _due(
        self, connection: Connection, pour_id: int, book: AlarmBook, notified: NotifiedTable, time: LocalTime
    ) -> tuple[list[Notification], NotifiedTable]:
        def first_failed(key: str, state: AlarmState) -> bool:
            if self.rules.second == 0 or state.phase is not Phase.RAISED:
                return False  # it would change nothing, and this is asked every few seconds
            row_id = row_id_of(connection, pour_id, key, state.activation)
            return row_id is not None and outbox.tries_in_vain(connection, row_id, "first") >= FAILED_TRIES

        return due_notifications(book, notified, self.rules, time, first_failed)

    def enqueue(
        self,
        tx: Connection,
        pour_id: int,
        title: str,
        notifications: Sequence[Notification],
        now_ms: int,
    ) -> list[int]:
        """Put messages into the outbox with their links; return their ids. Each receiver reads them in their own words.

        `title`: the pour's. Messages about the same alarm that still wait are outdated: only what is true now is worth
        a ring.
        """
        ids = []
        now = self.pour_now(tx, pour_id) if notifications else None
        revoked: set[str] = set()
        for due in notifications:
            to, why = str(due.message.to), due.message.why
            row_id = row_id_of(tx, pour_id, due.key, due.state.activation)
            since_ms, link = None, self.address(f"/pours/{pour_id}")
            if row_id is not None:
                if why in REVOKING and due.key not in revoked:
                    revoke_links(tx, row_id, now_ms)
                    revoked.add(due.key)
                since_ms = outbox.outdate(tx, row_id, to, now_ms)
                link = self.address(f"/alarms/{row_id}")
                if due.kind.name == LOOK_DUE and why is not NotifyReason.TAKEN:
                    look = (pour_id, 0)  # whichever look is due when it is answered
                    link = self.address(f"/look/{new_token(tx, Purpose.LOOK, to, row_id, now_ms, look)}")
                elif why is not NotifyReason.TAKEN:
                    link = self.address(f"/a/{new_token(tx, Purpose.ACKNOWLEDGE, to, row_id, now_ms)}")
            text = words(due.kind, due.state, why, _about(title, link, now, row_id, due.kind))
            ids.append(
                outbox.add_message(
                    tx,
                    NewMessage(alarm_id=row_id, why=str(why), to=to, title=text.title, body=text.body),
                    now_ms=now_ms,
                    since_ms=since_ms,
                )
            )
        return ids


def _about(title: str, link: str, now: PourNow | None, alarm_id: int | None, kind: Kind) -> About:
    """Return what a message is about: what is graver than its alarm leads, whoever has acknowledged what."""
    if now is None or (now.alarm_id is not None and now.alarm_id == alarm_id):
        return About(title, link)
    leads = now.grave and kind.priority is not Priority.HIGH
    return About(title, link, now.now, leads)
