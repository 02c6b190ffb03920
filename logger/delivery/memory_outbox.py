"""Messages that the database cannot take now: held in memory, sent from there, recorded when it can.

Also how far a message that is in the database has got, when that cannot be written. `lock` is taken before the
database's own write lock, never after.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from logger.delivery.compose import Notification
from logger.delivery.wording import About, words
from logger.words.phrase import phrase


@dataclass(slots=True)
class Progress:
    """How far a message has got beyond what the database says of it."""

    taken: set[str] = field(default_factory=set)
    attempts: int = 0
    next_try_ms: int = 0
    problem: str = ""
    done: bool = False


@dataclass(frozen=True, slots=True)
class HeldMessage:
    """A message without a row. Its id is negative."""

    id: int
    pour_id: int
    notification: Notification
    to: str
    title: str
    body: str
    attempts: int = 0


class MemoryOutbox:
    """What the watch and the sender share while the database refuses."""

    def __init__(self) -> None:
        self.lock = threading.RLock()
        self.progress: dict[int, Progress] = {}
        self._messages: dict[int, HeldMessage] = {}
        self._rows: dict[int, int] = {}
        self._ids = itertools.count(-1, -1)

    def put(self, pour_id: int, title: str, notifications: Sequence[Notification]) -> None:
        """Hold messages. `title`: the pour's.

        An older one about the same alarm to the same group that no channel has taken is replaced.
        """
        with self.lock:
            for due in notifications:
                to = str(due.message.to)
                for old in self.of(pour_id):
                    if (old.notification.key, old.to) == (due.key, to) and old.id not in self.progress:
                        del self._messages[old.id]
                text = words(due.kind, due.state, due.message.why, About(title))
                no_link = phrase("The service's disk is full: this message has no link. Open the board.")
                body = f"{text.body}\n{no_link}"
                message = HeldMessage(next(self._ids), pour_id, due, to, text.title, body)
                self._messages[message.id] = message

    def of(self, pour_id: int) -> list[HeldMessage]:
        """Return a pour's messages, oldest first."""
        return [message for message in self._messages.values() if message.pour_id == pour_id]

    def next_due(self, now_ms: int, tried: Sequence[int]) -> HeldMessage | None:
        """Return the message to be tried now, or None."""
        with self.lock:
            for message in self._messages.values():
                progress = self.progress.get(message.id, Progress())
                if message.id not in tried and not progress.done and progress.next_try_ms <= now_ms:
                    return message
        return None

    def recorded(self, rows: Mapping[int, int]) -> None:
        """Note the rows of held messages (held id → row id). Call with the lock held since before they were written."""
        for held_id, row_id in rows.items():
            self._messages.pop(held_id, None)
            self._rows[held_id] = row_id
            if held_id in self.progress:
                self.progress[row_id] = self.progress.pop(held_id)

    def id_now(self, message_id: int) -> int:
        """Return the id that a message has now: one that was sent from memory may have got its row meanwhile."""
        return self._rows.get(message_id, message_id)
