"""While a pour is watched: looks, measures of the first hour, the fan, and whether messages arrive."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from logger.delivery.channels import shown
from logger.quantities import METRIC
from logger.store import links, outbox, stations
from web import attend, desk
from web.access import MakerDep, ServiceDep, ViewerDep
from web.once import OnceDep
from web.service import Service
from web.shapes import ERRORS, FanShape, LevelShape, LookShape, Name, PouredShape, RowId
from web.untested import untested

router = APIRouter(prefix="/api", tags=["watching"], responses=ERRORS)


@router.post("/pours/{pour_id}/looks", status_code=201)
def look(
    pour_id: RowId, body: LookShape, service: ServiceDep, who: MakerDep, done: OnceDep
) -> dict[str, Any]:
    """Somebody looked at the form; kept once, with an `Idempotency-Key`."""
    if done is None:
        desk.look(service, pour_id, body.finding, who.name, body.text)
    return {"finding": body.finding}


@router.post("/pours/{pour_id}/poured", status_code=201)
def poured(pour_id: RowId, body: PouredShape, service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """How much has gone in so far, against the plan."""
    differs = attend.poured(service, pour_id, body.litres, who.name)
    return {"differs": differs and METRIC.shown(differs)}


@router.post("/pours/{pour_id}/level", status_code=201)
def level(pour_id: RowId, body: LevelShape, service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """The level against a mark on the form."""
    fell = attend.level(service, pour_id, body.level_mm, who.name)
    return {"fell": fell and METRIC.shown(fell)}


@router.post("/stations/{name}/fan")
def fan(name: Name, body: FanShape, service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """Switches a station's fan relay by hand, or gives it back to plan and forecast."""
    if body.on is None:
        attend.give_fan_back(service, name, who.name)
    else:
        attend.fan(service, name, on=body.on, by=who.name)
    with service.store.read() as connection:
        station = stations.by_name(connection, name)
    return {"station": name, "on": station.fan_on, "by": station.fan_by}


@router.get("/messages")
def messages(service: ServiceDep, _who: ViewerDep) -> dict[str, Any]:
    """Whether messages arrive: when a test was last confirmed, and what waits."""
    return messages_of(service)


@router.post("/messages/test", status_code=201)
def send_test(service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """Sends a test message to every address."""
    return {"groups": attend.send_trial(service, who.name)}


def messages_of(service: Service) -> dict[str, Any]:
    """What is known of the messages, as JSON; times of day are true, ages in hours."""
    now_ms, shift_ms = service.timeline.now_ms(), service.timeline.shift_ms
    with service.store.read() as connection:
        confirmed_ms = links.last_confirmed_ms(connection)
        tried_ms = outbox.last_trial_ms(connection)
        waiting_ms = outbox.oldest_waiting_ms(connection)
        newest = [
            {"at_ms": row.created_ms + shift_ms, "to": row.to, "why": row.why, "title": row.title,
             "state": row.state, "attempts": row.attempts, "problem": row.problem, "takers": row.takers}
            for row in outbox.newest_messages(connection)
        ]  # fmt: skip
    told = service.settings.messages
    return {
        "channels": {
            "first": [shown(url) for url in told.urls],
            "second": [shown(u) for u in told.second_urls],
        },
        "heartbeat": told.heartbeat_url is not None,
        "untested": untested(service),
        "confirmed_ms": None if confirmed_ms is None else confirmed_ms + shift_ms,
        "confirmed_h_ago": None if confirmed_ms is None else round((now_ms - confirmed_ms) / 3.6e6, 2),
        "test_sent_ms": None if tried_ms is None else tried_ms + shift_ms,
        "undelivered_since_ms": None if waiting_ms is None else waiting_ms + shift_ms,
        "messages": newest,
    }
