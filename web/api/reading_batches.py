"""Batches from stations: acknowledged after the commit, each row stored once."""

from __future__ import annotations

import asyncio
import logging
import re
import time
from collections.abc import Callable, Coroutine
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, HTTPException, Request, Response
from fastapi.routing import APIRoute
from pydantic import BeforeValidator, ValidationError
from sqlalchemy.exc import SQLAlchemyError
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse

from logger.content_digest import content_digest
from logger.errors import NotAllowed
from logger.pour import Stage
from logger.store import readings
from logger.store.conflicts import note_conflict
from logger.store.reading_batches import ReadingBatch
from logger.store.rows import StationRow
from logger.store.shops import sees
from logger.words.phrase import phrase
from web.answers import ERRORS, BatchAnswer
from web.errors import Forbidden, SignInNeeded
from web.schemas import BATCH_BODY, BatchShape
from web.security.access import ServiceDep, StationDep
from web.service.service import Service

log = logging.getLogger(__name__)


class _AsSent(Request):
    """A request whose JSON is read and checked in one go, which costs a large batch two thirds of the usual way."""

    async def json(self) -> Any:
        """Return the batch, or why it is refused. Raises JSONDecodeError."""
        try:
            return BatchShape.model_validate_json(await self.body())
        except ValidationError as refused:
            await super().json()  # raises where it is no JSON at all
            return refused


def _accepted(batch: object) -> object:
    """Return a batch that was accepted. Raises ValidationError for one that was not: now that its sender is known."""
    if isinstance(batch, ValidationError):
        raise batch
    return batch


class _BatchRoute(APIRoute):
    """A route that takes a batch."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """As usual, over such a request."""
        usual = super().get_route_handler()

        async def handle(request: Request) -> Response:
            return await usual(_AsSent(request.scope, request.receive))

        return handle


router = APIRouter(prefix="/api", tags=["stations"], responses=ERRORS, route_class=_BatchRoute)
#: How a station names itself: the program and its version.
_AGENT = re.compile(r"pourlog-station/([\w.+-]{1,32})(?:\s|$)", re.ASCII)
#: Seconds between sweeps: in the first hour, later, and while somebody checks a probe.
FIRST_HOUR_S, LATER_S, CHECK_S = 5.0, 30.0, 2.0


async def whole(request: Request) -> None:
    """Refuse a body that is not what its `Content-Digest` says (RFC 9530). Without one it is taken as it is."""
    stated = request.headers.get("Content-Digest", "")
    if stated.startswith("sha-256=:") and stated != content_digest(await request.body()):
        raise HTTPException(400, "the batch was altered on the way; send it again")


@router.post("/batches", max_body_size=BATCH_BODY, dependencies=[Depends(whole)], response_model=BatchAnswer)
async def take_batch(
    batch: Annotated[BatchShape, BeforeValidator(_accepted)],
    service: ServiceDep,
    station: StationDep,
    user_agent: Annotated[str, Header()] = "",
) -> Response:
    """Store a station's rows and answer what it should do."""
    began_s = time.perf_counter()
    if batch.station != station.name:
        raise Forbidden(
            phrase(
                "this token belongs to station '{station}', not '{named}'",
                station=station.name,
                named=batch.station,
            )
        )
    # Before anything that could fail or take long: see logger/alarms/plain_limit.py.
    service.plain.take(station.id, (*batch.rows, *batch.newest), service.timeline.now_ms())
    version = _new_version(user_agent, station.version)
    sent = ReadingBatch(station.id, batch.spool, batch.sent, batch.rows, station.token_hash)
    try:
        # Waited for, not stood still for: so many stations send at once that a thread for each would cost more.
        stored = await asyncio.wrap_future(service.intake.submit(sent, batch.health, version))
    except readings.Conflict as conflict:
        service.counted.refused()
        await run_in_threadpool(_note, service, station, conflict)
        raise
    except NotAllowed as error:
        service.counted.refused()
        service.known_stations.pop(station.token_hash or "", None)
        raise SignInNeeded(error.fact) from error
    except SQLAlchemyError as error:
        service.counted.failed()
        return _not_stored(service, station, error)
    if version is not None:  # looked up anew with the next batch
        service.known_stations.pop(station.token_hash or "", None)
    saved, there = stored.saved, stored.station
    service.counted.batch(time.perf_counter() - began_s, saved.stored, saved.repeated)
    core_hot = service.plain_watch is not None and service.plain_watch.reports_at(station.id)
    early = any(stage in (Stage.POURING, Stage.WATCHED) for stage in there.stages)
    answer = BatchAnswer(
        acknowledged_seq=saved.acknowledged_seq,
        stored=saved.stored,
        repeated=saved.repeated,
        lamp=there.urgent is not None or core_hot,
        buzzer=there.urgent == "high" or core_hot,
        fan=there.fan_on,
        next_s=CHECK_S if service.looks_often(station.name) else FIRST_HOUR_S if early else LATER_S,
        core_limit_c=service.plain.limit_at(station.id),
        places=service.places_ordered(station.name, batch.rows),
    )
    content = answer.model_dump_json().encode()
    return Response(
        content, media_type="application/json", headers={"Content-Digest": content_digest(content)}
    )


def _not_stored(service: Service, station: StationRow, error: SQLAlchemyError) -> Response:
    """Answer a batch that cannot be stored: nothing of it is acknowledged. Its core's limit was looked at all the
    same, and the answer says whether lamp and buzzer belong on.
    """
    log.error("a batch of %s cannot be stored: %s", station.name, getattr(error, "orig", error))
    core_hot = service.plain_watch is not None and service.plain_watch.reports_at(station.id)
    message = "the batch cannot be stored now: keep its rows, and send it again"
    error_body = {"kind": "not-stored", "message": message, "where": None, "remedy": None}
    return JSONResponse({"error": error_body, "core_hot": core_hot}, 503)


def _note(service: Service, station: StationRow, conflict: readings.Conflict) -> None:
    # The station's shop alone: it is asked whether that was noted there already, and noted there.
    with sees(station.shop_id), service.store.write() as tx:
        note_conflict(tx, station, conflict.fact, service.timeline.true_ms())


def _new_version(user_agent: str, recorded: str | None) -> str | None:
    """Return the program that a station says it is (RFC 9110, 10.1.5), when that is not what is known of it."""
    match = _AGENT.match(user_agent)
    return None if match is None or match[1] == recorded else match[1]
