"""The guided cup test: a small cup of a resin with one probe, to know its heat better."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Path, Request
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from logger.condition.evidence import PLACES
from logger.cure.fit.datasheet import cup_mm
from logger.cure.fit.what_it_means import MEASURED_PCT, within_pct
from logger.errors import BadInput, DidNotConverge, LoggerError, NotAllowed, NotFound
from logger.plan.file import Resin
from logger.probe_checks.cup import APART_K, DANGER_C, HOT_C, CupLook, CupState
from logger.quantities import quantity
from logger.store import cup_tests, resins, stations
from logger.words.phrase import phrase
from web.actions import cup_test as actions
from web.actions import cup_water
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.reader_units import reader_of
from web.views.render import page
from web.views.sparkline import Course, sparkline
from web.views.typed import as_typed, celsius_from, grams_from, single

router = APIRouter(include_in_schema=False)
#: What its fields are called where they are refused.
MASS, ROOM = phrase("mass"), phrase("room")
Key = Annotated[str, Path(pattern=r"^[0-9a-f]{12}$")]
Text = Annotated[str, Form(max_length=200)]


@router.get("/resins/{key}/cup-test")
def cup_page(key: Key, request: Request, service: ServiceDep, _who: ViewerDep, mass_g: str = "") -> Response:
    """Guide through the test, or show the one that runs. `mass_g`: what somebody was advised to weigh."""
    with service.store.read() as connection:
        if cup_water.now_of(service, connection, key) is not None:
            return RedirectResponse(f"/resins/{key}/cup-test/water", 303)
    return page(request, "cup-test.html", _context(request, service, key, {}, _advised_g(mass_g)))


@router.post("/resins/{key}/cup-test")
def begin(
    key: Key,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    probe: Text = "",
    room: Text = "",
    mass: Text = "",
) -> Response:
    """Begin a test: the parts were mixed now, and from here on it logs itself."""
    try:
        mass_g = single(grams_from(mass, MASS, reader_of(request)), mass, MASS)
        with as_typed(mass, MASS):
            actions.begin(service, who.name, key, probe, room, mass_g)
    except (BadInput, NotAllowed, NotFound) as error:
        given = {"probe": probe, "room": room, "mass": mass}
        return _again(request, service, key, error, given)
    return RedirectResponse(f"/resins/{key}/cup-test", 303)


@router.post("/resins/{key}/cup-test/add")
def add(key: Key, request: Request, service: ServiceDep, who: MakerDep, room_c: Text = "") -> Response:
    """Add what the cup measured to the datasheet, and fit the resin again."""
    u = reader_of(request)
    try:
        celsius = single(celsius_from(room_c, ROOM, u), room_c, ROOM) if room_c.strip() else None
        with as_typed(room_c, ROOM):
            actions.add_to_datasheet(service, who.name, key, celsius)
    except (BadInput, NotAllowed, DidNotConverge) as error:
        return _again(request, service, key, error, {"room_c": room_c})
    return RedirectResponse(f"/resins/{key}/cup-test#measured", 303)


@router.post("/resins/{key}/cup-test/stop")
def stop(key: Key, service: ServiceDep, who: MakerDep) -> Response:
    """End the test without a result."""
    actions.stop(service, who.name, key)
    return RedirectResponse(f"/resins/{key}/cup-test", 303)


def _advised_g(mass_g: str) -> float | None:
    """Return an advised mass, g; None where there is none, or none that a cup may have."""
    least, most = actions.MASS_KG
    try:
        grams = float(mass_g)
    except ValueError:
        return None
    return grams if 1000 * least <= grams <= 1000 * most else None


def _again(
    request: Request, service: Service, key: str, error: LoggerError, given: dict[str, str]
) -> Response:
    context = _context(request, service, key, given) | {"problem": error.fact}
    return page(request, "cup-test.html", context, status=422)


def _context(
    request: Request, service: Service, key: str, given: dict[str, str], advised_g: float | None = None
) -> dict[str, Any]:
    with service.store.read() as connection:
        row = resins.get(connection, key)
        now = actions.now_of(service, connection, key)
        looks = cup_tests.looks(connection, now.test, now.test.rom) if now else []
        choices = [] if now else choices_of(service, connection)
        loss = cup_tests.heat_loss(connection, key)
        measured = cup_tests.measured(connection, key)
        before = _bands_before(connection, key, row.id) if measured else {}
    resin = Resin.model_validate(row.facts["table"])
    weigh_g = advised_g or 1000 * actions.usual_kg(resin.limits.max_depth_mm)
    start = {"mass": reader_of(request).bare_scale(weigh_g)} | usual_probes(choices)
    return {
        "key": key,
        "resin": resin,
        "loss": loss,
        "counts": actions.same_cup(loss, now.test.mass_kg if now else weigh_g / 1000),
        "within_pct": MEASURED_PCT if loss is None else within_pct(loss.error_pct),
        "has_sheet": bool(row.facts["sheet_toml"]),
        "now": now,
        "picture": picture_of(looks, now.elapsed_s, DANGER_C) if now else None,
        "state": CupState,
        "choices": choices,
        "given": start | {name: value for name, value in given.items() if value},
        "weigh_g": weigh_g,
        "cup_mm": cup_mm(weigh_g / 1000, resin.density_kg_m3),
        "measured": measured,
        "before": before,
        "after": _bands(row.facts["fit"]),
        "hot_c": HOT_C,
        "danger_c": DANGER_C,
        "apart_k": APART_K,
        "problem": None,
    }


def picture_of(looks: list[CupLook], elapsed_s: float, limit_c: float | None) -> Markup | None:
    """Return a cup's course so far, against where it gets dangerous; None before there is one."""
    if len(looks) < 2:
        return None
    # As many points as the picture is wide; a fault stays a gap.
    few = sorted(looks, key=lambda look: look.at_s)[:: 1 + len(looks) // 400]
    course = Course(
        [look.at_s / 3600 for look in few], [look.celsius for look in few], elapsed_s / 3600, limit_c
    )
    return sparkline(course)


def usual_probes(choices: list[dict[str, Any]]) -> dict[str, str]:
    """Return the probes that are chosen until somebody chooses others: a core's in the cup, the room's."""
    cores = [one for one in choices if one["place"].startswith("core") and one["free"]]
    rooms = [one for one in choices if one["place"].startswith("room")]
    # Both are read by one station: a room beside another bench is no room of this cup.
    pairs = [(core, room) for core in cores for room in rooms if core["station"] == room["station"]]
    if pairs:
        core, room = pairs[0]
        return {"probe": core["value"], "room": room["value"]}
    return {"probe": cores[0]["value"] if cores else "", "room": ""}


def choices_of(service: Service, connection: Any) -> list[dict[str, Any]]:
    """Return every thermometer that reads now, and whether it is free."""
    now_ms, choices = service.timeline.true_ms(), []
    probes = stations.probes_by_station(connection)
    for station in stations.all_stations(connection):
        for probe in probes.get(station.id, []):
            silent = probe.last_good_ms is None or now_ms - probe.last_good_ms > stations.SILENT_MS
            if silent or probe.last_milli_c is None or probe.place.split("-")[0] not in PLACES:
                continue
            try:
                cup_tests.free_for_a_cup(connection, station.id, probe.rom)
                free = True
            except NotAllowed:
                free = False
            choices.append(
                {
                    "value": f"{station.name}/{probe.rom}",
                    "place": probe.place,
                    "station": station.name,
                    "celsius": probe.last_milli_c / 1000,
                    "free": free,
                }
            )
    return choices


def _bands_before(connection: Any, key: str, row_id: int) -> dict[str, str]:
    """Return how well the resin was known before its last cup."""
    earlier = [row for row in resins.history(connection, key) if row.id < row_id]
    return _bands(earlier[-1].facts["fit"]) if earlier else {}


def _bands(fit: dict[str, Any] | None) -> dict[str, str]:
    """Return how well a fit knows its resin, words → numbers, 9 of 10 cases: less, where an older program made it."""
    bands: dict[str, str] = {}
    if fit and "rate_factor_range_90pct" in fit:
        bands[phrase("how fast it cures")] = phrase(
            "known within a factor of {factor}", factor=quantity(fit["rate_factor_range_90pct"], "", 2)
        )
    heat = (fit or {}).get("ranges_90pct", {}).get("heat_of_cure_j_g")
    if heat:
        bands[phrase("how much heat it gives")] = phrase(
            "{low} to {high}", low=quantity(heat[0], "", 0), high=quantity(heat[1], "J/g", 0)
        )
    return bands
