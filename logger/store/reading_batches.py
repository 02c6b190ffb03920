"""Saves batches: each row once, in the order of its number, linked into its pour's chain, its station noted.

Batches of many stations are saved together: each statement asks or writes for all of them, so that a hundred stations
cost little more than one. What continues a station's last batch is known to be new; only what does not is looked up.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from sqlalchemy import Connection, Row, bindparam, func, select, tuple_

from hardware.clock import Stamp
from logger.alarms.conditions.equipment import CLOCK_OFF_MS
from logger.errors import LoggerError, NotAllowed
from logger.facts import fact, some_of
from logger.store.boots import BOOT, boot_row, offset_of
from logger.store.database import table
from logger.store.dialect import insert_many, update_many
from logger.store.events import add_event
from logger.store.hash_chain import READING_FIELDS, link
from logger.store.pours import POUR, Window, windows_of
from logger.store.rows import StationRow, all_rows
from logger.store.stations import PROBE, STATION, STATIONS, reported_by
from logger.store.tables import ReadingRow
from logger.wire import WireReading

READING = table(ReadingRow)
#: A reading that reaches the service this long after it was taken was caught up: alarms on it say so.
LATE_MS = 120_000
# A station whose clock says that it is set, and is CLOCK_OFF_MS from the moment at which it sends, is wrong about the
# time: what it sends is dated by when it arrives. (A request takes half a minute at most.)
#: So many of the stations that have reported a probe before are named: clones that share a serial number are many.
NAMED = 5

# Statements that every batch needs, built once: building one costs as much as it takes to run.
_STATIONS = STATIONS.where(STATION.c.id.in_(bindparam("ids", expanding=True)))
_BOOTS = select(BOOT.c.id, BOOT.c.station_id, BOOT.c.boot_id, BOOT.c.offset_ms, BOOT.c.clock_set).where(
    tuple_(BOOT.c.station_id, BOOT.c.boot_id).in_(bindparam("names", expanding=True))
)
_PROBES = select(
    PROBE.c.id,
    PROBE.c.station_id,
    PROBE.c.rom,
    PROBE.c.readings,
    PROBE.c.faults,
    PROBE.c.last_good_ms,
    PROBE.c.last_milli_c,
).where(PROBE.c.station_id.in_(bindparam("ids", expanding=True)))


class Conflict(LoggerError):
    """A station sent another content under a sequence number that is stored already."""


@dataclass(frozen=True, slots=True)
class ReadingBatch:
    """What one station sent. `token_hash`: the token that it showed, looked at once more; None: not asked."""

    station_id: int
    spool: str
    sent: Stamp
    rows: Sequence[WireReading]
    token_hash: str | None = None


@dataclass(frozen=True, slots=True)
class Saved:
    """What a batch came to."""

    acknowledged_seq: int
    stored: int
    repeated: int
    pours: frozenset[int]


@dataclass(slots=True)
class _BatchWork:
    """A batch on its way: which of its rows are new."""

    batch: ReadingBatch
    station: StationRow
    boots: dict[str, int]
    #: Boots that nothing was stored of before.
    begun: frozenset[int]
    fresh: list[WireReading] = field(default_factory=list)
    #: The batch continues what is stored: nothing was looked up.
    continues: bool = True
    values: list[dict[str, Any]] = field(default_factory=list)


def save_batch(tx: Connection, batch: ReadingBatch, now_ms: int, *, clock_set: bool = True) -> Saved:
    """Save one batch. Raises Conflict when a stored row came with other contents."""
    (result,) = save_batches(tx, [batch], now_ms, clock_set=clock_set)
    if isinstance(result, LoggerError):
        raise result
    return result


def save_batches(
    tx: Connection, batches: Sequence[ReadingBatch], now_ms: int, *, clock_set: bool = True
) -> list[Saved | LoggerError]:
    """Store the rows that are new, link them into their pours' chains, note the stations and their probes.

    At most one batch a station. `now_ms` is the service's best time of day, `clock_set` whether that rests on a clock
    that was set. A batch comes to a Conflict when a stored row came with other contents, to NotAllowed when its token
    does not hold (any longer): nothing of that batch is stored then, and the others are.
    """
    ids = [batch.station_id for batch in batches]
    stations = {row.id: row for row in all_rows(tx, _STATIONS, StationRow, {"ids": ids})}
    stored_boots = _known_boots(tx, batches)
    held = {
        batch.station_id: batch
        for batch in batches
        if batch.token_hash in (None, stations[batch.station_id].token_hash)
    }
    begun = _begin_boots(tx, list(held.values()), stored_boots, now_ms, clock_set=clock_set)
    of_boot = {row.id: row.offset_ms for row in stored_boots.values()}
    results: list[Saved | LoggerError] = []
    works: list[_BatchWork | None] = []
    for batch in batches:
        station = stations[batch.station_id]
        if batch.station_id not in held:
            results.append(NotAllowed(fact("token-not-known")))
            works.append(None)
            continue
        boots = _boots_of(tx, batch, stored_boots, of_boot, now_ms, clock_set=clock_set)
        work = _BatchWork(batch, station, boots, begun)
        try:
            _sort(tx, work)
        except Conflict as conflict:
            results.append(conflict)
            works.append(None)
            continue
        results.append(Saved(0, 0, 0, frozenset()))
        works.append(work)
    accepted = [work for work in works if work is not None]
    belongs = windows_of(tx, [work.batch.station_id for work in accepted if work.fresh])
    heads: dict[int, str] = {}
    for work in accepted:
        _fill(work, belongs.get(work.batch.station_id, ()), of_boot, heads, now_ms)
    new = [values for work in accepted for values in work.values]
    insert_many(tx, READING, new)
    update_many(tx, POUR, "id", [{"id": pour, "reading_head": head} for pour, head in heads.items()])
    _note_probes(tx, accepted, of_boot, now_ms)
    update_many(tx, STATION, "id", [_noted(tx, work, now_ms, clock_set=clock_set) for work in accepted])
    for at, one in enumerate(works):
        if one is not None:
            pours = frozenset(row["pour_id"] for row in one.values if row["pour_id"] is not None)
            stored = len(one.values)
            results[at] = Saved(_acknowledged(tx, one), stored, len(one.batch.rows) - stored, pours)
    return results


def _known_boots(tx: Connection, batches: Sequence[ReadingBatch]) -> dict[tuple[int, str], Row[Any]]:
    """(station, name of its boot) → its row, of every boot that the batches name and that is stored."""
    names = {
        (batch.station_id, name)
        for batch in batches
        for name in (batch.sent.boot_id, *(row.stamp.boot_id for row in batch.rows))
    }
    rows: list[Row[Any]] = list(tx.execute(_BOOTS, {"names": list(names)}))
    return {(row.station_id, row.boot_id): row for row in rows}


def _begin_boots(
    tx: Connection,
    batches: Sequence[ReadingBatch],
    stored_boots: dict[tuple[int, str], Row[Any]],
    now_ms: int,
    *,
    clock_set: bool,
) -> frozenset[int]:
    """Store the boots that stations send from for the first time, also in `stored_boots`; return their row ids."""
    fresh = [batch for batch in batches if (batch.station_id, batch.sent.boot_id) not in stored_boots]
    if not fresh:
        return frozenset()
    rows = []
    for batch in fresh:
        sent = _relied_on(batch.sent, now_ms, clock_set=clock_set)
        offset_ms = offset_of(sent, now_ms - sent.boot_ms)
        rows.append(
            {
                "station_id": batch.station_id,
                "boot_id": sent.boot_id,
                "clock_set": sent.clock_set,
                "offset_ms": offset_ms,
            }
        )
    insert_many(tx, BOOT, rows)
    names = [(batch.station_id, batch.sent.boot_id) for batch in fresh]
    new_boots = {(row.station_id, row.boot_id): row for row in tx.execute(_BOOTS, {"names": names})}
    stored_boots.update(new_boots)
    return frozenset(row.id for row in new_boots.values())


def clock_off_ms(sent: Stamp, now_ms: int, *, clock_set: bool) -> int | None:
    """How far a station's clock is ahead of the service's, by the stamp with which it sends; None while one of the two
    does not know the time.
    """
    return sent.wall_ms - now_ms if sent.clock_set and clock_set else None


def _is_wrong(sent: Stamp, now_ms: int, *, clock_set: bool) -> bool:
    """Whether a station is wrong about the time, though it says that its clock is set."""
    off_ms = clock_off_ms(sent, now_ms, clock_set=clock_set)
    return off_ms is not None and abs(off_ms) > CLOCK_OFF_MS


def _relied_on(sent: Stamp, now_ms: int, *, clock_set: bool) -> Stamp:
    """Return the stamp of a sending boot as far as its offset may rest on it. While the service itself does not know
    the time, its guess keeps the two together; the time is learnt when both know it. A clock that is wrong is none.
    """
    reliable = clock_set and not _is_wrong(sent, now_ms, clock_set=clock_set)
    return replace(sent, clock_set=sent.clock_set and reliable)


def _boots_of(
    tx: Connection,
    batch: ReadingBatch,
    stored_boots: Mapping[tuple[int, str], Row[Any]],
    of_boot: dict[int, int],
    now_ms: int,
    *,
    clock_set: bool,
) -> dict[str, int]:
    """Row ids of a batch's boots by their names; adds what is learnt of their offsets to `of_boot`."""
    stamps = [batch.sent, *(row.stamp for row in batch.rows)]
    boots = {stamp.boot_id: stored_boots.get((batch.station_id, stamp.boot_id)) for stamp in stamps}
    # Boots whose time this batch tells; see _boots.
    dated = {row.stamp.boot_id for row in batch.rows if row.stamp.clock_set} - {batch.sent.boot_id}
    if _is_wrong(batch.sent, now_ms, clock_set=clock_set):
        dated.clear()
    if _relied_on(batch.sent, now_ms, clock_set=clock_set).clock_set:
        dated.add(batch.sent.boot_id)
    if all(boot is not None and (boot.clock_set or name not in dated) for name, boot in boots.items()):
        return {name: boot.id for name, boot in boots.items() if boot is not None}
    ids = _boots(tx, batch.station_id, batch.sent, batch.rows, now_ms, clock_set=clock_set)
    query = select(BOOT.c.id, BOOT.c.offset_ms).where(BOOT.c.id.in_(ids.values()))
    of_boot.update({row.id: row.offset_ms for row in tx.execute(query)})
    return ids


