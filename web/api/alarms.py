"""Alarms: what is open, acknowledging, silencing for a while, and how the alarms themselves behave."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy import Row

from logger.alarms.rates import rates
from logger.quantities import METRIC
from logger.store import alarms, pours
from web import attend, desk
from web.access import MakerDep, ServiceDep, ViewerDep
from web.service import Service
from web.shapes import ERRORS, AckShape, OutShape, RowId, ShelveShape

router = APIRouter(prefix="/api", tags=["alarms"], responses=ERRORS)
DAY_MS = 24 * 3600_000
Days = Annotated[float, Query(gt=0, le=3650)]


@router.get("/alarms")
def open_alarms(service: ServiceDep, _who: ViewerDep) -> list[dict[str, Any]]:
    """Every alarm that is true or unacknowledged, the gravest first."""
    with service.store.read() as connection:
        return [_told(row) for row in alarms.open_alarms(connection)]


@router.get("/alarms/rates")
def alarm_rates(service: ServiceDep, _who: ViewerDep, days: Days = 30) -> dict[str, Any]:
    """How the alarms themselves behaved over the last days: rates, floods, chattering, stale ones, priorities."""
    return rates_of(service, days)


@router.get("/pours/{pour_id}/alarms")
def alarms_of(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> list[dict[str, Any]]:
    """Every activation of a pour's alarms, oldest first."""
    with service.store.read() as connection:
        pours.get_pour(connection, pour_id)
        return [_told(row) for row in alarms.alarms_of(connection, pour_id)]


@router.post("/alarms/{alarm_id}/acknowledge")
def acknowledge(alarm_id: RowId, body: AckShape, service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """Somebody has it in hand."""
    desk.acknowledge(service, alarm_id, who.name, body.text)
    return _one(service, alarm_id)


@router.post("/alarms/{alarm_id}/shelve")
def shelve(alarm_id: RowId, body: ShelveShape, service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """Quiet for some hours; each kind has its longest."""
    attend.shelve(service, alarm_id, who.name, body.hours, body.reason)
    return _one(service, alarm_id)


@router.post("/alarms/{alarm_id}/unshelve")
def unshelve(alarm_id: RowId, service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """Off the shelf before its time."""
    attend.unshelve(service, alarm_id, who.name)
    return _one(service, alarm_id)


@router.post("/alarms/{alarm_id}/out-of-service")
def out_of_service(alarm_id: RowId, body: OutShape, service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """Quiet for a stated reason; one of high priority only until an end."""
    attend.take_out_of_service(service, alarm_id, who.name, body.reason, body.hours)
    return _one(service, alarm_id)


@router.post("/alarms/{alarm_id}/return-to-service")
def return_to_service(alarm_id: RowId, service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """Back in service."""
    attend.return_to_service(service, alarm_id, who.name)
    return _one(service, alarm_id)


def rates_of(service: Service, days: float) -> dict[str, Any]:
    """The figures of the last days, as JSON. No longer than the history is."""
    until_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        spans = alarms.spans(connection)
        begin_ms = alarms.history_from_ms(connection)
    from_ms = max(until_ms - round(days * DAY_MS), begin_ms if begin_ms is not None else until_ms)
    found = rates(spans, from_ms, until_ms)
    return {"from_ms": from_ms, "until_ms": until_ms, **asdict(found)}


def _one(service: Service, alarm_id: int) -> dict[str, Any]:
    with service.store.read() as connection:
        return _told(alarms.get_alarm(connection, alarm_id))


def _told(row: Row[Any]) -> dict[str, Any]:
    """An alarm as programs see it: its sentence, like its numbers, in SI and °C."""
    return {**row._mapping, "reason": METRIC.shown(row.reason)}
