"""The first step of the cup test: a cup of hot water, which tells what the cup itself gives away."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Path, Request
from starlette.responses import RedirectResponse, Response

from logger.cure.fit.datasheet import cup_mm
from logger.cure.fit.what_it_means import MEASURED_PCT, within_pct
from logger.errors import BadInput, LoggerError, NotAllowed, NotFound
from logger.plan.file import Resin
from logger.probe_checks.water_cup import ENOUGH_PART, WATER_KG_M3, WaterState
from logger.store import cup_tests, resins
from web.actions import cup_test, cup_water
from web.pages.cup_test import MASS, ROOM, choices_of, picture_of, usual_probes
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.reader_units import reader_of
from web.views.render import page
from web.views.typed import as_typed, celsius_from, grams_from, single

router = APIRouter(include_in_schema=False)
Key = Annotated[str, Path(pattern=r"^[0-9a-f]{12}$")]
Text = Annotated[str, Form(max_length=200)]


@router.get("/resins/{key}/cup-test/water")
def water_page(key: Key, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Guide through the cup of water, or show the one that cools."""
    return page(request, "cup-water.html", _context(request, service, key, {}))


@router.post("/resins/{key}/cup-test/water")
def begin(
    key: Key,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    probe: Text = "",
    room: Text = "",
    mass: Text = "",
    room_c: Text = "",
) -> Response:
    """Begin: the water is in the cup, and from here on it logs itself."""
    u = reader_of(request)
    try:
        water_g = single(grams_from(mass, MASS, u), mass, MASS)
        celsius = single(celsius_from(room_c, ROOM, u), room_c, ROOM) if room_c.strip() else None
        with as_typed(mass, MASS), as_typed(room_c, ROOM):
            cup_water.begin(service, who.name, key, (probe, room), water_g, celsius)
    except (BadInput, NotAllowed, NotFound) as error:
        given = {"probe": probe, "room": room, "mass": mass, "room_c": room_c}
        return _again(request, service, key, error, given)
    return RedirectResponse(f"/resins/{key}/cup-test/water", 303)


@router.post("/resins/{key}/cup-test/water/keep")
def keep(key: Key, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Keep the heat loss with the resin, and go on to the cup of resin."""
    try:
        cup_water.keep(service, who.name, key)
    except NotAllowed as error:
        return _again(request, service, key, error, {})
    return RedirectResponse(f"/resins/{key}/cup-test", 303)


def _again(
    request: Request, service: Service, key: str, error: LoggerError, given: dict[str, str]
) -> Response:
    context = _context(request, service, key, given) | {"problem": error.fact}
    return page(request, "cup-water.html", context, status=422)


def _context(request: Request, service: Service, key: str, given: dict[str, str]) -> dict[str, Any]:
    u = reader_of(request)
    with service.store.read() as connection:
        row = resins.get(connection, key)
        now = cup_water.now_of(service, connection, key)
        looks = cup_tests.looks(connection, now.test, now.test.rom) if now else []
        busy = now is None and bool(cup_tests.running(connection, key))
        choices = [] if now else choices_of(service, connection)
        kept = cup_tests.heat_loss(connection, key)
    resin = Resin.model_validate(row.facts["table"])
    mix_g = 1000 * cup_test.usual_kg(resin.limits.max_depth_mm)
    # As high in the cup as the resin will be.
    water_g = mix_g * WATER_KG_M3 / resin.density_kg_m3
    error_pct = now.course.loss.error_pct if now and now.course.loss else None
    return {
        "key": key,
        "resin": resin,
        "now": now,
        "busy": busy,
        "picture": picture_of(looks, now.elapsed_s, None) if now else None,
        "state": WaterState,
        "enough_part": ENOUGH_PART,
        "choices": choices,
        "given": usual_probes(choices)
        | {"mass": u.bare_scale(water_g)}
        | {name: value for name, value in given.items() if value},
        "water_g": water_g,
        "mix_g": mix_g,
        "cup_mm": cup_mm(mix_g / 1000, resin.density_kg_m3),
        "kept": kept,
        "without_pct": MEASURED_PCT,
        "with_pct": None if error_pct is None else within_pct(error_pct),
        "problem": None,
    }
