"""Alarms: what is open, acknowledging, silencing for a while, and how the alarms themselves behave."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter

from logger.store import alarms, pours
from logger.store.rows import AlarmRow
from logger.words.reader import METRIC
from logger.words.render import say
from web.actions import pours as pour_actions
from web.actions import watching
from web.answers import ERRORS, AlarmAnswer, AlarmRatesAnswer, fact_answer
from web.schemas import AckShape, OutShape, RowId, ShelveShape
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.alarm_rates import Days, rates_of

router = APIRouter(prefix="/api", tags=["alarms"], responses=ERRORS)


@router.get("/alarms")
def open_alarms(service: ServiceDep, _who: ViewerDep) -> list[AlarmAnswer]:
    """Every alarm that is true or unacknowledged, the gravest first."""
    with service.store.read() as connection:
        return [_answer(row) for row in alarms.open_alarms(connection)]


@router.get("/alarms/rates")
def alarm_rates(service: ServiceDep, _who: ViewerDep, days: Days = 30) -> AlarmRatesAnswer:
    """How the alarms themselves behaved over the last days: rates, floods, chattering, stale ones, priorities."""
    rates = rates_of(service, days)
    marks = tuple(
        mark.model_copy(
            update={name: say(getattr(mark, name), METRIC) for name in ("name", "asked", "source")}
        )
        for mark in rates.marks
    )
    return rates.model_copy(update={"marks": marks})


@router.get("/pours/{pour_id}/alarms")
def alarms_of(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> list[AlarmAnswer]:
    """Every activation of a pour's alarms, oldest first."""
    with service.store.read() as connection:
        pours.get_pour(connection, pour_id)
        return [_answer(row) for row in alarms.alarms_of(connection, pour_id)]


@router.post("/alarms/{alarm_id}/acknowledge")
def acknowledge(alarm_id: RowId, body: AckShape, service: ServiceDep, who: MakerDep) -> AlarmAnswer:
    """Somebody has it in hand."""
    pour_actions.acknowledge(service, alarm_id, who.name, body.text)
    return _one(service, alarm_id)


@router.post("/alarms/{alarm_id}/shelve")
def shelve(alarm_id: RowId, body: ShelveShape, service: ServiceDep, who: MakerDep) -> AlarmAnswer:
    """Quiet for some hours; each kind has its longest."""
    watching.shelve(service, alarm_id, who.name, body.hours, body.reason)
    return _one(service, alarm_id)


@router.post("/alarms/{alarm_id}/unshelve")
def unshelve(alarm_id: RowId, service: ServiceDep, who: MakerDep) -> AlarmAnswer:
    """Off the shelf before its time."""
    watching.unshelve(service, alarm_id, who.name)
    return _one(service, alarm_id)


@router.post("/alarms/{alarm_id}/out-of-service")
def out_of_service(alarm_id: RowId, body: OutShape, service: ServiceDep, who: MakerDep) -> AlarmAnswer:
    """Quiet for a stated reason; one of high priority only until an end."""
    watching.take_out_of_service(service, alarm_id, who.name, body.reason, body.hours)
    return _one(service, alarm_id)


@router.post("/alarms/{alarm_id}/return-to-service")
def return_to_service(alarm_id: RowId, service: ServiceDep, who: MakerDep) -> AlarmAnswer:
    """Back in service."""
    watching.return_to_service(service, alarm_id, who.name)
    return _one(service, alarm_id)


def _one(service: Service, alarm_id: int) -> AlarmAnswer:
    with service.store.read() as connection:
        return _answer(alarms.get_alarm(connection, alarm_id))


def _answer(row: AlarmRow) -> AlarmAnswer:
    """Return an alarm as programs see it: its sentence, like its numbers, in SI and °C."""
    said = {"reason": say(row.reason, METRIC), "fact": fact_answer(row.reason)}
    return AlarmAnswer(**asdict(row) | said)
