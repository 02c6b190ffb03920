"""Batches from stations: acknowledged after the commit, each row stored once."""

from __future__ import annotations

import base64
import hashlib
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from sqlalchemy import Row

from logger.pour import Stage
from logger.store import alarms, pours, readings, stations
from logger.store.boots import Stamp
from logger.store.conflicts import note_conflict
from web.access import ServiceDep, StationDep
from web.errors import Forbidden
from web.service import Service
from web.shapes import BATCH_BODY, BatchAnswer, BatchShape, StampShape

router = APIRouter(prefix="/api", tags=["stations"])
#: Seconds between sweeps: in the first hour, later.
FIRST_HOUR_S, LATER_S = 5.0, 30.0


async def whole(request: Request) -> None:
    """Refuses a body that is not what its `Content-Digest` says (RFC 9530). Without one it is taken as it is."""
    stated = request.headers.get("Content-Digest", "")
    if stated.startswith("sha-256=:") and stated != _digest(await request.body()):
        raise HTTPException(400, "the batch was altered on the way; send it again")


@router.post("/batches", max_body_size=BATCH_BODY, dependencies=[Depends(whole)], response_model=BatchAnswer)
def take_batch(batch: BatchShape, service: ServiceDep, station: StationDep) -> Response:
    """Stores a station's rows and answers what it should do."""
    if batch.station != station.name:
        raise Forbidden(f"this token belongs to station {station.name!r}, not {batch.station!r}")
    rows = [
        readings.Incoming(
            row.seq,
            row.probe,
            row.place,
            _stamp(row.stamp),
            row.milli_c,
            row.fault,
            row.raw,
            row.note,
            row.milli_rh,
        )
        for row in batch.rows
    ]
    try:
        saved, urgent, mine = _store(batch, rows, service, station)
    except readings.Conflict as conflict:
        with service.store.write() as tx:
            note_conflict(tx, station, str(conflict), service.timeline.true_ms())
        raise
    for pour_id in saved.pours:
        service.news.tell("readings", pour=pour_id)
    service.watch.wake()
    early = any(pour.stage in (Stage.POURING, Stage.WATCHED) for pour in mine)
    answer = BatchAnswer(
        acknowledged_seq=saved.acknowledged_seq,
        stored=saved.stored,
        repeated=saved.repeated,
        lamp=urgent is not None,
        buzzer=urgent == "high",
        fan=bool(station.fan_on),
        next_s=FIRST_HOUR_S if early else LATER_S,
    )
    content = answer.model_dump_json().encode()
    return Response(content, media_type="application/json", headers={"Content-Digest": _digest(content)})


def _store(
    batch: BatchShape, rows: list[readings.Incoming], service: Service, station: Row[Any]
) -> tuple[readings.Saved, str | None, list[Row[Any]]]:
    """Everything of a batch in one transaction: what was saved, the loudest alarm, and the station's live pours."""
    health = batch.health
    with service.store.write() as tx:
        if health is not None:
            stations.note_health(tx, station, health.power_low, health.disk_free_mb)
        saved = readings.save_batch(
            tx, station, batch.spool, _stamp(batch.sent), rows, service.timeline.true_ms(),
            clock_set=service.timeline.clock_set,
        )  # fmt: skip
        urgent = alarms.loudest_at(tx, station.id)
        mine = [pour for pour in pours.live_pours(tx) if pour.station_id == station.id]
    return saved, urgent, mine


def _digest(content: bytes) -> str:
    return f"sha-256=:{base64.b64encode(hashlib.sha256(content).digest()).decode()}:"


def _stamp(shape: StampShape) -> Stamp:
    return Stamp(shape.wall_ms, shape.boot_id, shape.boot_ms, shape.clock_set)
