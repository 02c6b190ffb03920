"""A cup test from the mixing to the resin's datasheet: begun, looked at, added and fitted again, or ended without."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import Any

import tomli_w
from sqlalchemy import Connection

from logger.cure.fit.datasheet import datasheet_from_text
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.cure.fit.what_it_means import CUPS, MEASURED_PCT, within_pct
from logger.errors import BadInput, NotAllowed
from logger.live.cup_watch import course_of
from logger.probe_checks.cup import CupCourse, CupState, mean_of
from logger.quantities import grams, temperature
from logger.store import cup_tests, probe_checks, resins, stations
from logger.store.cup_tests import CupTest, KeptLoss
from logger.words.phrase import phrase
from web.service.service import Service

#: What a cup may weigh, kg. More than a kilogram of a quick system can smoke.
MASS_KG = (0.02, 1.0)
#: A room in which a cup may be tried, °C.
ROOM_C = (5.0, 40.0)


@dataclass(frozen=True, slots=True)
class CupNow:
    """A running test with its course so far. room_c: the mean of its probe in the room, None without one."""

    test: CupTest
    course: CupCourse
    elapsed_s: float
    room_c: float | None


def usual_kg(max_depth_mm: float | None) -> float:
    """Return the mass that a first test takes, kg: the largest that is tried of a resin of this depth."""
    return max(kg for depth_mm, kg in CUPS if (max_depth_mm or 0.0) >= depth_mm)


def begin(service: Service, by: str, key: str, probe: str, room: str, mass_g: float) -> None:
    """Note that a cup was mixed now. `probe`, `room`: "station/rom"; room may be empty. Raises BadInput, NotAllowed."""
    begin_cup(service, by, key, (probe, room), mass_g, {})


def begin_cup(
    service: Service, by: str, key: str, probes: tuple[str, str], mass_g: float, more: dict[str, Any]
) -> None:
    """Note a cup that was filled now; probes: in it and in the room; more: what else is kept of it. Raises BadInput,
    NotAllowed.
    """
    least, most = MASS_KG
    if not least <= mass_g / 1000 <= most:
        raise BadInput(
            phrase("mass"),
            phrase("is out of range"),
            value=grams(mass_g, None),
            allowed=phrase(
                "{least} to {most}", least=grams(1000 * least, None), most=grams(1000 * most, None)
            ),
            remedy=phrase("take a small cup: a large one heats itself, and may smoke"),
        )
    with service.store.write() as tx:
        name = resins.get(tx, key).facts["name"]
        if cup_tests.running(tx, key):
            raise NotAllowed(phrase("a cup of this resin is being watched: end that test first"))
        station, rom = _probe_of(tx, probes[0], "probe")
        room_rom = None
        if probes[1]:
            room_station, room_rom = _probe_of(tx, probes[1], "room probe")
            if room_station.id != station.id or room_rom == rom:
                raise BadInput(
                    phrase("room probe"),
                    phrase("must be another probe of the same station"),
                    remedy=phrase("choose again"),
                )
        data = {
            "key": key,
            "mass_kg": round(mass_g / 1000, 4),
            "station": station.name,
            "station_id": station.id,
            "rom": rom,
            "room_rom": room_rom,
        }
        cup_tests.begin(tx, service.timeline, by, name, data | more)
    service.look_often(station.name)


def now_of(service: Service, connection: Connection, key: str) -> CupNow | None:
    """Return the running test of a resin with its course; None where none runs."""
    tests = [test for test in cup_tests.running(connection, key) if not test.water]
    return look_at(service, connection, tests[0]) if tests else None


def look_at(service: Service, connection: Connection, test: CupTest) -> CupNow:
    """Return a test with its course so far."""
    course, elapsed_s = course_of(connection, service.timeline, test)
    room_c = None
    if test.room_rom is not None:
        until_s = course.peak_s if course.peak_s is not None else elapsed_s
        room_c = mean_of(cup_tests.looks(connection, test, test.room_rom), until_s)
    return CupNow(test, course, elapsed_s, room_c)


def stop(service: Service, by: str, key: str) -> None:
    """End the running test without a result. Raises NotFound, and NotAllowed where none runs."""
    with service.store.write() as tx:
        resins.get(tx, key)
        tests = cup_tests.running(tx, key)
        if not tests:
            raise NotAllowed(phrase("no cup of this resin is being watched"))
        cup_tests.end(tx, service.timeline.true_ms(), by, tests[0], None)


def add_to_datasheet(service: Service, by: str, key: str, room_c: float | None) -> None:
    """Add what the cup measured to the resin's datasheet, and fit it again: takes seconds.

    `room_c`: the room, where no probe measured it. Raises BadInput, NotAllowed, DidNotConverge; then nothing is kept.
    """
    with service.store.read() as connection:
        now, data = now_of(service, connection, key), resins.get(connection, key).facts
        loss = cup_tests.heat_loss(connection, key)
    if now is None:
        raise NotAllowed(phrase("no cup of this resin is being watched"))
    statement = statement_of(now, room_c, loss)
    text = with_statement(data["sheet_toml"], statement)
    fit = fit_datasheet(datasheet_from_text(text, "datasheet")).to_json()
    changed = {"sheet_toml": text, "fit": fit}
    if data["source"]["kind"] == "datasheet":
        # What our own pours have taught stays for plans to come; the datasheet's fit stands beside it.
        changed["table"] = fit["resin"]
    with service.store.write() as tx:
        if now.test.id not in {test.id for test in cup_tests.running(tx, key)}:
            raise NotAllowed(phrase("this test has been ended meanwhile"))
        now_ms = service.timeline.true_ms()
        cup_tests.end(tx, now_ms, by, now.test, statement)
        resins.put(tx, now_ms, by, {**data, **changed})


def same_cup(loss: KeptLoss | None, mass_kg: float) -> KeptLoss | None:
    """Return the loss where it is that of a cup of about this size: half as much to twice as much in it."""
    return loss if loss is not None and 0.5 <= mass_kg / loss.water_kg <= 2.0 else None


def statement_of(now: CupNow, room_c: float | None, loss: KeptLoss | None = None) -> dict[str, Any]:
    """Return what a cup measured, as a [[peak]] of a datasheet; loss: what a cup of hot water has shown before.

    Raises NotAllowed before its peak is past, BadInput.
    """
    course = now.course
    if course.state is not CupState.PAST or course.peak_c is None or course.peak_s is None:
        raise NotAllowed(phrase("its peak is not past yet, or was not seen: there is nothing to add"))
    at_c = now.room_c if now.room_c is not None else room_c
    if at_c is None or not ROOM_C[0] <= at_c <= ROOM_C[1]:
        raise BadInput(
            phrase("room"),
            phrase("is missing") if at_c is None else phrase("is out of range"),
            value=None if at_c is None else temperature(at_c),
            allowed=phrase(
                "{least} to {most}", least=temperature(ROOM_C[0], 0), most=temperature(ROOM_C[1], 0)
            ),
            remedy=phrase("how warm was it beside the cup?"),
        )
    loss = same_cup(loss, now.test.mass_kg)
    statement = {
        "mass_kg": now.test.mass_kg,
        "at_c": round(at_c, 1),
        "peak_c": round(course.peak_c, 1),
        "time_min": round(course.peak_s / 60, 1),
        "tolerance_pct": MEASURED_PCT if loss is None else within_pct(loss.error_pct),
    }
    return statement if loss is None else statement | {"loss_w_m2k": round(loss.w_m2k, 2)}


def with_statement(sheet_toml: str | None, statement: dict[str, Any]) -> str:
    """Return a datasheet's text with one more [[peak]]. Raises BadInput for a resin that has no datasheet."""
    if not sheet_toml:
        raise BadInput(
            phrase("datasheet"),
            phrase("was never given for this resin"),
            remedy=phrase("add it first: change its datasheet on the page of resins"),
        )
    sheet = tomllib.loads(sheet_toml)
    sheet.setdefault("peak", []).append(statement)
    return tomli_w.dumps(sheet)


def _probe_of(tx: Connection, choice: str, field: str) -> tuple[Any, str]:
    name, _, rom = choice.partition("/")
    if not rom:
        raise BadInput(field, phrase("is not chosen"), remedy=phrase("choose the probe that stands there"))
    station = stations.by_name(tx, name)
    return station, probe_checks.probe(tx, station.id, rom).rom
