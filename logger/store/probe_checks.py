"""What is kept of probes: their last readings, their faults, and the checks that somebody made."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, func, select

from logger.errors import NotFound
from logger.facts import fact
from logger.pour import LIVE
from logger.probe_checks.chip_reading import CheckReading, chip_celsius
from logger.store.boots import BOOT
from logger.store.events import EVENT, EVENTS, add_event
from logger.store.pours import POUR
from logger.store.readings import READING
from logger.store.rows import EventRow, ProbeRow, all_rows, first_row
from logger.store.stations import PROBE, PROBES

#: Kinds of events that are checks of a probe: in ice water, dipped, warmed in the hand.
ICE, DIP, HAND = "ice-point", "dip-test", "hand-check"
CHECKS = (ICE, DIP, HAND)
#: Pages look back over so many of the newest readings of all stations: a bounded piece of a table that only grows.
RECENT_ROWS, HISTORY_ROWS = 20_000, 300_000


@dataclass(frozen=True, slots=True)
class Faults:
    """Of the newest readings (`since_ms` on): a probe's reads, its faults by word, and its faults by day (UTC)."""

    since_ms: int | None
    reads: int
    by_word: dict[str, int]
    by_day: dict[int, int]


def probe(connection: Connection, station_id: int, rom: str) -> ProbeRow:
    """Return a probe as its station reported it. Raises NotFound."""
    query = PROBES.where(PROBE.c.station_id == station_id, PROBE.c.rom == rom)
    row = first_row(connection, query, ProbeRow)
    if row is None:
        raise NotFound(fact("no-probe-reported", rom=rom))
    return row


def looks(connection: Connection, station_id: int, rom: str, since_ms: int) -> list[CheckReading]:
    """Return what the chip itself measured since then, oldest first, seconds on the true timeline."""
    readings = []
    for row in recent(connection, station_id, rom, since_ms):
        celsius = chip_celsius(row.raw)
        # Other sensors have no bytes of their own to go back to.
        if celsius is None and row.milli_c is not None:
            celsius = row.milli_c / 1000
        if celsius is not None and row.fault is None:
            readings.append(CheckReading(row.at_ms / 1000, celsius))
    return readings


def recent(connection: Connection, station_id: int, rom: str, since_ms: int) -> list[Row[Any]]:
    """Return a probe's newest readings: at_ms, milli_c, fault, raw, milli_rh; oldest first."""
    at_ms = (READING.c.boot_ms + BOOT.c.offset_ms).label("at_ms")
    query = (
        select(at_ms, READING.c.milli_c, READING.c.fault, READING.c.raw, READING.c.milli_rh)
        .join(BOOT, BOOT.c.id == READING.c.boot)
        .where(
            READING.c.id > _newest(connection) - RECENT_ROWS,
            READING.c.station_id == station_id,
            READING.c.probe == rom,
            READING.c.boot_ms + BOOT.c.offset_ms >= since_ms,
        )
    )
    return list(connection.execute(query.order_by("at_ms", READING.c.id)))


def faults(connection: Connection, station_id: int, rom: str) -> Faults:
    """Return a probe's faults in the newest readings of all stations."""
    oldest = _newest(connection) - HISTORY_ROWS
    mine = (READING.c.id > oldest, READING.c.station_id == station_id, READING.c.probe == rom)
    at_ms = READING.c.boot_ms + BOOT.c.offset_ms
    reads, since_ms = connection.execute(
        select(func.count(), func.min(at_ms)).join(BOOT, BOOT.c.id == READING.c.boot).where(*mine)
    ).one()
    by_word: Counter[str] = Counter()
    by_day: Counter[int] = Counter()
    rows = connection.execute(
        select(READING.c.fault, at_ms.label("at_ms"))
        .join(BOOT, BOOT.c.id == READING.c.boot)
        .where(*mine, READING.c.fault.is_not(None))
    )
    for row in rows:
        by_word[row.fault] += 1
        by_day[row.at_ms // 86_400_000] += 1
    return Faults(since_ms, int(reads), dict(by_word.most_common()), dict(sorted(by_day.items())))


def checks(connection: Connection, rom: str) -> list[EventRow]:
    """Every check of a probe, newest first, at whichever station it hung: its number is its own."""
    query = EVENTS.where(EVENT.c.pour_id.is_(None), EVENT.c.kind.in_(CHECKS)).order_by(EVENT.c.id.desc())
    return [row for row in all_rows(connection, query, EventRow) if row.facts.get("rom") == rom]


def newest_of(rows: Sequence[EventRow], kind: str) -> EventRow | None:
    """Return the newest check of one kind, of rows that come newest first."""
    return next((row for row in rows if row.kind == kind), None)


def note_check(tx: Connection, now_ms: int, kind: str, by: str, text: str, data: dict[str, Any]) -> None:
    """Keep a check, with its person and date."""
    add_event(tx, None, now_ms, kind, by, text, data)


def in_live_pour(connection: Connection, station_id: int) -> str | None:
    """Return the title of a pour that this station watches now; None when it watches none."""
    title: str | None = connection.execute(
        select(POUR.c.title).where(POUR.c.station_id == station_id, POUR.c.stage.in_(LIVE)).limit(1)
    ).scalar()
    return title


def _newest(connection: Connection) -> int:
    return int(connection.execute(select(func.max(READING.c.id))).scalar() or 0)
