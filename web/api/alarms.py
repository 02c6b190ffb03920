"""Alarms: what is open, and acknowledging. Acting is always a POST."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from logger.store import alarms
from web import desk
from web.access import MakerDep, ServiceDep, ViewerDep
from web.shapes import AckShape, RowId

router = APIRouter(prefix="/api", tags=["alarms"])


@router.get("/alarms")
def open_alarms(service: ServiceDep, _who: ViewerDep) -> list[dict[str, Any]]:
    """Every alarm that is true or unacknowledged, the gravest first."""
    with service.store.read() as connection:
        return [dict(row._mapping) for row in alarms.open_alarms(connection)]


@router.get("/pours/{pour_id}/alarms")
def alarms_of(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> list[dict[str, Any]]:
    """Every activation of a pour's alarms, oldest first."""
    with service.store.read() as connection:
        return [dict(row._mapping) for row in alarms.alarms_of(connection, pour_id)]


@router.post("/alarms/{alarm_id}/acknowledge")
def acknowledge(alarm_id: RowId, body: AckShape, service: ServiceDep, who: MakerDep) -> dict[str, Any]:
    """Somebody has it in hand."""
    desk.acknowledge(service, alarm_id, who.name, body.text)
    with service.store.read() as connection:
        return dict(alarms.get_alarm(connection, alarm_id)._mapping)
