"""What goes on at stations, for the answer to a batch: the fan, the stages of live pours, the loudest alarm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import BindParameter, Connection, bindparam, literal_column, select, union_all

from logger.alarms.kind import urgency
from logger.alarms.state import Phase
from logger.pour import LIVE
from logger.store.alarms import ALARM
from logger.store.pours import POUR
from logger.store.stations import STATION


@dataclass(slots=True)
class AtStation:
    """What goes on at one station."""

    #: Whether its fan is commanded on.
    fan_on: bool = False
    #: Stages of the station's live pours.
    stages: tuple[str, ...] = ()
    #: The highest priority that nobody has acknowledged or silenced among the station's pours, or None.
    urgent: str | None = None


_IDS: BindParameter[Any] = bindparam("stations", expanding=True)
# With every batch: one statement, built once.
_GOING_ON = union_all(
    select(
        STATION.c.id.label("station"),
        literal_column("'fan'").label("what"),
        literal_column("''").label("value"),
    ).where(STATION.c.id.in_(_IDS), STATION.c.fan_on),
    select(POUR.c.station_id, literal_column("'stage'"), POUR.c.stage).where(
        POUR.c.station_id.in_(_IDS), POUR.c.stage.in_(LIVE)
    ),
    select(POUR.c.station_id, literal_column("'alarm'"), ALARM.c.priority)
    .join(POUR, POUR.c.id == ALARM.c.pour_id)
    .where(ALARM.c.phase == Phase.RAISED, ALARM.c.quiet.is_(False), POUR.c.station_id.in_(_IDS)),
)


def at_stations(connection: Connection, station_ids: Sequence[int]) -> dict[int, AtStation]:
    """Station → what goes on there, asked for all of them at once."""
    statuses = {station_id: AtStation() for station_id in station_ids}
    for station_id, what, value in connection.execute(_GOING_ON, {"stations": station_ids}):
        status = statuses[station_id]
        if what == "fan":
            status.fan_on = True
        elif what == "stage":
            status.stages += (value,)
        elif status.urgent is None or urgency(value) < urgency(status.urgent):
            status.urgent = value
    return statuses
