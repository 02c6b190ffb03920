"""A pour that was poured and logged before this program watched it: its rows are chained as if they had just come."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, insert, update

from logger.pour import Stage
from logger.store.boots import BOOT
from logger.store.dialect import insert_many
from logger.store.events import add_event
from logger.store.hash_chain import READING_FIELDS, link
from logger.store.pours import POUR, add_pour
from logger.store.readings import READING
from logger.store.transfer import recorded_station

_MANY = 5000


def add_past_pour(
    tx: Connection,
    *,
    title: str,
    client: str,
    plan_toml: str,
    prediction: Mapping[str, Any],
    model_version: str,
    poured_ms: int,
    first_ms: int,
    last_ms: int,
    rows: Iterable[tuple[int, str, int | None]],
    sha256: str,
    told: Mapping[str, Any],
    by: str,
    now_ms: int,
) -> int:
    """Puts a pour out of its form into a parcel, with the readings of a log: rows of (at_ms, place, milli_c or None).

    `first_ms` and `last_ms`: its first and last row. `sha256` of the log's file names its spool, so that a log is taken
    once; `told` goes into the event. Gives the pour's number.
    """
    spool = sha256[:36]
    begin_ms = min(first_ms, poured_ms)
    station_id = recorded_station(tx, "past-logs", now_ms)
    pour_id = add_pour(
        tx, title=title, client=client, plan_toml=plan_toml, station_id=station_id, by=by, now_ms=now_ms
    )
    boot_id = f"log-{spool}"
    boots = {
        of: int(
            tx.execute(
                insert(BOOT)
                .values(station_id=of, boot_id=boot_id, offset_ms=begin_ms, clock_set=True)
                .returning(BOOT.c.id)
            ).scalar_one()
        )
        for of in (station_id, None)
    }
    head: str = ""
    many: list[dict[str, Any]] = []
    for seq, (at_ms, place, milli_c) in enumerate(rows, start=1):
        values = {
            "spool": spool,
            "seq": seq,
            "probe": f"log-{place}",
            "place": place,
            "boot_id": boot_id,
            "boot_ms": at_ms - begin_ms,
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
            prediction=dict(prediction),
            model_version=model_version,
            poured_boot_id=boots[None],
            poured_boot_ms=poured_ms - begin_ms,
            released_ms=last_ms + 1,
            reading_head=head,
        )
    )
    add_event(tx, pour_id, now_ms, "log-imported", by, str(told.get("sentence", "")), dict(told))
    return pour_id
