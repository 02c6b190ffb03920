"""The workshop's logo: one picture, or none. Kept in the database, so that every backup has it."""

from __future__ import annotations

from sqlalchemy import Connection, delete, insert, select

from logger.store.database import table
from logger.store.shops import FIRST
from logger.store.tables import Logo

LOGO = table(Logo)


def logo_of(connection: Connection, shop_id: int = FIRST) -> bytes | None:
    """Return a shop's logo (PNG); None: it has none."""
    return connection.execute(select(LOGO.c.png).where(LOGO.c.shop_id == shop_id)).scalar()


def keep_logo(tx: Connection, png: bytes, by: str, now_ms: int, shop_id: int = FIRST) -> None:
    """Keep a picture as the shop's logo, in the place of the one before."""
    drop_logo(tx, shop_id)
    tx.execute(insert(LOGO).values(png=png, by=by, at_ms=now_ms, shop_id=shop_id))


def drop_logo(tx: Connection, shop_id: int = FIRST) -> None:
    """Show no logo any more."""
    tx.execute(delete(LOGO).where(LOGO.c.shop_id == shop_id))