def _sort(tx: Connection, work: _BatchWork) -> None:
    """Which rows of a batch are new. Raises Conflict."""
    batch, station, rows = work.batch, work.station, work.batch.rows
    if not rows:
        return
    boots = {row.stamp.boot_id for row in rows}
    work.continues = station.last_seen_ms is None and len(boots) == 1  # its first batch ever
    work.continues |= (
        batch.spool == station.spool
        and rows[0].seq > station.spool_seq
        and all(work.boots[name] == station.newest_boot for name in boots)
        and min(row.stamp.boot_ms for row in rows) > station.newest_boot_ms
    )
    if work.continues:
        work.fresh = list(rows)
        return
    stored = _stored(tx, batch.station_id, batch.spool, rows)
    fresh = [row for row in rows if row.seq not in stored]
    repeats = _stored_by_another_spool(tx, batch.spool, fresh, work.boots, work.begun)
    for row in rows:
        values = _values(row, work.boots)
        if row.seq in stored:
            _same_or_conflict(stored[row.seq], values, station.name)
        elif _moment(values) not in repeats:
            work.fresh.append(row)


def _fill(
    work: _BatchWork,
    belongs: Sequence[Window],
    of_boot: Mapping[int, int],
    heads: dict[int, str],
    now_ms: int,
) -> None:
    """Link the rows to be stored, each to the one before it in its pour; `heads` learns the pours' last links."""
    batch = work.batch
    before = {window.pour_id: window.reading_head for window in belongs}
    for row in work.fresh:
        values = _values(row, work.boots)
        at_ms = row.stamp.boot_ms + of_boot[values["boot"]]
        pour_id = next((w.pour_id for w in belongs if w.takes(row.probe, at_ms)), None)
        values["station_id"], values["spool"], values["received_ms"] = batch.station_id, batch.spool, now_ms
        # In the boot that sends it, how old a reading is needs no time of day.
        same = row.stamp.boot_id == batch.sent.boot_id
        age_ms = batch.sent.boot_ms - row.stamp.boot_ms if same else now_ms - at_ms
        values["late"], values["pour_id"], values["link"] = age_ms > LATE_MS, pour_id, None
        if pour_id is not None:
            named = values | {"boot_id": row.stamp.boot_id}
            heads[pour_id] = values["link"] = link(heads.get(pour_id, before[pour_id]), named, READING_FIELDS)
        work.values.append(values)


