"""Whether the service stands; open to anybody, tells nothing of pours."""

from __future__ import annotations

from fastapi import APIRouter

from logger.store.database import latest_revision
from web.access import ServiceDep
from web.shapes import Health

router = APIRouter(prefix="/api", tags=["health"])


@router.get("/health")
def health(service: ServiceDep) -> Health:
    """Answers once the database answers."""
    with service.store.read() as connection:
        connection.exec_driver_sql("SELECT 1")
    return Health(status="ok", schema_version=latest_revision(), clock_set=service.timeline.clock_set)
