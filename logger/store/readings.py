"""Readings and faults: saved in batches, each once, in the order of their sequence numbers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, Row, bindparam, func, insert, select, update

from hardware.clock import Stamp
from logger.errors import LoggerError
from logger.store.boots import BOOT, boot_row, offsets
from logger.store.chain import READING_FIELDS, link
from logger.store.database import table
from logger.store.events import add_event
from logger.store.pours import POUR, Window, windows
from logger.store.stations import PROBE, STATION, elsewhere
from logger.store.tables import ReadingRow

READING = table(ReadingRow)
#: A reading that reaches the service this long after it was taken was caught up: alarms on it say so.
LATE_MS = 120_000


class Conflict(LoggerError):
    """A station sent another content under a sequence number that is stored already."""


@dataclass(frozen=True, slots=True)
class Incoming:
    """One row of a batch."""

    seq: int
    probe: str
    place: str
    stamp: Stamp
    milli_c: int | None
    fault: str | None
    raw: str | None
    note: str | None
    milli_rh: int | None = None


@dataclass(frozen=True, slots=True)
class Saved:
    """What a batch came to."""

    acknowledged_seq: int
    stored: int
    repeated: int
    pours: frozenset[int]


def save_batch(
    tx: Connection,
    station: Row[Any],
    spool: str,
    sent: Stamp,
    rows: Sequence[Incoming],
    now_ms: int,
    *,
    clock_set: bool = True,
) -> Saved:
    """Stores the rows that are new, links them into their pours' chains, notes the station and its probes.

    `now_ms` is the service's best time of day, `clock_set` whether that rests on a clock that was set. Raises Conflict
    when a stored row came with other contents.
    """
    boots = _boots(tx, station.id, sent, rows, now_ms, clock_set=clock_set)
    of_boot = offsets(tx)
    stored_before = _stored(tx, station.id, spool, rows)
    fresh = [row for row in rows if row.seq not in stored_before]
    told_before = _told_by_another_spool(tx, spool, fresh, boots)
    belongs = windows(tx, station.id)
    new: list[dict[str, Any]] = []
    for row in rows:
        values = {
            "station_id": station.id,
            "spool": spool,
            "seq": row.seq,
            "probe": row.probe,
            "place": row.place,
            "boot": boots[row.stamp.boot_id],
            "boot_ms": row.stamp.boot_ms,
            "wall_ms": row.stamp.wall_ms,
            "clock_set": row.stamp.clock_set,
            "milli_c": row.milli_c,
            "fault": row.fault,
            "raw": row.raw,
            "note": row.note,
            "milli_rh": row.milli_rh,
            "received_ms": now_ms,
        }
        before = stored_before.get(row.seq)
        if before is not None:
            _same_or_conflict(before, values, station.name)
            continue
        if _moment(values) in told_before:
            continue
        at_ms = row.stamp.boot_ms + of_boot[values["boot"]]
        values["late"] = now_ms - at_ms > LATE_MS
        values["pour_id"] = next((w.pour_id for w in belongs if w.takes(row.probe, at_ms)), None)
        new.append(values)
    _chain(tx, belongs, new, {row_id: name for name, row_id in boots.items()})
    if new:
        tx.execute(insert(READING), new)
        _note_probes(tx, station.id, new, of_boot)
    tx.execute(
        update(STATION)
        .where(STATION.c.id == station.id)
        .values(last_seen_ms=now_ms, clock_set=sent.clock_set)
    )
    pours = frozenset(values["pour_id"] for values in new if values["pour_id"] is not None)
    return Saved(_acknowledged(tx, station.id, spool, rows), len(new), len(rows) - len(new), pours)


def after(connection: Connection, pour_id: int, reading_id: int, most: int = 5000) -> list[Row[Any]]:
    """A pour's readings that arrived after a given one, oldest arrival first, with `at_ms` (true time)."""
    return list(
        connection.execute(
            select(
                READING,
                (READING.c.boot_ms + BOOT.c.offset_ms).label("at_ms"),
                STATION.c.name.label("station_name"),
            )
            .join(BOOT, BOOT.c.id == READING.c.boot)
            .join(STATION, STATION.c.id == READING.c.station_id)
            .where(READING.c.pour_id == pour_id, READING.c.id > reading_id)
            .order_by(READING.c.id)
            .limit(most)
        )
    )


def points_after(connection: Connection, pour_id: int, reading_id: int) -> list[tuple[Any, ...]]:
    """What a chart needs of a pour's readings that arrived after a given one: id, boot, boot_ms, probe, place, milli_c.

    Plain tuples of the driver, few columns, no join: three days of six probes in half a second instead of two.
    """
    c = READING.c
    wanted = select(c.id, c.boot, c.boot_ms, c.probe, c.place, c.milli_c)
    found = connection.execute(wanted.where(c.pour_id == pour_id, c.id > reading_id).order_by(c.id))
    return list(found.cursor.fetchall()) if found.cursor is not None else []