def _values(row: WireReading, boots: Mapping[str, int]) -> dict[str, Any]:
    stamp = row.stamp
    return {
        "seq": row.seq,
        "probe": row.probe,
        "place": row.place,
        "boot": boots[stamp.boot_id],
        "boot_ms": stamp.boot_ms,
        "wall_ms": stamp.wall_ms,
        "clock_set": stamp.clock_set,
        "milli_c": row.milli_c,
        "fault": row.fault,
        "raw": row.raw,
        "note": row.note,
        "milli_rh": row.milli_rh,
    }


def _noted(tx: Connection, work: _BatchWork, now_ms: int, *, clock_set: bool) -> dict[str, Any]:
    """Return a station's row after its batch."""
    batch, station = work.batch, work.station
    noted = {
        "id": station.id,
        "last_seen_ms": now_ms,
        "clock_set": batch.sent.clock_set,
        "spool": station.spool,
        "spool_seq": station.spool_seq,
        "newest_boot": station.newest_boot,
        "newest_boot_ms": station.newest_boot_ms,
        "clock_off_ms": clock_off_ms(batch.sent, now_ms, clock_set=clock_set),
    }
    if not batch.rows:
        return noted
    boot = work.boots[batch.rows[-1].stamp.boot_id]
    if work.continues:
        seq = batch.rows[-1].seq
        boot_ms = max(row.stamp.boot_ms for row in batch.rows)
    else:
        seq = _highest(tx, batch.station_id, batch.spool)
        newest = tx.execute(select(func.max(READING.c.boot_ms)).where(READING.c.boot == boot)).scalar()
        boot_ms = int(newest or 0)
    return noted | {"spool": batch.spool, "spool_seq": seq, "newest_boot": boot, "newest_boot_ms": boot_ms}


