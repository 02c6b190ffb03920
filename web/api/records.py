"""Records, and how far the watch has come."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from sqlalchemy import func, select

from logger.record.gather import gather
from logger.store import pours
from logger.store.readings import READING
from web.access import ServiceDep, ViewerDep
from web.shapes import RowId

router = APIRouter(prefix="/api/pours", tags=["records"])


@router.get("/{pour_id}/record")
def record(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> dict[str, Any]:
    """Everything that is kept about a pour but its single readings."""
    with service.store.read() as connection:
        return gather(connection, pour_id, service.settings.workshop)


@router.get("/{pour_id}/progress")
def progress(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> dict[str, int]:
    """How many readings there are, and how many the watch has yet to judge."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        mine = select(func.count()).where(READING.c.pour_id == pour_id)
        return {
            "readings": int(connection.execute(mine).scalar_one()),
            "to_judge": int(
                connection.execute(mine.where(READING.c.id > pour.judged_reading_id)).scalar_one()
            ),
        }