def hottest_core(connection: Connection, pour_id: int, from_ms: int) -> Any:
    """A pour's hottest core reading from a moment on: at_ms and milli_c; None when there is none."""
    at_ms = READING.c.boot_ms + BOOT.c.offset_ms
    wanted = select(at_ms.label("at_ms"), READING.c.milli_c).join(BOOT, BOOT.c.id == READING.c.boot)
    wanted = wanted.where(READING.c.pour_id == pour_id, READING.c.place.startswith("core"), at_ms >= from_ms)
    hottest_first = wanted.where(READING.c.milli_c.is_not(None)).order_by(READING.c.milli_c.desc(), at_ms)
    return connection.execute(hottest_first.limit(1)).first()


def series(connection: Connection, pour_id: int, until_id: int | None = None) -> list[Row[Any]]:
    """All of a pour's readings in the order in which they were taken: at_ms, probe, place, milli_c, fault, late."""
    wanted = select(
        (READING.c.boot_ms + BOOT.c.offset_ms).label("at_ms"),
        READING.c.probe,
        READING.c.place,
        READING.c.milli_c,
        READING.c.fault,
        READING.c.late,
    ).join(BOOT, BOOT.c.id == READING.c.boot)
    wanted = wanted.where(READING.c.pour_id == pour_id)
    if until_id is not None:
        wanted = wanted.where(READING.c.id <= until_id)
    return list(connection.execute(wanted.order_by("at_ms", READING.c.id)))


def counts(connection: Connection, pour_id: int) -> tuple[int, int]:
    """(rows, of which faults) of a pour."""
    row = connection.execute(
        select(func.count(), func.count(READING.c.fault)).where(READING.c.pour_id == pour_id)
    ).one()
    return int(row[0]), int(row[1])


def _boots(
    tx: Connection, station_id: int, sent: Stamp, rows: Sequence[Incoming], now_ms: int, *, clock_set: bool
) -> dict[str, int]:
    """Row ids of the boots of a batch, each dated as well as can be."""
    # Until a boot's clock was set, the moment at which its batch arrives is the best guess of its offset. While the
    # service itself does not know the time, its guess keeps the two together; the time is learnt when both know it.
    guess_ms = now_ms - sent.boot_ms
    known = replace(sent, clock_set=sent.clock_set and clock_set)
    boots = {sent.boot_id: boot_row(tx, station_id, known, guess_ms)}
    of_boot: dict[str, list[Stamp]] = {}
    for row in rows:
        of_boot.setdefault(row.stamp.boot_id, []).append(row.stamp)
    for boot_id, stamps in of_boot.items():
        if boot_id in boots:
            continue
        # One row with the time dates the whole boot, whichever it is.
        stamp = next((stamp for stamp in stamps if stamp.clock_set), stamps[0])
        boots[boot_id] = boot_row(tx, station_id, stamp, _between(tx, station_id, stamps, guess_ms))
    return boots


def _between(tx: Connection, station_id: int, stamps: Sequence[Stamp], next_boot_ms: int) -> int:
    """The offset of a boot that is over and never knew the time: between what is stored and the boot that sends it.

    Its wall clock went on from the last time that it had kept: late by up to hours, hardly ever ahead.
    """
    first, last = stamps[0], stamps[-1]
    stored_ms = tx.execute(
        select(READING.c.boot_ms + BOOT.c.offset_ms)
        .join(BOOT, BOOT.c.id == READING.c.boot)
        .where(READING.c.station_id == station_id)
        .order_by(READING.c.id.desc())
        .limit(1)
    ).scalar()
    earliest = first.wall_ms if stored_ms is None else max(first.wall_ms, int(stored_ms) + 1)
    return min(earliest - first.boot_ms, next_boot_ms - last.boot_ms)


def _stored(tx: Connection, station_id: int, spool: str, rows: Sequence[Incoming]) -> dict[int, Row[Any]]:
    if not rows:
        return {}
    found = tx.execute(
        select(READING).where(
            READING.c.station_id == station_id,
            READING.c.spool == spool,
            READING.c.seq.between(rows[0].seq, rows[-1].seq),
        )
    )
    return {row.seq: row for row in found}


def _told_by_another_spool(
    tx: Connection, spool: str, rows: Sequence[Incoming], boots: Mapping[str, int]
) -> set[tuple[Any, ...]]:
    """Those of the rows' moments that are stored already, under a number of another spool.

    A spool whose past the service knows otherwise goes on under a new name, and numbers anew what it could not know
    to be stored. Newer rows than all stored ones cost one look at the index.
    """
    of_boot: dict[int, list[int]] = {}
    for row in rows:
        of_boot.setdefault(boots[row.stamp.boot_id], []).append(row.stamp.boot_ms)
    told: set[tuple[Any, ...]] = set()
    for boot, moments in of_boot.items():
        newest = tx.execute(select(func.max(READING.c.boot_ms)).where(READING.c.boot == boot)).scalar()
        old = [boot_ms for boot_ms in moments if newest is not None and boot_ms <= newest]
        if old:
            found = tx.execute(
                select(READING).where(
                    READING.c.boot == boot, READING.c.boot_ms.in_(old), READING.c.spool != spool
                )
            )
            told.update(_moment(row) for row in found.mappings())
    return told


