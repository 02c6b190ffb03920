"""What operators ask of the database: counts that cost the same however much is stored."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, exists, func, or_, select

from logger.alarms.state import Phase
from logger.pour import LIVE
from logger.store import lease, outbox
from logger.store.alarms import ALARM, OURS
from logger.store.boots import BOOT
from logger.store.pours import POUR
from logger.store.stations import PROBE, STATION


@dataclass(frozen=True, slots=True)
class OperatingState:
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


def operating(connection: Connection, silent_before_ms: int) -> OperatingState:
    """As it is now. A station last heard before that (true) time is silent; one never heard or withdrawn is not."""
    enrolled = STATION.c.revoked_ms.is_(None)
    counted = select(func.count()).select_from(STATION).where(enrolled)
    raised = (
        select(ALARM.c.priority, func.count())
        .where(ALARM.c.phase == Phase.RAISED, OURS)
        .group_by(ALARM.c.priority)
    )
    held = lease.holding(connection)
    return OperatingState(
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


#: Alarms that say that nothing comes from a pour's probes.
_NOTHING_COMES = ("station-silent", "probe-lost", "core-unwatched")


def unheard_pours(connection: Connection, before_ms: int) -> list[int]:
    """Live pours none of whose station's probes has read since that (true) time, and that nobody has taken in hand."""
    newest = func.max(PROBE.c.last_good_ms)
    in_hand = exists().where(
        ALARM.c.pour_id == POUR.c.id,
        ALARM.c.kind.in_(_NOTHING_COMES),
        or_(ALARM.c.phase == Phase.ACKNOWLEDGED, (ALARM.c.phase == Phase.RAISED) & ALARM.c.quiet),
    )
    query = (
        select(POUR.c.id)
        .join(BOOT, BOOT.c.id == POUR.c.poured_boot_id)
        .join(PROBE, PROBE.c.station_id == POUR.c.station_id, isouter=True)
        .where(POUR.c.stage.in_(LIVE), POUR.c.poured_boot_ms + BOOT.c.offset_ms < before_ms, ~in_hand)
        .group_by(POUR.c.id)
        .having(or_(newest.is_(None), newest < before_ms))
    )
    return list(connection.execute(query.order_by(POUR.c.id)).scalars())
