"""Stations: enrol, list, revoke."""

from __future__ import annotations

from fastapi import APIRouter

from logger.store import events, stations
from web.answers import ERRORS, EnrolledAnswer, ProbeAnswer, StationAnswer
from web.schemas import Name, NewStation
from web.security.access import OwnerDep, ServiceDep, ViewerDep

router = APIRouter(prefix="/api/stations", tags=["stations"], responses=ERRORS)


@router.get("")
def all_stations(service: ServiceDep, _who: ViewerDep) -> list[StationAnswer]:
    """Every station with its probes."""
    with service.store.read() as connection:
        return [
            StationAnswer(
                name=row.name,
                last_seen_ms=row.last_seen_ms,
                clock_set=row.clock_set,
                clock_off_s=None if row.clock_off_ms is None else round(row.clock_off_ms / 1000),
                revoked=row.revoked_ms is not None,
                probes=[
                    ProbeAnswer(
                        rom=probe.rom,
                        place=probe.place,
                        last_good_ms=probe.last_good_ms,
                        last_milli_c=probe.last_milli_c,
                        last_fault=probe.last_fault,
                        readings=probe.readings,
                        faults=probe.faults,
                    )
                    for probe in stations.probes_of(connection, row.id)
                ],
            )
            for row in stations.all_stations(connection)
        ]


@router.post("", status_code=201)
def enrol(new: NewStation, service: ServiceDep, who: OwnerDep) -> EnrolledAnswer:
    """Enrol a station, or give a known one a new token. The token is shown this once."""
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, new.name, now_ms)
        events.add_event(tx, None, now_ms, "station-enrolled", who.name, new.name)
    return EnrolledAnswer(name=new.name, token=token)


@router.post("/{name}/revoke", status_code=204)
def revoke(name: Name, service: ServiceDep, who: OwnerDep) -> None:
    """Revoke a station's token, which opens nothing any more; its readings stay."""
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        stations.revoke(tx, name, now_ms)
        events.add_event(tx, None, now_ms, "station-revoked", who.name, name)
