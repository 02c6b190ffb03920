"""Probe care: one probe's age, faults and checks; ice water, a dip, and which probe is in the hand."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from sqlalchemy import Connection
from starlette.responses import RedirectResponse, Response

from logger.condition.condition_words import FAULT_WORDS
from logger.condition.evidence import PLACES
from logger.errors import BadInput, NotAllowed
from logger.facts import fact
from logger.places import place_name
from logger.probe_checks.chip_reading import applied_c
from logger.probe_checks.dip import dip
from logger.probe_checks.hand import BACK_S, in_hand
from logger.probe_checks.ice_point import ice_point
from logger.quantities import difference
from logger.store import events, probe_checks
from logger.store import stations as store
from logger.store.rows import StationRow
from logger.words.phrase import phrase
from web.actions.placement import place_probe
from web.schemas import Name
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: How far back a check looks: a dip is over in minutes.
ICE_BACK_S, DIP_BACK_S = 300.0, 480.0
#: Stored and applied offsets that differ by less are the same, K: the chip's own step is 0.0625.
SAME_K = 0.02
#: What a check may be begun for: each has its page.
BEGUN = ("ice", "dip", "hand")


@router.get("/stations/{name}/hand")
def hand(name: Name, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Which probe is the one in the hand?"""
    return page(request, "hand.html", _hand(service, name))


@router.post("/stations/{name}/hand")
def keep_hand(
    name: Name, service: ServiceDep, who: MakerDep, rom: Annotated[str, Form(max_length=64)]
) -> Response:
    """Somebody held this probe, and it was the one that the page named."""
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        station = store.by_name(tx, name)
        row = probe_checks.probe(tx, station.id, rom)
        data = {"station": name, "rom": rom, "place": row.place}
        probe_checks.note_check(
            tx,
            now_ms,
            probe_checks.HAND,
            who.name,
            fact("probe-sits-at", rom=rom, place=place_name(row.place)),
            data,
        )
    return RedirectResponse(f"/stations/{name}/hand", 303)


@router.post("/stations/{name}/checks")
def begin(
    name: Name,
    service: ServiceDep,
    who: MakerDep,
    what: Annotated[str, Form(max_length=8)],
    rom: Annotated[str, Form(max_length=64)] = "",
) -> Response:
    """Begin a check: the station looks more often for a while."""
    if what not in BEGUN:
        raise BadInput(
            "what",
            phrase("is not a check"),
            value=what,
            allowed=", ".join(BEGUN),
            remedy=phrase("press again"),
        )
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        station = store.by_name(tx, name)
        if what != "hand":
            probe_checks.probe(tx, station.id, rom)
        events.add_event(
            tx, None, now_ms, "check-begun", who.name, f"{what} {rom}".strip(), {"station": name}
        )
    service.look_often(name)
    return RedirectResponse(
        f"/stations/{name}/hand" if what == "hand" else f"/stations/{name}/probes/{rom}/{what}", 303
    )


