"""The live pours as tiles, trouble first: for the board and the wall view."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logger.condition.condition_words import STAGE_WORDS
from logger.pour import LIVE, Stage
from logger.store import pours
from logger.store.rows import PourWithPrediction
from logger.units import HOUR_MS
from web.service.service import Service
from web.views.at_a_glance import Glance, glance_of
from web.views.status import Status, status_of, urgency


@dataclass(frozen=True, slots=True)
class Tile:
    """One live pour. hour: since pouring."""

    pour: PourWithPrediction
    standing: Status
    glance: Glance
    stage: str
    limit_c: float | None
    hour: float

    @property
    def grave(self) -> bool:
        """Whether somebody is to go there now."""
        return self.standing.tone in ("stop", "lost")


def live_tiles(service: Service, connection: Connection, now_ms: int) -> list[Tile]:
    """Return every pour that is watched, the gravest first, and of these what nobody is on yet."""
    tiles = [_tile(service, connection, pour, now_ms) for pour in pours.predicted_pours(connection, LIVE)]
    return sorted(tiles, key=lambda tile: (urgency(tile.standing), -tile.pour.id))


def _tile(service: Service, connection: Connection, pour: PourWithPrediction, now_ms: int) -> Tile:
    standing = status_of(service, connection, pour, now_ms)
    return Tile(
        pour=pour,
        standing=standing,
        glance=glance_of(service, connection, pour, standing, now_ms),
        stage=STAGE_WORDS[Stage(pour.stage)],
        limit_c=standing.condition.limit_c,
        hour=(now_ms - pour.started_ms) / HOUR_MS,
    )
