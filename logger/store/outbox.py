"""The outbox: messages written in the transaction of what they tell, sent afterwards, kept until they got through.

All times are steady (see boots.py). A message goes to a group of channels; which of them have taken it is kept, so
that nobody is rung twice because another channel failed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, case, exists, func, insert, or_, select, update
from sqlalchemy.sql.elements import ColumnElement

from logger.alarms.kind import Priority, urgency
from logger.alarms.outbox_order import Waiting, sort_waiting
from logger.facts import cut, fact
from logger.store.alarms import ALARM, same_alarm
from logger.store.database import table
from logger.store.rows import ListedMessage, MessageRow, all_rows, columns, first_row
from logger.store.tables import Outgoing, Taken

OUTBOX, TAKEN = table(Outgoing), table(Taken)
_MESSAGES = select(*columns(OUTBOX, MessageRow))
WAITING, SENT, GIVEN_UP, OUTDATED = "waiting", "sent", "given-up", "outdated"
#: Why a message that is about no alarm was written.
TRIAL = "trial"
#: Why a message was written that a cup of a test is dangerously hot: of no alarm, and as urgent as the gravest.
HOT_CUP = "cup-hot"
#: … and one that tells of a broken channel over the others.
CHANNEL = "channel"
#: No claim is longer than this: one that seems so was made on another timeline, and counts as none, ms.
LONGEST_CLAIM_MS = 600_000


def channel_key(url: str) -> str:
    """Return what is kept of a channel's URL, which may hold a password."""
    return hashlib.sha256(url.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class NewMessage:
    """A message to send: the alarm's row (None: about no alarm), why, the group of channels ("first", "second")."""

    alarm_id: int | None
    why: str
    to: str
    title: str
    body: str


def add_message(tx: Connection, message: NewMessage, *, now_ms: int, since_ms: int | None = None) -> int:
    """Put a message into the outbox; return its id.

    `now_ms`: steady. `since_ms`: since when the messages that it replaces have waited in vain.
    """
    values = {
        "alarm_id": message.alarm_id,
        "why": message.why,
        "to": message.to,
        "title": _lines(message.title, 2000),
        "body": _lines(message.body, 8000),
        "created_ms": now_ms,
        "next_try_ms": now_ms,
        "state": WAITING,
        "attempts": 0,
        "since_ms": now_ms if since_ms is None else since_ms,
    }
    return int(tx.execute(insert(OUTBOX).values(**values).returning(OUTBOX.c.id)).scalar_one())


def _lines(text: str, longest: int) -> str:
    """Return the lines of a text that fit, whole: each may be a fact."""
    kept, left = [], longest
    for line in text.split("\n"):
        left -= len(line) + 1
        if left < 0:
            break
        kept.append(line)
    return "\n".join(kept) if kept else cut(text, longest)


#: A test message is of no alarm, and goes with the least of them; a hot cup with the gravest.
_RANK = case(
    (OUTBOX.c.why == HOT_CUP, urgency(Priority.HIGH)),
    *((ALARM.c.priority == priority.value, urgency(priority)) for priority in Priority),
    else_=urgency(Priority.LOW),
)


def next_due(
    connection: Connection, now_ms: int, groups: Sequence[str], tried: Sequence[int]
) -> MessageRow | None:
    """Return the message to be tried now, or None: the gravest alarm first, then the oldest; not those in `tried`."""
    free = or_(
        OUTBOX.c.claimed_until_ms.is_(None),
        OUTBOX.c.claimed_until_ms <= now_ms,
        OUTBOX.c.claimed_until_ms > now_ms + LONGEST_CLAIM_MS,
    )
    query = (
        _MESSAGES.join(ALARM, ALARM.c.id == OUTBOX.c.alarm_id, isouter=True)
        .where(OUTBOX.c.state == WAITING, OUTBOX.c.next_try_ms <= now_ms, free)
        .where(OUTBOX.c.to.in_(groups), OUTBOX.c.id.not_in(tried))
        .order_by(_RANK, OUTBOX.c.id)
        .limit(1)
    )
    return first_row(connection, query, MessageRow)


def pour_of(connection: Connection, message_id: int) -> int | None:
    """Return the pour that a message is about; None: about none."""
    query = select(ALARM.c.pour_id).join(OUTBOX, OUTBOX.c.alarm_id == ALARM.c.id)
    value = connection.execute(query.where(OUTBOX.c.id == message_id)).scalar()
    return None if value is None else int(value)


def claim(tx: Connection, message_id: int, until_ms: int) -> bool:
    """Take a message for sending, or go on with it, until then. False when it waits no longer."""
    result = tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.id == message_id, OUTBOX.c.state == WAITING)
        .values(claimed_until_ms=until_ms)
    )
    return result.rowcount > 0


