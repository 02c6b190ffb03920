"""Boots and time: which offset turns a boot's milliseconds into the time of day, and the service's steady time.

A Pi may have no clock at boot, and the wall clock jumps when it is set. So the true time of a reading is computed
in the query from its boot's offset, and alarms are judged on a steady timeline that never jumps.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Row, func, insert, select, update

from hardware.clock import Clock, Stamp
from logger.pour import LIVE
from logger.store.database import Store, table
from logger.store.tables import Boot, Event, Outgoing, Pour, ProbeTable, Station

BOOT = table(Boot)
_POUR = table(Pour)

#: Clock and stamp are named here for the service, which knows nothing of hardware.
__all__ = ["BOOT", "Clock", "Stamp", "Timeline", "boot_row", "offsets"]


def offset_of(stamp: Stamp, guess_offset_ms: int) -> int:
    """Return what to add to a stamp's boot time to get the time of day: known once the clock was set, guessed until
    then.
    """
    return stamp.wall_ms - stamp.boot_ms if stamp.clock_set else guess_offset_ms


def boot_row(
    tx: Connection,
    station_id: int | None,
    stamp: Stamp,
    guess_offset_ms: int,
    steady_offset_ms: int | None = None,
) -> int:
    """Record or correct a boot, and return its row id: its offset is a guess until the clock was set."""
    row = tx.execute(
        select(BOOT.c.id, BOOT.c.clock_set).where(
            BOOT.c.station_id == station_id if station_id is not None else BOOT.c.station_id.is_(None),
            BOOT.c.boot_id == stamp.boot_id,
        )
    ).first()
    offset = offset_of(stamp, guess_offset_ms)
    if row is None:
        return int(
            tx.execute(
                insert(BOOT)
                .values(
                    station_id=station_id,
                    boot_id=stamp.boot_id,
                    offset_ms=offset,
                    clock_set=stamp.clock_set,
                    steady_offset_ms=steady_offset_ms,
                )
                .returning(BOOT.c.id)
            ).scalar_one()
        )
    if stamp.clock_set and not row.clock_set:
        tx.execute(update(BOOT).where(BOOT.c.id == row.id).values(offset_ms=offset, clock_set=True))
    return int(row.id)


def offsets(connection: Connection, pour_id: int) -> Mapping[int, int]:
    """Row id → offset, ms, of every boot of a pour's station."""
    station = select(_POUR.c.station_id).where(_POUR.c.id == pour_id).scalar_subquery()
    rows = connection.execute(select(BOOT.c.id, BOOT.c.offset_ms).where(BOOT.c.station_id == station))
    return {row.id: row.offset_ms for row in rows}


class Timeline:
    """The service's time: `now_ms` is steady (alarms), `true_ms` is the best-known time of day (records)."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock
        stamp = clock.stamp()
        with store.write() as tx:
            row = tx.execute(
                select(BOOT).where(BOOT.c.station_id.is_(None), BOOT.c.boot_id == stamp.boot_id)
            ).first()
            if row is not None and row.steady_offset_ms is not None:
                self._steady_offset_ms = int(row.steady_offset_ms)
            else:
                self._steady_offset_ms = _steady_offset(tx, stamp)
            # Without a clock, time most likely goes on from where it was; with one, that is what counts.
            guess_ms = max(stamp.wall_ms - stamp.boot_ms, self._steady_offset_ms + _shift_before(tx))
            if row is not None and stamp.clock_set and not row.clock_set:
                _move_guesses(tx, stamp.wall_ms - stamp.boot_ms - row.offset_ms)
            self.boot_row = boot_row(tx, None, stamp, guess_ms, steady_offset_ms=self._steady_offset_ms)
            self._true_offset_ms = _offset(tx, self.boot_row)
        self._true_known = stamp.clock_set or (row is not None and bool(row.clock_set))

    def now_ms(self) -> int:
        """Now, on the steady timeline."""
        return self._clock.stamp().boot_ms + self._steady_offset_ms

    def true_ms(self) -> int:
        """Now, as the time of day is best known."""
        return self.stamp().boot_ms + self._true_offset_ms

    def stamp(self) -> Stamp:
        """Return this instant."""
        return self._clock.stamp()

    def learn(self) -> bool:
        """Learn the time of day if the clock has been set since; return whether it was learnt now.

        Writes, so it is called between transactions, never within one: asking what time it is must not wait for the
        write lock that whoever asks may hold.
        """
        stamp = self._clock.stamp()
        if self._true_known or not stamp.clock_set:
            return False
        with self._store.write() as tx:
            _move_guesses(tx, stamp.wall_ms - stamp.boot_ms - self._true_offset_ms)
            boot_row(tx, None, stamp, self._true_offset_ms)
            offset = _offset(tx, self.boot_row)
        self._true_offset_ms, self._true_known = offset, True
        return True

    @property
    def clock_set(self) -> bool:
        """Whether this machine's clock has been set since it started."""
        return self._true_known

    @property
    def shift_ms(self) -> int:
        """What to add to a steady time to get the true one (0 unless the clock was set late)."""
        return self._true_offset_ms - self._steady_offset_ms


