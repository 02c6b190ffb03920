"""Months of readings on PostgreSQL: one table a month of the time at which rows came, made ahead, dropped when old.

SQLite keeps all readings in one table. Months are UTC's. What comes in a month that has no table yet is kept in
`reading_other`, and moved when its table is made.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import Connection

from logger.errors import NotAllowed, NotFound
from logger.facts import fact, some_of
from logger.pour import Stage
from logger.store.dialect import on_postgres


@dataclass(frozen=True, slots=True)
class Month:
    """One month's table."""

    year: int
    month: int

    @property
    def table(self) -> str:
        """Its name."""
        return f"reading_{self.year:04d}_{self.month:02d}"

    @property
    def from_ms(self) -> int:
        """Its beginning."""
        return round(datetime(self.year, self.month, 1, tzinfo=UTC).timestamp() * 1000)

    @property
    def next(self) -> Month:
        """The one after it."""
        return Month(self.year + self.month // 12, self.month % 12 + 1)

    def __str__(self) -> str:
        """As people write it."""
        return f"{self.year:04d}-{self.month:02d}"


def month_of(at_ms: int) -> Month:
    """Return the month of a time, UTC."""
    at = datetime.fromtimestamp(at_ms / 1000, UTC)
    return Month(at.year, at.month)


def keep_ahead(tx: Connection, now_ms: int) -> list[Month]:
    """Make the tables of this month and the next where they are missing; gives those made."""
    if not on_postgres(tx):
        return []
    this = month_of(now_ms)
    there = {str(month) for month in months(tx)}
    missing = [month for month in (this, this.next) if str(month) not in there]
    for month in missing:
        make(tx, month)
    return missing


def make(tx: Connection, month: Month) -> None:
    """Make a month's table, and move into it what has come of that month before."""
    between = f"received_ms >= {month.from_ms} AND received_ms < {month.next.from_ms}"
    name = month.table
    for statement in (
        f"CREATE TABLE {name} (LIKE reading INCLUDING DEFAULTS INCLUDING CONSTRAINTS)",
        f"WITH moved AS (DELETE FROM reading_other WHERE {between} RETURNING *) "  # noqa: S608 - names of our own
        f"INSERT INTO {name} SELECT * FROM moved",
        f"ALTER TABLE reading ATTACH PARTITION {name} FOR VALUES FROM ({month.from_ms}) TO ({month.next.from_ms})",
    ):
        tx.exec_driver_sql(statement)


def months(connection: Connection) -> list[Month]:
    """Every month that has a table, the oldest first."""
    if not on_postgres(connection):
        return []
    names = connection.exec_driver_sql(
        "SELECT c.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid "
        "WHERE i.inhparent = 'reading'::regclass AND c.relname ~ '^reading_[0-9]{4}_[0-9]{2}$' ORDER BY 1"
    )
    return [Month(int(name[8:12]), int(name[13:15])) for name in names.scalars()]


def drop(tx: Connection, month: Month, *, also_sealed: bool = False) -> tuple[int, list[int]]:
    """Drop a month of readings at once. Gives how many, and the sealed pours that lose theirs.

    Raises NotFound, and NotAllowed when a pour that is not sealed has readings in it, or a sealed one has and
    `also_sealed` does not say that they may go: its record and seal stay, but its single readings prove nothing more.
    """
    if month not in months(tx):
        raise NotFound(fact("no-readings-of-month", month=str(month)))
    counted = tx.exec_driver_sql(f"SELECT count(*) FROM {month.table}").scalar_one()  # noqa: S608 - a name of our own
    pours = tx.exec_driver_sql(
        f"SELECT DISTINCT p.id, p.stage FROM {month.table} r JOIN pour p ON p.id = r.pour_id ORDER BY 1"  # noqa: S608
    ).all()
    unsealed = [row.id for row in pours if row.stage != Stage.CLOSED]
    if unsealed:
        raise NotAllowed(fact("month-has-unsealed-pours", month=str(month), pours=_some(unsealed)))
    sealed = [row.id for row in pours]
    if sealed and not also_sealed:
        raise NotAllowed(fact("month-has-sealed-pours", month=str(month), pours=_some(sealed)))
    tx.exec_driver_sql(f"DROP TABLE {month.table}")
    return int(counted), sealed


def _some(pours: list[int]) -> str:
    return some_of([str(pour) for pour in pours], 10)
