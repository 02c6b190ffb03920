"""Readiness for programs: what the plan asks, who signed, and what still stands in the way."""

from __future__ import annotations

from fastapi import APIRouter

from web.actions import readiness as readiness_actions
from web.answers import ERRORS, ReadinessAnswer
from web.schemas import OverrideShape, RowId, SignShape
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service

router = APIRouter(prefix="/api/pours/{pour_id}/ready", tags=["readiness"], responses=ERRORS)


@router.get("")
def readiness(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> ReadinessAnswer:
    """Return the points with their signatures, photos and overrides, and the obstacles that are left."""
    return _readiness(service, pour_id)


@router.post("/sign")
def sign(pour_id: RowId, shape: SignShape, service: ServiceDep, who: MakerDep) -> ReadinessAnswer:
    """Somebody says yes to a point; its photo goes to /api/pours/{pour_id}/photos with the point's name."""
    readiness_actions.sign(service, pour_id, shape.point, shape.person, who.name)
    return _readiness(service, pour_id)


@router.post("/again")
def sign_again(pour_id: RowId, shape: SignShape, service: ServiceDep, who: MakerDep) -> ReadinessAnswer:
    """Sign a point of two persons again as the same one: 10 min later, after a new photo with the point's name."""
    readiness_actions.sign_again(service, pour_id, shape.point, shape.person, who.name)
    return _readiness(service, pour_id)


@router.post("/unsign")
def unsign(pour_id: RowId, shape: SignShape, service: ServiceDep, who: MakerDep) -> ReadinessAnswer:
    """Take a signature back."""
    readiness_actions.unsign(service, pour_id, shape.point, shape.person, who.name)
    return _readiness(service, pour_id)


@router.post("/override")
def override(pour_id: RowId, shape: OverrideShape, service: ServiceDep, who: MakerDep) -> ReadinessAnswer:
    """Let a point pass by name and reason; it goes into the record."""
    readiness_actions.let_pass(service, pour_id, shape.point, shape.person, shape.reason, who.name)
    return _readiness(service, pour_id)


def _readiness(service: Service, pour_id: int) -> ReadinessAnswer:
    with service.store.read() as connection:
        return readiness_actions.readiness_of(service, connection, pour_id).to_answer()