def release_claims(tx: Connection) -> None:
    """Messages that were being sent when the service died are free at once: nobody sends them any more."""
    tx.execute(update(OUTBOX).where(OUTBOX.c.claimed_until_ms.is_not(None)).values(claimed_until_ms=None))


def taken_by(connection: Connection, message_id: int) -> set[str]:
    """Return the keys of the channels that have taken a message."""
    return set(connection.execute(select(TAKEN.c.channel).where(TAKEN.c.message_id == message_id)).scalars())


def mark_taken(tx: Connection, message_id: int, channel: str, now_ms: int) -> None:
    """One channel has taken it."""
    if channel not in taken_by(tx, message_id):
        tx.execute(insert(TAKEN).values(message_id=message_id, channel=channel, taken_ms=now_ms))


def mark_sent(tx: Connection, message_id: int, now_ms: int) -> None:
    """Note that it got through to every channel of its group, even if something newer has replaced it meanwhile."""
    tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.id == message_id)
        .values(
            state=SENT, done_ms=now_ms, attempts=OUTBOX.c.attempts + 1, problem=None, claimed_until_ms=None
        )
    )


def mark_failed(tx: Connection, message_id: int, problem: str, next_try_ms: int) -> None:
    """Note that it did not; it will be tried again, unless something newer has replaced it."""
    tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.id == message_id)
        .values(
            problem=cut(problem, 500),
            attempts=OUTBOX.c.attempts + 1,
            next_try_ms=next_try_ms,
            claimed_until_ms=None,
        )
    )


def tries_in_vain(connection: Connection, alarm_id: int, to: str) -> int:
    """How often messages about an activation were tried for a group since one of its channels last took one."""
    through = select(func.coalesce(func.max(OUTBOX.c.id), 0)).where(
        OUTBOX.c.alarm_id == alarm_id, OUTBOX.c.to == to, or_(OUTBOX.c.state == SENT, _was_taken())
    )
    tried = select(func.coalesce(func.sum(OUTBOX.c.attempts), 0)).where(
        OUTBOX.c.alarm_id == alarm_id, OUTBOX.c.to == to, OUTBOX.c.id > through.scalar_subquery()
    )
    return int(connection.execute(tried).scalar_one())


def outdate(tx: Connection, alarm_id: int, to: str, now_ms: int) -> int | None:
    """Messages about an alarm, of any activation, that still wait for a group are replaced by what is true now.

    Gives since when they have waited in vain, if no channel has taken any of them.
    """
    waiting = select(OUTBOX.c.id).where(
        OUTBOX.c.alarm_id.in_(same_alarm(alarm_id)), OUTBOX.c.to == to, OUTBOX.c.state == WAITING
    )
    since = tx.execute(
        select(func.min(OUTBOX.c.since_ms)).where(OUTBOX.c.id.in_(waiting), ~_was_taken())
    ).scalar()
    tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.id.in_(waiting))
        .values(state=OUTDATED, done_ms=now_ms, claimed_until_ms=None)
    )
    return None if since is None else int(since)


