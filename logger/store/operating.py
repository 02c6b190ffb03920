"""What operators ask of the database: counts that cost the same however much is stored."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from logger.alarms.state import Phase
from logger.pour import LIVE
from logger.store import lease, outbox
from logger.store.alarms import ALARM
from logger.store.pours import POUR
from logger.store.stations import STATION


@dataclass(frozen=True, slots=True)
class Operating:
    """How the service stands, as far as the database knows."""

    stations: int
    silent: int
    live_pours: int
    raised: dict[str, int]
    waiting: int
    #: Since when the oldest message has waited that no channel has taken, steady ms; None: none waits.
    oldest_waiting_ms: int | None
    #: When the process that decides last judged every live pour, steady ms; None where there is only one process.
    judged_ms: int | None


def operating(connection: Connection, silent_before_ms: int) -> Operating:
    """As it is now. A station last heard before that (true) time is silent; one never heard or withdrawn is not."""
    enrolled = STATION.c.revoked_ms.is_(None)
    counted = select(func.count()).select_from(STATION).where(enrolled)
    raised = (
        select(ALARM.c.priority, func.count()).where(ALARM.c.phase == Phase.RAISED).group_by(ALARM.c.priority)
    )
    held = lease.holding(connection)
    return Operating(
        stations=int(connection.execute(counted).scalar_one()),
        silent=int(connection.execute(counted.where(STATION.c.last_seen_ms < silent_before_ms)).scalar_one()),
        live_pours=int(
            connection.execute(
                select(func.count()).select_from(POUR).where(POUR.c.stage.in_(LIVE))
            ).scalar_one()
        ),
        raised={"high": 0, "medium": 0, "low": 0}
        | {row[0]: int(row[1]) for row in connection.execute(raised)},
        waiting=outbox.how_many_wait(connection),
        oldest_waiting_ms=outbox.oldest_waiting_ms(connection),
        judged_ms=None if held is None else held.judged_ms,
    )
