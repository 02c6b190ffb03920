"""A cup of hot water before the cup of resin: begun, looked at, and its heat loss kept with the resin."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logger.errors import BadInput, NotAllowed
from logger.probe_checks.cup import mean_of
from logger.probe_checks.water_cup import WaterCourse, WaterState, water_course
from logger.quantities import temperature
from logger.store import cup_tests, resins
from logger.store.cup_tests import CupTest
from logger.words.phrase import phrase
from web.actions.cup_test import ROOM_C, begin_cup
from web.service.service import Service


@dataclass(frozen=True, slots=True)
class WaterNow:
    """A running cup of water with its course so far, and the room: its probe's mean, else as somebody said, °C."""

    test: CupTest
    course: WaterCourse
    elapsed_s: float
    room_c: float | None


def begin(
    service: Service, by: str, key: str, probes: tuple[str, str], water_g: float, room_c: float | None
) -> None:
    """Note that a cup was filled with hot water now. probes: in it and in the room, "station/rom"; room_c: the room,
    where no probe is in it. Raises BadInput, NotAllowed.
    """
    if not probes[1] and (room_c is None or not ROOM_C[0] <= room_c <= ROOM_C[1]):
        raise BadInput(
            phrase("room"),
            phrase("is missing") if room_c is None else phrase("is out of range"),
            value=None if room_c is None else temperature(room_c),
            allowed=phrase(
                "{least} to {most}", least=temperature(ROOM_C[0], 0), most=temperature(ROOM_C[1], 0)
            ),
            remedy=phrase("choose a probe in the room, or say how warm it is beside the cup"),
        )
    begin_cup(service, by, key, probes, water_g, {"water": True, "room_c": None if probes[1] else room_c})


def now_of(service: Service, connection: Connection, key: str) -> WaterNow | None:
    """Return the running cup of water of a resin with its course; None where none runs."""
    tests = [test for test in cup_tests.running(connection, key) if test.water]
    return look_at(service, connection, tests[0]) if tests else None


def look_at(service: Service, connection: Connection, test: CupTest) -> WaterNow:
    """Return a cup of water with its course so far."""
    elapsed_s = max(0.0, (service.timeline.true_ms() - test.mixed_ms) / 1000)
    room_c = test.room_c
    if test.room_rom is not None:
        room_c = mean_of(cup_tests.looks(connection, test, test.room_rom), elapsed_s)
    if room_c is None:
        return WaterNow(test, WaterCourse(WaterState.WAITING), elapsed_s, None)
    looks = cup_tests.looks(connection, test, test.rom)
    return WaterNow(test, water_course(looks, elapsed_s, test.mass_kg, room_c), elapsed_s, room_c)


def keep(service: Service, by: str, key: str) -> None:
    """End the cup of water and keep what it loses with the resin. Raises NotAllowed before enough has been seen."""
    with service.store.write() as tx:
        resins.get(tx, key)
        now = now_of(service, tx, key)
        if now is None:
            raise NotAllowed(phrase("no cup of water is being watched"))
        loss = now.course.loss
        if now.course.state is not WaterState.KNOWN or loss is None:
            raise NotAllowed(phrase("it has not cooled far enough yet: there is nothing to keep"))
        told = (round(loss.w_m2k, 2), round(loss.error_pct, 1))
        cup_tests.end_water(tx, service.timeline.true_ms(), by, now.test, told)
