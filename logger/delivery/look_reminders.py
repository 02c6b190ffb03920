"""Reminders of the first hour's looks: a quiet message before a look is due, answered from its link. No alarm."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logger.alarms.book import AlarmBook
from logger.alarms.first_hour import MINUTE_MS, Reminding, Rhythm, next_due_ms, remind_at_ms
from logger.alarms.notify_policy import LocalTime, Recipient, Rules, is_quiet
from logger.delivery.compose import LOOK_DUE
from logger.delivery.signed_links import Address, new_token
from logger.facts import Fact, fact
from logger.pour import Stage
from logger.quantities import minutes as minutes_of
from logger.store import events, outbox, page_queries
from logger.store.boots import Timeline
from logger.store.message_links import Purpose
from logger.store.outbox import NewMessage
from logger.store.rows import JudgedPour
from logger.words.phrase import phrase

#: Why such a message was written, and the events of one and of the answer "later": data {"due_ms"}.
REMINDER, LATER = "look-asked", "look-later"
#: A look this much overdue is its alarm's, ms.
ALARMS_MS = 2 * MINUTE_MS


def reminding_of(connection: Connection, pour_id: int, due_ms: int) -> Reminding:
    """Return what has been said of a pour's look that is due then (true ms)."""
    sent, later = (
        [row.at_ms for row in events.of_kind(connection, pour_id, kind) if row.facts.get("due_ms") == due_ms]
        for kind in (REMINDER, LATER)
    )
    return Reminding(sent, later)


def _asking(minutes: int, name: str, link: str) -> tuple[Fact, Fact]:
    """Return the title and the body of a reminder."""
    if minutes > 0:
        time = minutes_of(minutes)
        return (
            phrase("Check the form in {time} - {name}", time=time, name=name),
            phrase(
                "A check of the form is due in {time}: dry below, level as it was, no smell of heat?\n"
                "Dry, wet or later: answer without signing in (in the workshop's network): {link}",
                time=time,
                link=link,
            ),
        )
    return (
        phrase("Check the form now - {name}", name=name),
        phrase(
            "A check of the form is due now: dry below, level as it was, no smell of heat?\n"
            "Dry, wet or later: answer without signing in (in the workshop's network): {link}",
            link=link,
        ),
    )


@dataclass(frozen=True, slots=True)
class LookReminders:
    """Writes reminders into the outbox, by one workshop's rules and with links to one address."""

    rules: Rules
    address: Address
    rhythm: Rhythm
    timeline: Timeline

    def due(self, connection: Connection, pour: JudgedPour, book: AlarmBook, time: LocalTime) -> int | None:
        """Return which look is to be reminded of now, by when it is due (true ms); None without one.

        Of the lowest priority: never in quiet hours, nor while its alarm is put aside.
        """
        now_ms = self.timeline.true_ms()
        over = now_ms - pour.poured_ms > (self.rhythm.until_min + 1) * MINUTE_MS
        if over or pour.stage not in (Stage.POURING, Stage.WATCHED) or not self._may_send(book, time):
            return None
        looks = page_queries.looks_of(connection, pour.id)
        due_ms = next_due_ms(pour.poured_ms, self.rhythm, looks)
        if due_ms is None or now_ms >= due_ms + ALARMS_MS:
            return None
        at_ms = remind_at_ms(due_ms, self.rhythm, reminding_of(connection, pour.id, due_ms))
        return due_ms if at_ms is not None and at_ms <= now_ms else None

    def write_due(self, tx: Connection, pour: JudgedPour, book: AlarmBook, time: LocalTime) -> bool:
        """Put a reminder that is due into the outbox; return whether there was one."""
        due_ms = self.due(tx, pour, book, time)
        if due_ms is None:
            return False
        now_ms = self.timeline.true_ms()
        to = str(Recipient.FIRST if self.rules.first else Recipient.SECOND)
        link = self.address(f"/look/{new_token(tx, Purpose.LOOK, to, None, time.now_ms, (pour.id, due_ms))}")
        minutes = round((due_ms - now_ms) / MINUTE_MS)
        title, ask = _asking(minutes, pour.title, link)
        outbox.add_message(
            tx,
            NewMessage(
                alarm_id=None,
                why=REMINDER,
                to=to,
                title=title,
                body=ask,
            ),
            now_ms=time.now_ms,
        )
        text = (
            fact("asked-for-check-in", time=minutes_of(minutes)) if minutes > 0 else fact("asked-for-check")
        )
        events.add_event(tx, pour.id, now_ms, REMINDER, events.WATCH, text, {"due_ms": due_ms})
        return True

    def _may_send(self, book: AlarmBook, time: LocalTime) -> bool:
        state = book.state(LOOK_DUE)
        aside = state.shelf is not None or state.out is not None
        return (
            self.rules.first + self.rules.second > 0
            and not aside
            and not is_quiet(self.rules, time.minute_of_day)
        )
