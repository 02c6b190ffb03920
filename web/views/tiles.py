"""The live pours as tiles, trouble first: for the board and the wall view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log

from sqlalchemy import Connection

from logger.condition.condition_words import STAGE_WORDS
from logger.pour import LIVE, Stage
from logger.store import pours
from logger.store.rows import PourWithPrediction
from logger.units import HOUR_MS
from web.service.service import Service
from web.views.at_a_glance import Glance, glance_of
from web.views.status import Status, status_of, urgency

#: Columns that a wide screen has at most.
MOST_COLUMNS = 5
#: Breadth over height of a screen, and of the tile that shows a pour best (project choices).
SCREEN, BEST = 16 / 9, 1.2
#: So many tiles lie beside one another as equals, whatever their state; of so many, one in trouble has half the screen.
EQUALS, LED = 2, 4
#: On a wall, up to so many tiles beside the gravest: columns that their words still fit into, at 24 px on a screen of
#: 1920 px.
WALL_COLUMNS = ((3, 1), (6, 2), (12, 3))


@dataclass(frozen=True, slots=True)
class Room:
    """How tiles share a wide screen. name: "columns-4", or "led": the first has a column to itself; spans: of each."""

    name: str
    spans: tuple[str, ...]


def room_for(grave: Sequence[bool]) -> Room:
    """Return how tiles share a wide screen, those in trouble first and larger, so that it is filled. Pure."""
    count, many = len(grave), sum(grave)
    if not count:
        return Room("columns-1", ())
    if EQUALS < count <= LED and many == 1:
        return Room("led", (f"rows-{count - 1}", *[""] * (count - 1)))
    big = "" if count <= LED or many == count else "2x2" if many <= EQUALS else "2x1"
    cells = {"": 1, "2x1": 2, "2x2": 4}[big]
    taken = many * cells + count - many

    def cost(columns: int) -> float:
        """How much of the screen stays empty, and how far its cells are from the best shape."""
        rows = ceil(taken / columns)
        return (rows * columns - taken) / taken + abs(log(SCREEN / columns * rows / BEST))

    columns = min(range(2 if cells > 1 else 1, MOST_COLUMNS + 1), key=cost)
    spans = [big if one else "" for one in grave]
    empty = -taken % columns
    if empty and not spans[-1]:
        spans[-1] = f"wide-{1 + empty}"
    return Room(f"columns-{columns}", tuple(spans))


def wall_room_for(count: int) -> Room:
    """Return how tiles share a wall's screen: the gravest has a column to itself, the others columns and rows. Pure."""
    others = count - 1
    if others < 1:
        return Room("wall-alone", ("",) * count)
    columns = next(columns for most, columns in WALL_COLUMNS if others <= most)
    rows = ceil(others / columns)
    empty = rows * columns - others
    last = f"wide-{1 + empty}" if empty else ""
    return Room(f"wall-{columns}x{rows}", (*[""] * others, last))


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
