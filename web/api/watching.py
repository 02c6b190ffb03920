"""While a pour is watched: looks, measures of the first hour, the fan, and whether messages arrive."""

from __future__ import annotations

from fastapi import APIRouter

from logger.store import stations
from logger.words.reader import METRIC
from logger.words.render import say
from web.actions import pours, watching
from web.actions.message_test import messages_of
from web.answers import (
    ERRORS,
    FanAnswer,
    LevelAnswer,
    LookAnswer,
    MessagesAnswer,
    PouredAnswer,
    TestSent,
)
from web.schemas import FanShape, LevelShape, LookShape, Name, PouredShape, RowId
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.security.idempotency import OnceDep

router = APIRouter(prefix="/api", tags=["watching"], responses=ERRORS)


@router.post("/pours/{pour_id}/looks", status_code=201)
def look(pour_id: RowId, body: LookShape, service: ServiceDep, who: MakerDep, done: OnceDep) -> LookAnswer:
    """Somebody looked at the form; kept once, with an `Idempotency-Key`."""
    if done is None:
        pours.look(service, pour_id, pours.MadeLook(body.finding, body.text, body.made_ms), who.name)
    return LookAnswer(finding=body.finding)


@router.post("/pours/{pour_id}/poured", status_code=201)
def poured(pour_id: RowId, body: PouredShape, service: ServiceDep, who: MakerDep) -> PouredAnswer:
    """How much has gone in so far, against the plan."""
    differs = watching.poured(service, pour_id, body.litres, who.name)
    return PouredAnswer(differs=differs and say(differs, METRIC))


@router.post("/pours/{pour_id}/level", status_code=201)
def level(pour_id: RowId, body: LevelShape, service: ServiceDep, who: MakerDep) -> LevelAnswer:
    """Note the level against a mark on the form."""
    fell = watching.level(service, pour_id, body.level_mm, who.name)
    return LevelAnswer(fell=fell and say(fell, METRIC))


@router.post("/stations/{name}/fan")
def fan(name: Name, body: FanShape, service: ServiceDep, who: MakerDep) -> FanAnswer:
    """Switch a station's fan relay by hand, or give it back to plan and forecast."""
    if body.on is None:
        watching.give_fan_back(service, name, who.name)
    else:
        watching.fan(service, name, on=body.on, by=who.name)
    with service.store.read() as connection:
        station = stations.by_name(connection, name)
    return FanAnswer(station=name, on=station.fan_on, by=station.fan_by)


@router.get("/messages")
def messages(service: ServiceDep, _who: ViewerDep) -> MessagesAnswer:
    """Whether messages arrive: when a test was last confirmed, and what waits."""
    return messages_of(service)


@router.post("/messages/test", status_code=201)
def send_test(service: ServiceDep, who: MakerDep) -> TestSent:
    """Send a test message to every address."""
    return TestSent(groups=watching.send_trial(service, who.name))
