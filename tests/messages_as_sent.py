"""Messages that wait in an outbox, as a receiver reads them."""

from __future__ import annotations

from typing import Any

from logger.alarms.kind import Kind
from logger.alarms.notify_policy import NotifyReason
from logger.alarms.state import AlarmState
from logger.delivery import wording
from logger.delivery.wording import About, Words, in_words
from logger.words.reader import METRIC, Reader


def as_sent(row: Any, reader: Reader = METRIC) -> Words:
    """Title and body of a waiting message, in words."""
    return in_words(row.title, row.body, reader)


def words(kind: Kind, state: AlarmState, why: NotifyReason, about: About, reader: Reader = METRIC) -> Words:
    """The message on one alarm, in words."""
    return as_sent(wording.words(kind, state, why, about), reader)
