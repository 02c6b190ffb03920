"""Links that show something without a sign-in: board or wall view on a screen, a record to its client, the public card
that a table's label opens. Revocable.
"""

from __future__ import annotations

import secrets
from enum import StrEnum

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
#: A record's link holds this long; a screen's and a card's until it is ended.
RECORD_MS = 365 * DAY_MS
#: How often it is noted that a screen goes by its link, ms.
SEEN_EVERY_MS = 60_000


class LinkKind(StrEnum):
    """What a link shows."""

    RECORD = "record"  #: one pour's record
    SCREEN = "screen"  #: the board and its alarms
    WALL = "wall"  #: the wall view, without a way to anything else
    CARD = "card"  #: what a pour's label promises, for anybody


def share(
    tx: Connection,
    pour_id: int | None,
    label: str,
    by: str,
    now_ms: int,
    kind: LinkKind | None = None,
    *,
    clients: bool = False,
) -> tuple[int, str]:
    """Record a new link and return (id, token of 256 random bits, shown once and kept as a hash). Raises NotFound.

    kind: None: the record of a pour, or the board where no pour is named. clients: whether the wall view names them.
    """
    if pour_id is not None:
        get_pour(tx, pour_id)
    token = secrets.token_urlsafe(32)
    values = {
        "pour_id": pour_id,
        "kind": kind or (LinkKind.SCREEN if pour_id is None else LinkKind.RECORD),
        "clients": clients,
        "label": label,
        "token_hash": token_hash(token),
        "by": by,
        "made_ms": now_ms,
        "expires_ms": None if pour_id is None else now_ms + RECORD_MS,
    }
    return int(tx.execute(insert(LINK).values(**values).returning(LINK.c.id)).scalar_one()), token


def by_token(connection: Connection, token: str, now_ms: int, *kinds: LinkKind) -> SharedLinkRow | None:
    """Return the link that a token opens, or None: unknown, ended, run out, or of no kind that was asked for."""
    holds = (LINK.c.ended_ms.is_(None), or_(LINK.c.expires_ms.is_(None), LINK.c.expires_ms > now_ms))
    asked = (LINK.c.token_hash == token_hash(token), LINK.c.kind.in_(kinds))
    return first_row(connection, _LINKS.where(*asked, *holds), SharedLinkRow)


def holding(connection: Connection, now_ms: int) -> list[SharedLinkRow]:
    """Every link that holds, oldest first."""
    holds = (LINK.c.ended_ms.is_(None), or_(LINK.c.expires_ms.is_(None), LINK.c.expires_ms > now_ms))
    return all_rows(connection, _LINKS.where(*holds).order_by(LINK.c.id), SharedLinkRow)


def publish_card(tx: Connection, pour_id: int, title: str, by: str, now_ms: int) -> str:
    """Make a pour's public card, under that title, and return its token.

    A pour has one code for good: one that was ended opens again, and a label that is glued on already works. Raises
    NotFound.
    """
    get_pour(tx, pour_id)
    mine = (LINK.c.pour_id == pour_id, LINK.c.kind == LinkKind.CARD)
    values = {"label": title, "by": by, "made_ms": now_ms, "ended_ms": None}
    kept = tx.execute(update(LINK).where(*mine).values(**values).returning(LINK.c.token)).scalar()
    if kept is not None:
        return str(kept)
    token = secrets.token_urlsafe(16)
    values |= {"kind": LinkKind.CARD, "pour_id": pour_id, "token": token, "token_hash": token_hash(token)}
    tx.execute(insert(LINK).values(**values))
    return token


def card_of(connection: Connection, pour_id: int) -> SharedLinkRow | None:
    """Return a pour's public card; None: it has none, or it was ended."""
    query = _LINKS.where(LINK.c.pour_id == pour_id, LINK.c.kind == LinkKind.CARD, LINK.c.ended_ms.is_(None))
    return first_row(connection, query, SharedLinkRow)


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
    """Note that a link was opened, or that a screen still goes by it."""
    tx.execute(update(LINK).where(LINK.c.id == link_id).values(seen_ms=now_ms))
