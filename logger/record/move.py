"""Moves everything from the Pi's own database into an empty one on a server: row by row, then every pour proven there.

All or nothing: the move is committed only when each table has as many rows, each pour the same last links, and each
record the same verdict as before. Meanwhile nobody writes into the old database.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, Table, func, insert, select
from sqlmodel import SQLModel

from logger.errors import NotAllowed, StoreError
from logger.facts import fact
from logger.record.verify import verify
from logger.store import partitions
from logger.store.database import Store
from logger.store.dialect import insert_many, on_postgres
from logger.store.pours import POUR, WHOLE
from logger.store.reading_batches import READING

#: Rows put in with one statement.
MANY = 5000
#: Tables that a database has of its own: who decides there, and its first shop.
OWN = ("lease", "shop")


@dataclass(frozen=True, slots=True)
class Moved:
    """What has moved. `rows`: table → rows; `broken`: pours whose record did not stand before, and does not now."""

    rows: dict[str, int]
    pours: int
    broken: dict[int, str]


def move(source: Store, target: Store) -> Moved:
    """Move all rows. Raises NotAllowed when the target is not an empty server, StoreError when it does not verify."""
    if not source.is_sqlite or target.is_sqlite:
        raise NotAllowed(fact("move-needs-server"))
    # The write lock: no reading comes in behind the copy.
    with source.write() as old, target.write() as new:
        tables = [table for table in SQLModel.metadata.sorted_tables if table.name not in OWN]
        full = [
            table.name
            for table in tables
            if new.execute(select(func.count()).select_from(table)).scalar_one()
        ]
        if full:
            raise NotAllowed(fact("server-not-empty", tables=", ".join(full)))
        rows = {table.name: _copy(old, new, table) for table in tables}
        for table in tables:
            there = int(new.execute(select(func.count()).select_from(table)).scalar_one())
            if there != rows[table.name]:
                raise StoreError(
                    fact("move-rows-differ", table=table.name, read=rows[table.name], there=int(there))
                )
        broken = _prove(old, new)
        return Moved(rows, rows[POUR.name], broken)


def _copy(old: Connection, new: Connection, table: Table) -> int:
    if table is READING:
        _months(old, new)
    count = 0
    for many in _in_order(old, table):
        if table is READING:
            insert_many(new, table, many)
        else:
            new.execute(insert(table), many)
        count += len(many)
    if on_postgres(new) and "id" in table.c:
        # What comes next gets the next number.
        new.exec_driver_sql(
            f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), coalesce(max(id), 0) + 1, false) "  # noqa: S608
            f'FROM "{table.name}"'
        )
    return count


def _in_order(old: Connection, table: Table) -> Iterator[list[dict[str, object]]]:
    key = next(iter(table.primary_key.columns))
    last: object = None
    while True:
        query = select(table).order_by(key).limit(MANY)
        rows = old.execute(query if last is None else query.where(key > last)).mappings().all()
        if not rows:
            return
        yield [dict(row) for row in rows]
        last = rows[-1][key.name]


def _months(old: Connection, new: Connection) -> None:
    """Make a table for each month in which readings came."""
    first, last = old.execute(select(func.min(READING.c.received_ms), func.max(READING.c.received_ms))).one()
    if first is None:
        return
    month, end = partitions.month_of(first), partitions.month_of(last)
    there = partitions.months(new)
    while (month.year, month.month) <= (end.year, end.month):
        if month not in there:
            partitions.make(new, month)
        month = month.next


def _prove(old: Connection, new: Connection) -> dict[int, str]:
    broken = {}
    for pour in old.execute(
        select(POUR.c.id, POUR.c.reading_head, POUR.c.event_head).where(WHOLE).order_by(POUR.c.id)
    ).all():
        heads = new.execute(select(POUR.c.reading_head, POUR.c.event_head).where(POUR.c.id == pour.id)).one()
        before, after = verify(old, pour.id), verify(new, pour.id)
        if tuple(heads) != (pour.reading_head, pour.event_head) or (before.ok, before.sentence) != (
            after.ok,
            after.sentence,
        ):
            raise StoreError(fact("move-pour-differs", pour=pour.id, verdict=after.sentence))
        if not before.ok:
            broken[pour.id] = before.sentence
    return broken