def _moment(values: Mapping[Any, Any]) -> tuple[Any, ...]:
    """What makes two rows of one station the same observation."""
    return tuple(values[name] for name in ("boot", "boot_ms", "probe", "place", "milli_c", "fault", "raw"))


def _same_or_conflict(before: Row[Any], values: dict[str, Any], station: str) -> None:
    for name in ("probe", "place", "boot_ms", "milli_c", "fault", "raw"):
        if getattr(before, name) != values[name]:
            raise Conflict(
                f"station {station}: row {values['seq']} is stored with {name} = {getattr(before, name)!r} "
                f"but came again with {values[name]!r}; two spools share an identity, or one was altered: "
                "give the station a new spool file"
            )


def _chain(
    tx: Connection, belongs: Iterable[Window], new: list[dict[str, Any]], boot_names: Mapping[int, str]
) -> None:
    heads = {window.pour_id: window.reading_head for window in belongs}
    changed = set()
    for values in new:
        pour_id = values["pour_id"]
        values["link"] = None
        if pour_id is not None:
            named = values | {"boot_id": boot_names[values["boot"]]}
            heads[pour_id] = values["link"] = link(heads[pour_id], named, READING_FIELDS)
            changed.add(pour_id)
    for pour_id in changed:
        tx.execute(update(POUR).where(POUR.c.id == pour_id).values(reading_head=heads[pour_id]))


def _note_probes(tx: Connection, station_id: int, new: list[dict[str, Any]], of_boot: Any) -> None:
    known = {
        row.rom: row
        for row in tx.execute(
            select(PROBE.c.id, PROBE.c.rom, PROBE.c.readings, PROBE.c.faults, PROBE.c.last_good_ms,
                   PROBE.c.last_milli_c).where(PROBE.c.station_id == station_id)
        )
    }  # fmt: skip
    updated: list[dict[str, Any]] = []
    for rom in {values["probe"] for values in new}:
        mine = [values for values in new if values["probe"] == rom]
        good = [values for values in mine if values["fault"] is None]
        last, before = mine[-1], known.get(rom)
        if before is None:
            first_seen = {
                "station_id": station_id,
                "rom": rom,
                "place": last["place"],
                "first_seen_ms": mine[0]["boot_ms"] + of_boot[mine[0]["boot"]],
                "readings": 0,
                "faults": 0,
            }
            _note_elsewhere(tx, station_id, rom, last["received_ms"])
            probe_id = tx.execute(insert(PROBE).values(**first_seen).returning(PROBE.c.id)).scalar_one()
        else:
            probe_id = before.id
        latest = good[-1] if good else None
        updated.append(
            {
                "probe_id": probe_id,
                "place": last["place"],
                "last_fault": last["fault"],
                "readings": (before.readings if before else 0) + len(mine),
                "faults": (before.faults if before else 0) + len(mine) - len(good),
                "last_good_ms": latest["boot_ms"] + of_boot[latest["boot"]]
                if latest
                else (before.last_good_ms if before else None),
                "last_milli_c": latest["milli_c"] if latest else (before.last_milli_c if before else None),
            }
        )
    tx.execute(_UPDATE_PROBE, updated)


def _note_elsewhere(tx: Connection, station_id: int, rom: str, now_ms: int) -> None:
    """Says once when a thermometer that another station has reported turns up at this one.

    Not refused: probes are replugged, and a reading that is thrown away may be the hot one. It never reaches the
    other station's pour: a reading belongs to the station whose token sent it, and to that station's pours only.
    """
    if not _SERIAL.fullmatch(rom):
        return
    others = elsewhere(tx, station_id, rom)
    if others:
        name = tx.execute(select(STATION.c.name).where(STATION.c.id == station_id)).scalar_one()
        add_event(
            tx, None, now_ms, "probe-elsewhere", name, f"{rom} was reported by {', '.join(others)} before"
        )


#: A thermometer's own serial number, family code first; contacts and fans carry names that every station may use.
_SERIAL = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")
#: One statement for all probes of a batch.
_UPDATE_PROBE = (
    update(PROBE)
    .where(PROBE.c.id == bindparam("probe_id"))
    .values(
        place=bindparam("place"),
        last_fault=bindparam("last_fault"),
        readings=bindparam("readings"),
        faults=bindparam("faults"),
        last_good_ms=bindparam("last_good_ms"),
        last_milli_c=bindparam("last_milli_c"),
    )
)


def _acknowledged(tx: Connection, station_id: int, spool: str, rows: Sequence[Incoming]) -> int:
    """The highest sequence number up to which this spool is stored without a gap in this batch."""
    if rows:
        expected = rows[0].seq
        for row in rows:
            if row.seq != expected:
                return expected - 1
            expected += 1
        return rows[-1].seq
    highest = tx.execute(
        select(func.max(READING.c.seq)).where(READING.c.station_id == station_id, READING.c.spool == spool)
    ).scalar()
    return int(highest or 0)
