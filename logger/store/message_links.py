"""Links in messages that do one thing once: what they may do, until when, and whether they have. Times are steady."""

from __future__ import annotations

import secrets
from enum import StrEnum

from sqlalchemy import Connection, func, insert, select, update

from logger.store import channels
from logger.store.alarms import same_alarm
from logger.store.database import table
from logger.store.rows import MessageLinkRow, columns, first_row
from logger.store.tables import AckLink

LINK = table(AckLink)


class Purpose(StrEnum):
    """What a link does when its button is pressed."""

    ACKNOWLEDGE = "acknowledge"
    CONFIRM = "confirm"  #: a test message has arrived
    LOOK = "look"  #: what a look at the form found
    PHONE = "phone"  #: the phone that opened it is set up


def make_link(
    tx: Connection, purpose: Purpose, to: str, alarm_id: int | None, now_ms: int, life_ms: int
) -> str:
    """Record a new link and return its random token.

    `to` is the group that the message goes to; `alarm_id` one activation.
    """
    token = secrets.token_urlsafe(16)
    values = {
        "token": token,
        "purpose": purpose,
        "to": to,
        "alarm_id": alarm_id,
        "made_ms": now_ms,
        "expires_ms": now_ms + life_ms,
    }
    tx.execute(insert(LINK).values(**values))
    return token


def find_link(connection: Connection, token: str) -> MessageLinkRow | None:
    """Return the link with that token, or None."""
    query = select(*columns(LINK, MessageLinkRow)).where(LINK.c.token == token)
    return first_row(connection, query, MessageLinkRow)


def use_link(tx: Connection, token: str, now_ms: int) -> bool:
    """Use a link up; False when it was used, revoked or has expired."""
    result = tx.execute(
        update(LINK)
        .where(LINK.c.token == token, LINK.c.used_ms.is_(None), LINK.c.revoked_ms.is_(None))
        .where(LINK.c.expires_ms > now_ms)
        .values(used_ms=now_ms)
    )
    return result.rowcount == 1


def revoke_links(tx: Connection, alarm_id: int, now_ms: int) -> None:
    """End the links about an alarm, of any activation, that nobody has used."""
    tx.execute(
        update(LINK)
        .where(LINK.c.alarm_id.in_(same_alarm(alarm_id)))
        .where(LINK.c.used_ms.is_(None), LINK.c.revoked_ms.is_(None))
        .values(revoked_ms=now_ms)
    )


def last_confirmed_ms(connection: Connection) -> int | None:
    """When somebody last confirmed that a test message had arrived, on the steady timeline; None: never."""
    value = connection.execute(
        select(func.max(LINK.c.used_ms)).where(LINK.c.purpose == Purpose.CONFIRM)
    ).scalar()
    times = [at for at in (value, channels.last_confirmed_ms(connection)) if at is not None]
    return int(max(times)) if times else None
