"""A pour that was poured and logged before this program watched it: its rows are chained as if they had just come."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, insert, update

from logger.pour import Stage
from logger.store.boots import BOOT
from logger.store.dialect import insert_many
from logger.store.events import add_event
from logger.store.hash_chain import READING_FIELDS, link
from logger.store.pours import POUR, PlannedPour, add_pour
from logger.store.readings import READING
from logger.store.transfer import recorded_station

_MANY = 5000


@dataclass(frozen=True)
class PastPour:
    """A pour out of its form, from a log: its plan, what was predicted, and when it was poured and read.

    first_ms, last_ms: its first and last row. sha256 of the log's file names its spool, so that a log is taken once;
    about: what goes into the event.
    """

    title: str
    client: str
    plan_toml: str
    prediction: Mapping[str, Any]
    model_version: str
    poured_ms: int
    first_ms: int
    last_ms: int
    sha256: str
    about: Mapping[str, Any]

    @property
    def begin_ms(self) -> int:
        """The earliest time of it."""
        return min(self.first_ms, self.poured_ms)


def add_past_pour(
    tx: Connection, pour: PastPour, rows: Iterable[tuple[int, str, int | None]], by: str, now_ms: int
) -> int:
    """Put a past pour into a parcel, with the readings of its log: rows of (at_ms, place, milli_c or None).

    Returns the pour's number.
    """
    station_id = recorded_station(tx, "past-logs", now_ms)
    pour_id = add_pour(
        tx,
        PlannedPour(title=pour.title, client=pour.client, plan_toml=pour.plan_toml, station_id=station_id),
        by=by,
        now_ms=now_ms,
    )
    boots = {of: _boot(tx, of, pour) for of in (station_id, None)}
    head = ""
    many: list[dict[str, Any]] = []
    for seq, row in enumerate(rows, start=1):
        values = _reading(pour, seq, row, now_ms)
        head = values["link"] = link(head, values, READING_FIELDS)
        del values["boot_id"]
        many.append(values | {"pour_id": pour_id, "station_id": station_id, "boot": boots[station_id]})
        if len(many) == _MANY:
            insert_many(tx, READING, many)
            many = []
    insert_many(tx, READING, many)
    tx.execute(
        update(POUR)
        .where(POUR.c.id == pour_id)
        .values(
            stage=Stage.RELEASED,
            prediction=dict(pour.prediction),
            model_version=pour.model_version,
            poured_boot_id=boots[None],
            poured_boot_ms=pour.poured_ms - pour.begin_ms,
            released_ms=pour.last_ms + 1,
            reading_head=head,
        )
    )
    add_event(tx, pour_id, now_ms, "log-imported", by, str(pour.about.get("sentence", "")), dict(pour.about))
    return pour_id


def _boot(tx: Connection, station_id: int | None, pour: PastPour) -> int:
    """Add and return the run of a clock that the log's times count from."""
    boot = {
        "station_id": station_id,
        "boot_id": f"log-{pour.sha256[:36]}",
        "offset_ms": pour.begin_ms,
        "clock_set": True,
    }
    return int(tx.execute(insert(BOOT).values(**boot).returning(BOOT.c.id)).scalar_one())


def _reading(pour: PastPour, seq: int, row: tuple[int, str, int | None], now_ms: int) -> dict[str, Any]:
    at_ms, place, milli_c = row
    return {
        "spool": pour.sha256[:36],
        "seq": seq,
        "probe": f"log-{place}",
        "place": place,
        "boot_id": f"log-{pour.sha256[:36]}",
        "boot_ms": at_ms - pour.begin_ms,
        "wall_ms": at_ms,
        "clock_set": True,
        "milli_c": milli_c,
        "fault": "no-value" if milli_c is None else None,
        "raw": None,
        "note": None,
        "milli_rh": None,
        "late": True,
        "received_ms": now_ms,
    }