def outdate_overtaken(tx: Connection, now_ms: int) -> int:
    """Replace what waits behind something newer about the same alarm: after a restore, or an older program."""
    rows = tx.execute(
        select(OUTBOX.c.id, OUTBOX.c.to, OUTBOX.c.created_ms, ALARM.c.subject, ALARM.c.kind)
        .join(ALARM, ALARM.c.id == OUTBOX.c.alarm_id)
        .where(OUTBOX.c.state == WAITING)
    )
    waiting = sort_waiting(
        Waiting(row.id, f"{row.kind}/{row.subject}", row.to, row.created_ms) for row in rows
    )
    if waiting.overtaken:
        tx.execute(
            update(OUTBOX)
            .where(OUTBOX.c.id.in_(waiting.overtaken))
            .values(state=OUTDATED, done_ms=now_ms, claimed_until_ms=None)
        )
    return len(waiting.overtaken)


def _was_taken() -> ColumnElement[bool]:
    return exists().where(TAKEN.c.message_id == OUTBOX.c.id)


# With every judgement; built once.
_OLDEST_WAITING = select(func.min(OUTBOX.c.since_ms)).where(OUTBOX.c.state == WAITING, ~_was_taken())


def oldest_waiting_ms(connection: Connection) -> int | None:
    """Since when the oldest message has waited that no channel has taken, or None."""
    value = connection.execute(_OLDEST_WAITING).scalar()
    return None if value is None else int(value)


def how_many_wait(connection: Connection) -> int:
    """Messages that have not got through."""
    query = select(func.count()).select_from(OUTBOX).where(OUTBOX.c.state == WAITING)
    return int(connection.execute(query).scalar_one())


def last_trial_ms(connection: Connection) -> int | None:
    """When the last test message was written."""
    value = connection.execute(select(func.max(OUTBOX.c.created_ms)).where(OUTBOX.c.why == TRIAL)).scalar()
    return None if value is None else int(value)


def outdate_of(tx: Connection, why: str, now_ms: int) -> None:
    """Messages about no alarm that were written for that reason and still wait are replaced by what is true now."""
    tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.why == why, OUTBOX.c.state == WAITING)
        .values(state=OUTDATED, done_ms=now_ms, claimed_until_ms=None)
    )


def heard_since(connection: Connection, why: str, body: str, since_ms: int) -> bool:
    """Whether a channel has taken a message with that reason and text that was written since."""
    query = select(OUTBOX.c.id).where(OUTBOX.c.why == why, OUTBOX.c.body == body[:4000])
    query = query.where(OUTBOX.c.created_ms > since_ms, or_(OUTBOX.c.state == SENT, _was_taken()))
    return connection.execute(query.limit(1)).first() is not None


def give_up(tx: Connection, message_id: int, problem: str, now_ms: int) -> None:
    """Give it up for the channels that have not taken it."""
    tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.id == message_id, OUTBOX.c.state == WAITING)
        .values(state=GIVEN_UP, done_ms=now_ms, problem=cut(problem, 500), claimed_until_ms=None)
    )


def give_up_others(tx: Connection, groups: Sequence[str], now_ms: int) -> None:
    """Messages to groups that have no channel any more are no longer tried."""
    tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.state == WAITING, OUTBOX.c.to.not_in(groups))
        .values(state=GIVEN_UP, done_ms=now_ms, problem=fact("no-channel-in-group"))
    )


def messages_of(connection: Connection, alarm_id: int) -> list[MessageRow]:
    """Every message about an alarm, oldest first."""
    query = _MESSAGES.where(OUTBOX.c.alarm_id == alarm_id).order_by(OUTBOX.c.id)
    return all_rows(connection, query, MessageRow)


def newest_messages(connection: Connection, most: int = 30) -> list[ListedMessage]:
    """Return the last messages, newest first, each with `takers`: how many channels have taken it."""
    takers = select(func.count()).where(TAKEN.c.message_id == OUTBOX.c.id).scalar_subquery()
    query = select(*columns(OUTBOX, ListedMessage, takers.label("takers")))
    return all_rows(connection, query.order_by(OUTBOX.c.id.desc()).limit(most), ListedMessage)