def _move_guesses(tx: Connection, by_ms: int) -> None:
    """Take the time that the service learns: what it dated by guess since it last knew the time moves along with
    its own boot.

    Those are its boots since the last one whose clock was set, the stations' boots that were first heard of in them,
    and when stations and probes were last seen. What was dated before stays, and so does what a record brought along.
    """
    own = BOOT.c.station_id.is_(None)
    last_known = select(func.coalesce(func.max(BOOT.c.id), 0)).where(own, BOOT.c.clock_set).scalar_subquery()
    first = tx.execute(
        select(BOOT.c.id, BOOT.c.offset_ms)
        .where(own, BOOT.c.clock_set.is_(False), BOOT.c.id > last_known)
        .order_by(BOOT.c.id)
    ).first()
    if first is None:
        return
    station = table(Station)
    foreign = select(station.c.id).where(station.c.recorded_as.is_not(None))
    mine = own | BOOT.c.station_id.not_in(foreign)
    moved = (BOOT.c.id >= first.id) & BOOT.c.clock_set.is_(False) & mine
    tx.execute(update(BOOT).where(moved).values(offset_ms=BOOT.c.offset_ms + by_ms))
    for column in (table(Station).c.last_seen_ms, table(ProbeTable).c.last_good_ms):
        tx.execute(update(column.table).where(column >= first.offset_ms).values({column: column + by_ms}))


def _offset(tx: Connection, row_id: int) -> int:
    return int(tx.execute(select(BOOT.c.offset_ms).where(BOOT.c.id == row_id)).scalar_one())


def _last_boot(tx: Connection) -> Row[Any] | None:
    """Return the service's last boot so far."""
    return tx.execute(
        select(BOOT)
        .where(BOOT.c.station_id.is_(None), BOOT.c.steady_offset_ms.is_not(None))
        .order_by(BOOT.c.id.desc())
        .limit(1)
    ).first()


def _shift_before(tx: Connection) -> int:
    """Return what the last boot added to a steady time to get the true one."""
    last = _last_boot(tx)
    return 0 if last is None else int(last.offset_ms - last.steady_offset_ms)


def _steady_offset(tx: Connection, stamp: Stamp) -> int:
    """Where the steady timeline goes on in a new boot: never behind what was judged or told, and never years ahead.

    The time that the machine was off is counted when both boots know the time of day. Otherwise nobody knows it, and
    none is counted: a clock that is set from 1970 ends no waiting.
    """
    wall_offset_ms = stamp.wall_ms - stamp.boot_ms
    last = _last_boot(tx)
    if last is None:
        return max(wall_offset_ms, _latest_seen_ms(tx) - stamp.boot_ms + 1)
    went_on_ms = _latest_steady_ms(tx, last) - stamp.boot_ms + 1
    if stamp.clock_set and last.clock_set:
        return max(wall_offset_ms - _shift_before(tx), went_on_ms)
    return went_on_ms


def _latest_steady_ms(tx: Connection, last: Row[Any]) -> int:
    """Return the latest steady time that anything stored rests on."""
    books = tx.execute(select(_POUR.c.watchbook).where(_POUR.c.stage.in_(LIVE))).scalars()
    times: list[Any] = [
        last.steady_offset_ms,
        tx.execute(select(func.max(table(Outgoing).c.created_ms))).scalar(),
        *(book["book"]["now_ms"] for book in books if book is not None),
    ]
    if last.clock_set:
        times.append(_latest_seen_ms(tx) - int(last.offset_ms - last.steady_offset_ms))
    return max(int(value) for value in times if value is not None)


def _latest_seen_ms(tx: Connection) -> int:
    latest: list[Any] = [
        tx.execute(select(func.max(table(Event).c.at_ms))).scalar(),
        tx.execute(select(func.max(table(Station).c.last_seen_ms))).scalar(),
    ]
    return max((int(value) for value in latest if value is not None), default=0)