@router.get("/stations/{name}/probes/{rom}")
def one_probe(name: Name, rom: Name, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """One probe: its age, its faults, its checks."""
    with service.store.read() as connection:
        station = store.by_name(connection, name)
        context = _about(connection, service, station, rom)
        context["faults"] = probe_checks.faults(connection, station.id, rom)
    days = [(_day(day), times) for day, times in context["faults"].by_day.items()]
    return page(request, "probe.html", context | {"fault_words": FAULT_WORDS, "days": days})


@router.post("/stations/{name}/probes/{rom}/place")
def place(
    name: Name, rom: Name, service: ServiceDep, who: MakerDep, place: Annotated[str, Form(max_length=40)] = ""
) -> Response:
    """Say where a probe sits; the station takes it over with its next reading."""
    place_probe(service, who.name, name, rom, place)
    return RedirectResponse(f"/stations/{name}/hand", 303)


@router.get("/stations/{name}/probes/{rom}/ice")
def ice(name: Name, rom: Name, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Show the guided check in ice water."""
    return page(request, "ice.html", _ice(service, name, rom))


@router.post("/stations/{name}/probes/{rom}/ice")
def keep_ice(name: Name, rom: Name, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Keep the offset, worked out from the readings that the service has, with its date and person."""
    context = _ice(service, name, rom)
    if context["live"] is not None:
        raise NotAllowed(
            phrase(
                "this station watches '{pour}': check its probes before or after the pour",
                pour=context["live"],
            )
        )
    result = context["result"]
    if result.offset_c is None:
        return page(
            request,
            "ice.html",
            context | {"problem": phrase("Not yet: {says}.", says=result.says)},
            status=422,
        )
    now_ms = service.timeline.true_ms()
    data = {
        "station": name,
        "rom": rom,
        "place": context["probe"].place,
        "offset_c": result.offset_c,
        "mean_c": result.mean_c,
        "spread_c": result.spread_c,
        "looks": result.looks,
    }
    with service.store.write() as tx:
        text = fact("event-ice", rom=rom, offset=difference(result.offset_c, 2, signed=True))
        probe_checks.note_check(tx, now_ms, probe_checks.ICE, who.name, text, data)
    return RedirectResponse(f"/stations/{name}/probes/{rom}", 303)


@router.get("/stations/{name}/probes/{rom}/dip")
def dip_page(name: Name, rom: Name, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Show the guided dip."""
    return page(request, "dip.html", _dip(service, name, rom))


@router.post("/stations/{name}/probes/{rom}/dip")
def keep_dip(name: Name, rom: Name, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Keep the time constant, worked out from the readings that the service has."""
    context = _dip(service, name, rom)
    result = context["result"]
    if result.tau_s is None:
        return page(
            request,
            "dip.html",
            context | {"problem": phrase("Not yet: {says}.", says=result.says)},
            status=422,
        )
    now_ms = service.timeline.true_ms()
    data = {
        "station": name,
        "rom": rom,
        "place": context["probe"].place,
        "tau_s": result.tau_s,
        "below": result.below,
        "step_k": result.step_k,
    }
    with service.store.write() as tx:
        probe_checks.note_check(
            tx, now_ms, probe_checks.DIP, who.name, fact("event-dip", rom=rom, says=result.says), data
        )
    return RedirectResponse(f"/stations/{name}/probes/{rom}", 303)


def _day(number: int) -> str:
    """Return a day since 1970 (UTC) as people say it."""
    return datetime.fromtimestamp(number * 86_400, UTC).strftime("%a %-d %b %Y")


def _about(connection: Connection, service: Service, station: StationRow, rom: str) -> dict[str, Any]:
    now_ms = service.timeline.true_ms()
    row, done = probe_checks.probe(connection, station.id, rom), probe_checks.checks(connection, rom)
    last = [
        r for r in probe_checks.recent(connection, station.id, rom, now_ms - 600_000) if r.milli_c is not None
    ][-1:]
    added_c = applied_c(last[0].raw, last[0].milli_c) if last else None
    checked = probe_checks.newest_of(done, probe_checks.ICE)
    ice_offset_c = None if checked is None else checked.facts["offset_c"]
    return {
        "station": station,
        "probe": row,
        "checks": done,
        "ice": checked,
        "dip": probe_checks.newest_of(done, probe_checks.DIP),
        "hand": probe_checks.newest_of(done, probe_checks.HAND),
        "added_c": added_c,
        "ice_offset_c": ice_offset_c,
        "agrees": added_c is not None and ice_offset_c is not None and abs(added_c - ice_offset_c) <= SAME_K,
        "humidity_pct": None if not last or last[0].milli_rh is None else last[0].milli_rh / 1000,
        "digital": rom.startswith("28-"),
        "live": probe_checks.in_live_pour(connection, station.id),
        "problem": None,
    }


def _ice(service: Service, name: str, rom: str) -> dict[str, Any]:
    now_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        station = store.by_name(connection, name)
        context = _about(connection, service, station, rom)
        looks = probe_checks.looks(connection, station.id, rom, now_ms - round(ICE_BACK_S * 1000))
    return context | {"result": ice_point(looks, now_ms / 1000), "last": looks[-1] if looks else None}


def _dip(service: Service, name: str, rom: str) -> dict[str, Any]:
    now_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        station = store.by_name(connection, name)
        context = _about(connection, service, station, rom)
        looks = probe_checks.looks(connection, station.id, rom, now_ms - round(DIP_BACK_S * 1000))
    return context | {"result": dip(looks), "last": looks[-1] if looks else None}


def _hand(service: Service, name: str) -> dict[str, Any]:
    now_ms = service.timeline.true_ms()
    since_ms = now_ms - round(BACK_S * 1000)
    with service.store.read() as connection:
        station = store.by_name(connection, name)
        probes = [row for row in store.probes_of(connection, station.id) if row.place.split("-")[0] in PLACES]
        looks = {row.rom: probe_checks.looks(connection, station.id, row.rom, since_ms) for row in probes}
        live = probe_checks.in_live_pour(connection, station.id)
        hand_checks = {
            row.rom: probe_checks.newest_of(probe_checks.checks(connection, row.rom), probe_checks.HAND)
            for row in probes
        }
    warmed, rises = in_hand(looks, now_ms / 1000)
    return {
        "station": station,
        "warmed": next((row for row in probes if row.rom == warmed), None),
        "places": PLACES,
        "ordered": service.place_orders.get(name, {}),
        "live": live,
        "rows": [{"probe": row, "rise": rises.get(row.rom), "check": hand_checks[row.rom]} for row in probes],
    }
