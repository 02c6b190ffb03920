"""Boots and time: which offset turns a boot's milliseconds into the time of day, and the service's steady time.

A Pi may have no clock at boot, and the wall clock jumps when it is set. So the true time of a reading is computed
in the query from its boot's offset, and alarms are judged on a steady timeline that never jumps.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, func, insert, select, update

from hardware.clock import Clock, Stamp
from logger.store.database import Store, table
from logger.store.tables import Boot, Event, Station

BOOT = table(Boot)

#: Clock and stamp are named here for the service, which knows nothing of hardware.
__all__ = ["BOOT", "Clock", "Stamp", "Timeline", "boot_row", "offsets"]


def boot_row(
    tx: Connection,
    station_id: int | None,
    stamp: Stamp,
    guess_offset_ms: int,
    steady_offset_ms: int | None = None,
) -> int:
    """The row id of a boot, made or corrected: an offset is known once the clock was set, guessed until then."""
    found = tx.execute(
        select(BOOT.c.id, BOOT.c.clock_set).where(
            BOOT.c.station_id == station_id if station_id is not None else BOOT.c.station_id.is_(None),
            BOOT.c.boot_id == stamp.boot_id,
        )
    ).first()
    offset = stamp.wall_ms - stamp.boot_ms if stamp.clock_set else guess_offset_ms
    if found is None:
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
    if stamp.clock_set and not found.clock_set:
        tx.execute(update(BOOT).where(BOOT.c.id == found.id).values(offset_ms=offset, clock_set=True))
    return int(found.id)


def offsets(connection: Connection) -> Mapping[int, int]:
    """Every boot's row id → offset, ms."""
    return {row.id: row.offset_ms for row in connection.execute(select(BOOT.c.id, BOOT.c.offset_ms))}


class Timeline:
    """The service's time: `now_ms` is steady (alarms), `true_ms` is the best-known time of day (records)."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock
        stamp = clock.stamp()
        with store.write() as tx:
            known = tx.execute(
                select(BOOT).where(BOOT.c.station_id.is_(None), BOOT.c.boot_id == stamp.boot_id)
            ).first()
            if known is not None and known.steady_offset_ms is not None:
                self._steady_offset_ms = int(known.steady_offset_ms)
            else:
                # A boot without a clock starts in the past: the steady timeline never goes back behind what was seen.
                wall_offset = stamp.wall_ms - stamp.boot_ms
                self._steady_offset_ms = max(wall_offset, _latest_seen_ms(tx) - stamp.boot_ms + 1)
            self.boot_row = boot_row(
                tx, None, stamp, stamp.wall_ms - stamp.boot_ms, steady_offset_ms=self._steady_offset_ms
            )
            self._true_offset_ms = _offset(tx, self.boot_row)
        self._true_known = stamp.clock_set

    def now_ms(self) -> int:
        """Now, on the steady timeline."""
        return self._clock.stamp().boot_ms + self._steady_offset_ms

    def true_ms(self) -> int:
        """Now, as the time of day is best known."""
        return self.stamp().boot_ms + self._true_offset_ms

    def stamp(self) -> Stamp:
        """This instant; learns the boot's offset when the clock has been set since."""
        stamp = self._clock.stamp()
        if stamp.clock_set and not self._true_known:
            with self._store.write() as tx:
                boot_row(tx, None, stamp, self._true_offset_ms)
                self._true_offset_ms = _offset(tx, self.boot_row)
            self._true_known = True
        return stamp

    @property
    def clock_set(self) -> bool:
        """Whether this machine's clock has been set since it started."""
        return self._true_known

    @property
    def shift_ms(self) -> int:
        """What to add to a steady time to get the true one (0 unless the clock was set late)."""
        return self._true_offset_ms - self._steady_offset_ms


def _offset(tx: Connection, row_id: int) -> int:
    return int(tx.execute(select(BOOT.c.offset_ms).where(BOOT.c.id == row_id)).scalar_one())


def _latest_seen_ms(tx: Connection) -> int:
    latest: list[Any] = [
        tx.execute(select(func.max(table(Event).c.at_ms))).scalar(),
        tx.execute(select(func.max(table(Station).c.last_seen_ms))).scalar(),
    ]
    return max((int(value) for value in latest if value is not None), default=0)
