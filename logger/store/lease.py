"""Who decides: one row that one service process holds, and renews. Whoever takes it over gets a higher fence.

Time is the database server's, so that no process's clock matters. A process that was paused and comes back finds a
higher fence than its own, and nothing that it decided before is written.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, insert, select, update

from logger.errors import LoggerError
from logger.facts import cut, fact
from logger.store.database import table
from logger.store.dialect import server_ms
from logger.store.rows import LeaseRow, columns, first_row
from logger.store.tables import Lease

LEASE = table(Lease)
#: The one lease there is: alarms, forecasts, messages and upkeep are decided by the same process.
DECIDES = "decides"

#: A lease that nobody has taken over this long after it ran out is trouble, ms.
TAKEN_OVER_MS = 10_000


class LostLease(LoggerError):
    """Another process decides now; what this one was about to write is not written."""


def hold(
    tx: Connection, holder: str, for_ms: int, *, judged_ms: int | None = None, trouble: str | None = None
) -> int | None:
    """Take or renews the lease for some time. Gives the fence, or None while another holds it.

    `judged_ms` and `trouble`: what the holder says of its watch.
    """
    now_ms = server_ms(tx)
    row = tx.execute(select(LEASE).where(LEASE.c.name == DECIDES).with_for_update()).first()
    values: dict[str, Any] = {
        "holder": holder,
        "until_ms": now_ms + for_ms,
        "judged_ms": judged_ms,
        "trouble": None if trouble is None else cut(trouble, 1000),
    }
    if row is None:
        tx.execute(insert(LEASE).values(name=DECIDES, fence=1, **values))
        return 1
    fence = int(row.fence)
    if row.holder != holder:
        if now_ms < row.until_ms:
            return None
        fence += 1
        values["judged_ms"] = row.judged_ms if judged_ms is None else judged_ms
    tx.execute(update(LEASE).where(LEASE.c.name == DECIDES).values(fence=fence, **values))
    return fence


def give_up(tx: Connection, holder: str) -> None:
    """Let another process decide at once."""
    tx.execute(
        update(LEASE)
        .where(LEASE.c.name == DECIDES, LEASE.c.holder == holder)
        .values(until_ms=0, trouble=None)
    )


def check(tx: Connection, holder: str, fence: int) -> None:
    """Raise LostLease unless this process still decides; until the transaction ends nobody else can take over."""
    # Shared: the lease cannot change hands before what is decided here is committed.
    row = tx.execute(select(LEASE).where(LEASE.c.name == DECIDES).with_for_update(read=True)).first()
    if row is None or (row.holder, row.fence) != (holder, fence):
        raise LostLease(fact("another-process-decides"))


def holding(connection: Connection) -> LeaseRow | None:
    """Return the lease as it is, or None before there was one."""
    return first_row(connection, select(*columns(LEASE, LeaseRow)).where(LEASE.c.name == DECIDES), LeaseRow)


def trouble_of(connection: Connection) -> str | None:
    """Return what keeps the watch of whichever process decides from judging; None while all is well."""
    lease = holding(connection)
    if lease is None or lease.until_ms + TAKEN_OVER_MS < server_ms(connection):
        return fact("no-process-decides")
    return None if lease.trouble is None else str(lease.trouble)
