"""The outbox: messages written in the transaction of what they tell, sent afterwards, kept until they got through."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Row, func, insert, select, update

from logger.store.database import table
from logger.store.tables import Outgoing

OUTBOX = table(Outgoing)
WAITING, SENT, GIVEN_UP, OUTDATED = "waiting", "sent", "given-up", "outdated"


def add_message(
    tx: Connection, *, alarm_id: int | None, why: str, to: str, title: str, body: str, now_ms: int
) -> int:
    """Puts a message into the outbox. `to` names the group of channels ("first", "second"). Gives its id."""
    values = {"alarm_id": alarm_id, "why": why, "to": to, "title": title[:300], "body": body[:4000],
              "created_ms": now_ms, "next_try_ms": now_ms, "state": WAITING, "attempts": 0}  # fmt: skip
    return int(tx.execute(insert(OUTBOX).values(**values).returning(OUTBOX.c.id)).scalar_one())


def due(connection: Connection, now_ms: int, most: int = 20) -> list[Row[Any]]:
    """Messages to be tried now, oldest first."""
    return list(
        connection.execute(
            select(OUTBOX)
            .where(OUTBOX.c.state == WAITING, OUTBOX.c.next_try_ms <= now_ms)
            .order_by(OUTBOX.c.id)
            .limit(most)
        )
    )


def mark_sent(tx: Connection, message_id: int, now_ms: int) -> None:
    """It got through to every channel of its group."""
    tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.id == message_id)
        .values(state=SENT, done_ms=now_ms, attempts=OUTBOX.c.attempts + 1, problem=None)
    )


def mark_failed(tx: Connection, message_id: int, problem: str, next_try_ms: int) -> None:
    """It did not; it will be tried again."""
    tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.id == message_id)
        .values(problem=problem[:500], attempts=OUTBOX.c.attempts + 1, next_try_ms=next_try_ms)
    )


def tries_in_vain(connection: Connection, alarm_id: int, to: str) -> int:
    """How often the newest message about an alarm to a group was tried without getting through."""
    found = connection.execute(
        select(OUTBOX.c.attempts, OUTBOX.c.state)
        .where(OUTBOX.c.alarm_id == alarm_id, OUTBOX.c.to == to)
        .order_by(OUTBOX.c.id.desc())
        .limit(1)
    ).first()
    return 0 if found is None or found.state == SENT else int(found.attempts)


def outdate(tx: Connection, alarm_id: int, to: str, now_ms: int) -> int:
    """Messages about an alarm that still wait for a group are replaced by what is true now. Gives how many."""
    result = tx.execute(
        update(OUTBOX)
        .where(OUTBOX.c.alarm_id == alarm_id, OUTBOX.c.to == to, OUTBOX.c.state == WAITING)
        .values(state=OUTDATED, done_ms=now_ms)
    )
    return int(result.rowcount)


def oldest_waiting_ms(connection: Connection) -> int | None:
    """When the oldest message that has been tried in vain was written, or None."""
    found = connection.execute(
        select(func.min(OUTBOX.c.created_ms)).where(OUTBOX.c.state == WAITING, OUTBOX.c.attempts > 0)
    ).scalar()
    return None if found is None else int(found)


def messages_of(connection: Connection, alarm_id: int) -> list[Row[Any]]:
    """Every message about an alarm, oldest first."""
    return list(connection.execute(select(OUTBOX).where(OUTBOX.c.alarm_id == alarm_id).order_by(OUTBOX.c.id)))
