"""Links that show something without a sign-in: the board on a wall screen, a record to its client. Revocable."""

from __future__ import annotations

import secrets

from sqlalchemy import Connection, insert, or_, select, update

from logger.errors import NotFound
from logger.facts import fact
from logger.store.database import table
from logger.store.pours import get_pour
from logger.store.rows import SharedLinkRow, all_rows, columns, first_row
from logger.store.stations import token_hash
from logger.store.tables import SharedLink
from logger.units import DAY_MS

LINK = table(SharedLink)
_LINKS = select(*columns(LINK, SharedLinkRow))
#: A record's link holds this long; a wall screen's until it is ended.
RECORD_MS = 365 * DAY_MS


def share(tx: Connection, pour_id: int | None, label: str, by: str, now_ms: int) -> tuple[int, str]:
    """Record a new link and return (id, token of 256 random bits, shown once and kept as a hash). Raises NotFound."""
    if pour_id is not None:
        get_pour(tx, pour_id)
    token = secrets.token_urlsafe(32)
    values = {
        "pour_id": pour_id,
        "label": label,
        "token_hash": token_hash(token),
        "by": by,
        "made_ms": now_ms,
        "expires_ms": None if pour_id is None else now_ms + RECORD_MS,
    }
    return int(tx.execute(insert(LINK).values(**values).returning(LINK.c.id)).scalar_one()), token


def by_token(connection: Connection, token: str, now_ms: int) -> SharedLinkRow | None:
    """Return the link that a token opens, or None: unknown, ended or run out."""
    holds = (LINK.c.ended_ms.is_(None), or_(LINK.c.expires_ms.is_(None), LINK.c.expires_ms > now_ms))
    return first_row(connection, _LINKS.where(LINK.c.token_hash == token_hash(token), *holds), SharedLinkRow)


def holding(connection: Connection, now_ms: int) -> list[SharedLinkRow]:
    """Every link that holds, oldest first."""
    holds = (LINK.c.ended_ms.is_(None), or_(LINK.c.expires_ms.is_(None), LINK.c.expires_ms > now_ms))
    return all_rows(connection, _LINKS.where(*holds).order_by(LINK.c.id), SharedLinkRow)


def end(tx: Connection, link_id: int, now_ms: int) -> SharedLinkRow:
    """End a link at once, wherever it was passed on to; gives it. Raises NotFound."""
    ended = tx.execute(
        update(LINK)
        .where(LINK.c.id == link_id, LINK.c.ended_ms.is_(None))
        .values(ended_ms=now_ms)
        .returning(*columns(LINK, SharedLinkRow))
    ).first()
    if ended is None:
        raise NotFound(fact("no-link", link=link_id))
    return SharedLinkRow(*ended)


def note_use(tx: Connection, link_id: int, now_ms: int) -> None:
    """Note that a link was opened."""
    tx.execute(update(LINK).where(LINK.c.id == link_id).values(seen_ms=now_ms))