def _highest(tx: Connection, station_id: int, spool: str) -> int:
    """Return the highest number that is stored of a spool."""
    mine = (READING.c.station_id == station_id, READING.c.spool == spool)
    return int(tx.execute(select(func.max(READING.c.seq)).where(*mine)).scalar() or 0)


def _acknowledged(tx: Connection, work: _BatchWork) -> int:
    """Return the highest sequence number up to which this spool is stored without a gap in this batch."""
    rows, station = work.batch.rows, work.station
    if not rows:
        same = work.batch.spool == station.spool
        return int(station.spool_seq) if same else _highest(tx, station.id, work.batch.spool)
    expected = rows[0].seq
    for row in rows:
        if row.seq != expected:
            return expected - 1
        expected += 1
    return rows[-1].seq


def _boots(
    tx: Connection, station_id: int, sent: Stamp, rows: Sequence[WireReading], now_ms: int, *, clock_set: bool
) -> dict[str, int]:
    """Row ids of the boots of a batch, each dated as well as can be."""
    # Until a boot's clock was set, the moment at which its batch arrives is the best guess of its offset.
    guess_ms = now_ms - sent.boot_ms
    boots = {sent.boot_id: boot_row(tx, station_id, _relied_on(sent, now_ms, clock_set=clock_set), guess_ms)}
    off_ms = clock_off_ms(sent, now_ms, clock_set=clock_set) or 0
    wrong = _is_wrong(sent, now_ms, clock_set=clock_set)
    of_boot: dict[str, list[Stamp]] = {}
    for row in rows:
        of_boot.setdefault(row.stamp.boot_id, []).append(row.stamp)
    for boot_id, stamps in of_boot.items():
        if boot_id in boots:
            continue
        if wrong:  # most likely it was off by as much before
            stamps = [replace(one, wall_ms=one.wall_ms - off_ms, clock_set=False) for one in stamps]
        # One row with the time dates the whole boot, whichever it is.
        stamp = next((stamp for stamp in stamps if stamp.clock_set), stamps[0])
        if clock_set and stamps[-1].boot_ms + stamp.wall_ms - stamp.boot_ms > guess_ms + CLOCK_OFF_MS:
            # It says that it read after the boot that sends it had begun.
            stamp = replace(stamp, clock_set=False)
        boots[boot_id] = boot_row(tx, station_id, stamp, _between(tx, station_id, stamps, guess_ms))
    return boots


