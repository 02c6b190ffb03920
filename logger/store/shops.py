"""Shops on one service: each sees its own pours, stations and people. On PostgreSQL alone.

Enforced in one place: a transaction that is begun while `sees` names a shop says so to the server, whose row security
(migration 0009) hides every other shop's rows from whatever is asked in it, and puts new rows under that shop. What
the service does by itself (the watch, stations' batches, messages) names no shop and sees all.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Row, insert, select, text

from logger.errors import NotAllowed, NotFound
from logger.facts import fact
from logger.store.database import SEES, Store, table
from logger.store.tables import Shop

SHOP = table(Shop)
#: The shop of a service that has only one.
FIRST = 1


@contextmanager
def sees(shop_id: int | None) -> Iterator[None]:
    """Yield what is begun in this block is one shop's, or everybody's (None)."""
    before = SEES.set(shop_id)
    try:
        yield
    finally:
        SEES.reset(before)


def all_shops(connection: Connection) -> list[Row[tuple[int, str]]]:
    """(id, name) of every shop, the first first."""
    return list(connection.execute(select(SHOP.c.id, SHOP.c.name).order_by(SHOP.c.id)))


def add_shop(store: Store, name: str, now_ms: int) -> int:
    """Add and return a shop. Raises NotAllowed where shops cannot be kept apart, or when the name is taken."""
    if store.is_sqlite:
        raise NotAllowed(fact("shops-need-postgresql"))
    with store.write() as tx:
        user = tx.exec_driver_sql(
            "SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user"
        )
        if user.scalar_one():
            raise NotAllowed(fact("database-user-is-superuser"))
        if tx.execute(select(SHOP.c.id).where(SHOP.c.name == name)).first():
            raise NotAllowed(fact("shop-there-already", name=name))
        inserted = tx.execute(insert(SHOP).values(name=name, created_ms=now_ms).returning(SHOP.c.id))
        return int(inserted.scalar_one())


def shop_called(store: Store, name: str) -> int:
    """Return the shop of that name. Raises NotFound with those that there are."""
    with store.read() as connection:
        shops = {str(row.name): int(row.id) for row in all_shops(connection)}
    if name not in shops:
        raise NotFound(fact("no-such-shop", name=name, shops=", ".join(shops)))
    return shops[name]


def shop_of_pour(connection: Connection, pour_id: int) -> int:
    """Whose pour it is. Raises NotFound."""
    value = connection.execute(text("SELECT shop_id FROM pour WHERE id = :id"), {"id": pour_id}).scalar()
    if value is None:
        raise NotFound(fact("no-pour", pour=pour_id))
    return int(value)
