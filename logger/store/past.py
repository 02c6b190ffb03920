"""A pour that was poured and logged before this program watched it: its rows are chained as if they had just come."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, insert, select, update

from logger.errors import NotAllowed
from logger.pour import Stage
from logger.store.boots import BOOT
from logger.store.chain import READING_FIELDS, link
from logger.store.events import add_event
from logger.store.pours import POUR, add_pour
from logger.store.readings import READING
from logger.store.stations import STATION

#: The station that past logs are filed under; it can send nothing.
PAST_STATION = "past-logs"
_MANY = 5000


def add_past_pour(
    tx: Connection, *, title: str, client: str, plan_toml: str, prediction: Mapping[str, Any], model_version: str,
    poured_ms: int, rows: Iterable[tuple[int, str, int | None]], sha256: str, told: Mapping[str, Any], by: str,
    now_ms: int,
) -> int:  # fmt: skip
    """A pour out of its form with the readings of a log: rows of (at_ms, place, milli_c or None), in time.

    `sha256` of the log's file names its spool, so that a log is taken once; `told` goes into the event. Gives the
    pour's number. Raises NotAllowed when the log is here already.
    """
    spool = sha256[:36]
    known = tx.execute(select(READING.c.pour_id).where(READING.c.spool == spool).limit(1)).scalar()
    if known is not None:
        raise NotAllowed(f"this log is here already: it is pour {known}")
    all_rows = list(rows)
    first_ms = min(all_rows[0][0], poured_ms)
    station_id = _station(tx, now_ms)
    pour_id = add_pour(
        tx, title=title, client=client, plan_toml=plan_toml, station_id=station_id, by=by, now_ms=now_ms
    )
    boot_id = f"log-{spool}"
    boots = {
        of: int(tx.execute(
            insert(BOOT).values(station_id=of, boot_id=boot_id, offset_ms=first_ms, clock_set=True)
            .returning(BOOT.c.id)
        ).scalar_one())
        for of in (station_id, None)
    }  # fmt: skip
    head, many = "", []
    for seq, (at_ms, place, milli_c) in enumerate(all_rows, start=1):
        values = {
            "spool": spool, "seq": seq, "probe": f"log-{place}", "place": place, "boot_id": boot_id,
            "boot_ms": at_ms - first_ms, "wall_ms": at_ms, "clock_set": True, "milli_c": milli_c,
            "fault": "no-value" if milli_c is None else None, "raw": None, "note": None, "milli_rh": None,
            "late": True, "received_ms": now_ms,
        }  # fmt: skip
        head = values["link"] = link(head, values, READING_FIELDS)
        del values["boot_id"]
        many.append(values | {"pour_id": pour_id, "station_id": station_id, "boot": boots[station_id]})
        if len(many) == _MANY:
            tx.execute(insert(READING), many)
            many = []
    if many:
        tx.execute(insert(READING), many)
    last_id = tx.execute(
        select(READING.c.id).where(READING.c.spool == spool).order_by(READING.c.id.desc()).limit(1)
    )
    tx.execute(
        update(POUR).where(POUR.c.id == pour_id).values(
            stage=Stage.RELEASED, prediction=dict(prediction), model_version=model_version,
            poured_boot_id=boots[None], poured_boot_ms=poured_ms - first_ms, released_ms=all_rows[-1][0] + 1,
            reading_head=head, judged_reading_id=int(last_id.scalar_one()),
        )
    )  # fmt: skip
    add_event(tx, pour_id, now_ms, "log-imported", by, str(told.get("sentence", "")), dict(told))
    return pour_id


def _station(tx: Connection, now_ms: int) -> int:
    found = tx.execute(select(STATION.c.id).where(STATION.c.name == PAST_STATION)).scalar()
    if found is None:
        found = tx.execute(
            insert(STATION)
            .values(name=PAST_STATION, clock_set=True, fan_on=False, enrolled_ms=now_ms, revoked_ms=now_ms)
            .returning(STATION.c.id)
        ).scalar_one()
    return int(found)