def _between(tx: Connection, station_id: int, stamps: Sequence[Stamp], next_boot_ms: int) -> int:
    """Return the offset of a boot that is over and never knew the time: between what is stored and the boot that
    sends it.

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


def _stored(tx: Connection, station_id: int, spool: str, rows: Sequence[WireReading]) -> dict[int, Row[Any]]:
    if not rows:
        return {}
    stored = tx.execute(
        select(READING).where(
            READING.c.station_id == station_id,
            READING.c.spool == spool,
            READING.c.seq.between(rows[0].seq, rows[-1].seq),
        )
    )
    return {row.seq: row for row in stored}


def _stored_by_another_spool(
    tx: Connection, spool: str, rows: Sequence[WireReading], boots: Mapping[str, int], begun: frozenset[int]
) -> set[tuple[Any, ...]]:
    """Those of the rows' moments that are stored already, under a number of another spool.

    A spool whose past the service knows otherwise goes on under a new name, and numbers anew what it could not know
    to be stored. Newer rows than all stored ones cost one look at the index.
    """
    of_boot: dict[int, list[int]] = {}
    for row in rows:
        if boots[row.stamp.boot_id] not in begun:
            of_boot.setdefault(boots[row.stamp.boot_id], []).append(row.stamp.boot_ms)
    observations: set[tuple[Any, ...]] = set()
    for boot, moments in of_boot.items():
        newest = tx.execute(select(func.max(READING.c.boot_ms)).where(READING.c.boot == boot)).scalar()
        old = [boot_ms for boot_ms in moments if newest is not None and boot_ms <= newest]
        if old:
            stored = tx.execute(
                select(READING).where(
                    READING.c.boot == boot, READING.c.boot_ms.in_(old), READING.c.spool != spool
                )
            )
            observations.update(_moment(row) for row in stored.mappings())
    return observations


def _moment(values: Mapping[Any, Any]) -> tuple[Any, ...]:
    """Return what makes two rows of one station the same observation."""
    return tuple(values[name] for name in ("boot", "boot_ms", "probe", "place", "milli_c", "fault", "raw"))


def _same_or_conflict(before: Row[Any], values: dict[str, Any], station: str) -> None:
    for name in ("probe", "place", "boot_ms", "milli_c", "fault", "raw"):
        if getattr(before, name) != values[name]:
            raise Conflict(
                fact(
                    "conflicting-row",
                    station=str(station),
                    row=values["seq"],
                    name=name,
                    before=repr(getattr(before, name)),
                    now=repr(values[name]),
                )
            )


def _note_probes(
    tx: Connection, sorted_out: Sequence[_BatchWork], of_boot: Mapping[int, int], now_ms: int
) -> None:
    """Keep what each probe last said and how often it has."""
    works = [work for work in sorted_out if work.values]
    if not works:
        return
    ids = [work.batch.station_id for work in works]
    probes = {(row.station_id, row.rom): row for row in tx.execute(_PROBES, {"ids": ids})}
    inserts: list[dict[str, Any]] = []
    updates: list[dict[str, Any]] = []
    newcomers: list[tuple[StationRow, str]] = []
    for work in works:
        by_rom: dict[str, list[dict[str, Any]]] = {}
        for values in work.values:
            by_rom.setdefault(values["probe"], []).append(values)
        for rom, rows in by_rom.items():
            before = probes.get((work.batch.station_id, rom))
            good = [values for values in rows if values["fault"] is None]
            last, latest = rows[-1], good[-1] if good else None
            good_ms = None if latest is None else latest["boot_ms"] + of_boot[latest["boot"]]
            kept_ms, kept_c = (before.last_good_ms, before.last_milli_c) if before else (None, None)
            noted = {
                "place": last["place"],
                "last_fault": last["fault"],
                "readings": (before.readings if before else 0) + len(rows),
                "faults": (before.faults if before else 0) + len(rows) - len(good),
                "last_good_ms": kept_ms if latest is None else good_ms,
                "last_milli_c": kept_c if latest is None else latest["milli_c"],
            }
            if before is not None:
                updates.append({"id": before.id, **noted})
                continue
            first_ms = rows[0]["boot_ms"] + of_boot[rows[0]["boot"]]
            inserts.append(
                {"station_id": work.batch.station_id, "rom": rom, "first_seen_ms": first_ms, **noted}
            )
            newcomers.append((work.station, rom))
    _note_elsewhere(tx, newcomers, now_ms)
    insert_many(tx, PROBE, inserts)
    update_many(tx, PROBE, "id", updates)


def _note_elsewhere(tx: Connection, newcomers: Sequence[tuple[StationRow, str]], now_ms: int) -> None:
    """Say once when a thermometer that another station of the shop has reported turns up at this one.

    Not refused: probes are replugged, and a reading that is thrown away may be the hot one. It never reaches the
    other station's pour: a reading belongs to the station whose token sent it, and to that station's pours only.
    """
    serials = [(station, rom) for station, rom in newcomers if _SERIAL.fullmatch(rom)]
    if not serials:
        return
    reported = reported_by(tx, [rom for _station, rom in serials])
    for station, rom in serials:
        others = reported.setdefault((station.shop_id, rom), [])
        if others:
            text = fact("event-probe-elsewhere", rom=rom, others=some_of(others, NAMED))
            add_event(tx, None, now_ms, "probe-elsewhere", station.name, text, shop_id=station.shop_id)
        others.append(station.name)


#: A thermometer's own serial number, family code first; contacts and fans carry names that every station may use.
_SERIAL = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")


def take_in(tx: Connection, pour_id: int, station_id: int, after_id: int, since_ms: int) -> int:
    """Give a pour whose end was taken back the readings that came meanwhile and belong to no pour; return how many.

    after_id: a reading before all of these; since_ms: when the first of them can have come (true). The pour's chain is
    linked anew from the first of them, in the order in which they came. Raises NotFound.
    """
    belongs = windows_of(tx, [station_id]).get(station_id, [])
    at_ms = (READING.c.boot_ms + BOOT.c.offset_ms).label("at_ms")
    stray = select(READING.c.id, READING.c.probe, at_ms).join(BOOT, BOOT.c.id == READING.c.boot)
    stray = stray.where(READING.c.id > after_id, READING.c.station_id == station_id)
    stray = stray.where(READING.c.pour_id.is_(None), READING.c.received_ms >= since_ms)
    mine = [
        row.id
        for row in tx.execute(stray.order_by(READING.c.id))
        if next((w.pour_id for w in belongs if w.takes(row.probe, row.at_ms)), None) == pour_id
    ]
    if not mine:
        return 0
    update_many(tx, READING, "id", [{"id": row_id, "pour_id": pour_id} for row_id in mine])
    of_pour = READING.c.pour_id == pour_id
    before = select(READING.c.link).where(of_pour, READING.c.id < mine[0]).order_by(READING.c.id.desc())
    head = tx.execute(before.limit(1)).scalar() or ""
    columns = [READING.c[name] for name in READING_FIELDS if name != "boot_id"]
    rows = select(READING.c.id, BOOT.c.boot_id, *columns).join(BOOT, BOOT.c.id == READING.c.boot)
    links = []
    for row in tx.execute(rows.where(of_pour, READING.c.id >= mine[0]).order_by(READING.c.id)):
        head = link(head, dict(row._mapping), READING_FIELDS)
        links.append({"id": row.id, "link": head})
    update_many(tx, READING, "id", links)
    update_many(tx, POUR, "id", [{"id": pour_id, "reading_head": head}])
    return len(mine)
