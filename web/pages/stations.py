"""Stations and probes: do all thermometers read, and which are doubtful?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.alarms.conditions.equipment import CLOCK_OFF_MS
from logger.condition.condition_words import FAULT_WORDS
from logger.condition.evidence import PLACES
from logger.daemon.new_station import SIMULATED_C
from logger.errors import BadInput
from logger.quantities import seconds
from logger.store import events, pours
from logger.store import stations as store
from logger.store.rows import ProbeRow, StationRow
from logger.version import own_version
from logger.words.phrase import phrase
from web.actions import enrolment
from web.actions.first_steps import next_step
from web.security.access import OwnerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: Longest note of where a station stands.
STANDS_LETTERS = 100


@router.get("/stations")
def stations(request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Every station with its probes, and a form to enrol another."""
    return page(request, "stations.html", _context(service))


@router.post("/stations")
def enrol(
    request: Request,
    service: ServiceDep,
    who: OwnerDep,
    name: Annotated[str, Form()] = "",
    where: Annotated[str, Form()] = enrolment.ELSEWHERE,
) -> Response:
    """Enrol a station, or give a known one a new token, which this answer alone shows; write its files where it is
    this machine's.
    """
    name = name.strip()
    try:
        enrolled = enrolment.enrol(service, who.name, name, where, str(request.base_url))
    except BadInput as error:
        again = {"problem": error.fact, "typed": {"name": name, "where": where}}
        return page(request, "stations.html", _context(service) | again, status=422)
    # Shown in the answer to the POST itself: a redirect would have to carry the token in an address.
    return page(request, "stations.html", _context(service) | {"enrolled": enrolled})


@router.post("/stations/{name}/place")
def place(
    request: Request, name: str, service: ServiceDep, who: OwnerDep, stands: Annotated[str, Form()] = ""
) -> Response:
    """Where a station stands: the bench, the hall, the site."""
    stands = " ".join(stands.split())
    if len(stands) > STANDS_LETTERS:
        allowed = phrase("at most {n} letters", n=STANDS_LETTERS)
        error = BadInput(
            phrase("where it stands"), phrase("is too long"), allowed=allowed, remedy=phrase("shorten it")
        )
        again = {"problem": error.fact, "typed_stands": {name: stands}}
        return page(request, "stations.html", _context(service) | again, status=422)
    with service.store.write() as tx:
        store.place(tx, name, stands)
        events.add_event(
            tx, None, service.timeline.true_ms(), "station-placed", who.name, f"{name}: {stands}"
        )
    return RedirectResponse("/stations", 303)


@router.post("/stations/{name}/revoke")
def revoke(name: str, service: ServiceDep, who: OwnerDep) -> Response:
    """Revoke a station's token, which opens nothing any more: for a lost card or a station that went elsewhere."""
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        store.revoke(tx, name, now_ms)
        events.add_event(tx, None, now_ms, "station-revoked", who.name, name)
    return RedirectResponse("/stations", 303)


def _clock_off(row: StationRow) -> str | None:
    """How far a station's clock is off, in words; None while it is not, or nobody knows."""
    if row.clock_off_ms is None or abs(row.clock_off_ms) <= CLOCK_OFF_MS:
        return None
    off = seconds(abs(row.clock_off_ms) / 1000)
    if row.clock_off_ms > 0:
        return phrase(
            "its clock is {off} ahead of the service's: readings are dated by their arrival", off=off
        )
    return phrase("its clock is {off} behind the service's: readings are dated by their arrival", off=off)


def _reading(station: Mapping[str, Any], probe: ProbeRow) -> bool:
    """Whether a probe gives a temperature now."""
    return not station["silent"] and probe.last_fault is None and probe.last_milli_c is not None


def _answer(stations: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """How many thermometers read, of those whose station may send; which places do not; the verdict's tone."""
    probes = [
        (station, probe)
        for station in stations
        if station["row"].revoked_ms is None
        for probe in station["probes"]
        if probe.place.split("-")[0] in PLACES
    ]
    silent = [probe.place for station, probe in probes if not _reading(station, probe)]
    reads = len(probes) - len(silent)
    tone = "open" if not probes else "ok" if not silent else "watch" if reads else "lost"
    return {"all": len(probes), "reads": reads, "silent": silent, "tone": tone}


def _in_the_form(probe: ProbeRow) -> tuple[int, str]:
    """Return what probes are listed by: core, surface, underside, room, then contacts."""
    kind = probe.place.split("-")[0]
    return (PLACES.index(kind) if kind in PLACES else len(PLACES), probe.place)


def _section(station: Mapping[str, Any]) -> dict[str, float | None]:
    """Place → what it reads now, °C, for the drawing of the form: the first probe of each place; None where silent."""
    drawn: dict[str, float | None] = {}
    for probe in station["probes"]:
        if probe.place in PLACES:
            celsius = probe.last_milli_c / 1000 if _reading(station, probe) else None
            drawn.setdefault(probe.place, celsius)
    return drawn


def _context(service: Service) -> dict[str, Any]:
    now_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        probes, watched = store.probes_by_station(connection), pours.live_by_station(connection)
        rows: list[dict[str, Any]] = [
            {
                "row": row,
                "probes": probes.get(row.id, []),
                "pours": watched.get(row.id, []),
                "old": row.version is not None and row.version != own_version(),
                "clock_off": _clock_off(row),
                "silent": row.last_seen_ms is None or now_ms - row.last_seen_ms > store.SILENT_MS,
            }
            for row in store.all_stations(connection)
        ]
    for row in rows:
        row["probes"] = sorted(row["probes"], key=_in_the_form)
        row["section"] = _section(row)
    return {
        "stations": rows,
        "answer": _answer(rows),
        "fault_words": FAULT_WORDS,
        "thermometers": PLACES,
        "problem": None,
        "own_version": own_version(),
        "enrolled": None,
        "typed": None,
        "typed_stands": {},
        "simulated_c": SIMULATED_C,
        "offer": enrolment.offer(service),
        "next_step": next_step(service, "/stations"),
    }
