"""How long a mass of mixed resin stays workable: a pail is the worst shape there is, it keeps its heat.

The one model of it, for planning and the mix check: the solver's, of a cup as wide as the mix is deep, as the datasheet
fit has it. A lump without conduction inside sheds too much heat and gives a quarter more time than there is. A large
pail is over before it is thick: its core, which no stick reaches, runs off while the rest is still liquid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from logger.cure.fit.datasheet import WorkingTime, specimen_plan
from logger.cure.fit.datasheet_model import WORKABLE
from logger.cure.model.crossing import first_crossing
from logger.cure.model.history import time_to
from logger.cure.solver.ensemble import as_planned
from logger.cure.solver.march import CORE, MEAN, Accuracy, Resolution
from logger.cure.solver.simulation import Checkpoint, SolverRun, simulate
from logger.errors import OutOfRange
from logger.facts import fact
from logger.plan.file import Plan, Resin
from logger.quantities import mass, temperature
from logger.units import SECONDS_PER_HOUR, ZERO_CELSIUS_K

#: A mix that is workable for longer than this does not cure in that room, h: two weeks.
LONGEST_H = 14 * 24.0
#: A pail whose core is so warm, °C, and has warmed itself by so much, K, is not worked any more: it feels warm through
#: its wall and is on its way to smoke. This project's choice, no standard.
HOT_CORE_C, HOT_CORE_RISE_K = 45.0, 10.0
#: Masses at which the solver is asked are powers of this. Between them lies a straight line over mass^(−2/3), which is
#: how fast a shape of that mass sheds its heat: at most 1 % above the solver's time and 5 % below it.
MASS_STEP = 2.0
#: Lightest and heaviest of them, kg: below, the mix stays at the room's temperature; above, it keeps all its heat.
LIGHTEST_KG, HEAVIEST_KG = 2.0**-8, 2.0**6
#: Mesh and steps: within 1 % of the solver at its full accuracy, in a twentieth of a second.
_RESOLUTION = Resolution(0.4, Accuracy(kelvin=0.6, part_of_rise=2e-2, conversion=6e-3))
#: The march stops after these parts of its longest time to look whether the mix is too thick already.
_PARTS = (0.4, 0.55, 0.7, 0.85, 1.0)


def working_time_h(
    resin: Resin,
    mass_kg: float,
    room_c: float,
    *,
    start_c: float | None = None,
    conversion: float = WORKABLE,
) -> float:
    """Return the hours until a mass in a cup as wide as it is deep is too thick, or its core too hot, from the solver.

    "Too thick" is that mean conversion, self-heating included; too hot is `hot_core_c`. Spread out as a pour it lasts
    longer. start_c: the mix when its parts meet; the room's where it is not given. Raises OutOfRange, DidNotConverge.
    """
    coldest = room_c if start_c is None else min(room_c, start_c)
    # A mix that warms itself is ahead of the isothermal cure.
    longest = time_to(conversion, coldest, resin.rate, resin.diffusion)
    plan = _cup(resin, mass_kg, room_c, start_c, min(1.05 * (longest or LONGEST_H), LONGEST_H))
    hours = _time_to(plan, conversion)
    if hours is None:
        raise OutOfRange(
            fact("working-time"),
            fact("never-thickens", mass=mass(mass_kg, None)),
            value=temperature(room_c, None),
            allowed=fact("room-that-cures"),
            remedy=fact("warm-the-room"),
        )
    return hours


@lru_cache(maxsize=256)
def conversion_after(resin: Resin, mass_kg: float, room_c: float, hours: float) -> float:
    """Return the mean conversion of a mass in a cup so many hours after mixing. Raises OutOfRange, DidNotConverge."""
    return float(_marched(_cup(resin, mass_kg, room_c, None, hours), None, hours).mean[-1])


def hot_core_c(start_c: float) -> float:
    """Return the temperature of its core at which a mix that met at start_c is not worked any more, °C."""
    return max(HOT_CORE_C, start_c + HOT_CORE_RISE_K)


@lru_cache(maxsize=64)
def pail_course(
    resin: Resin, mass_kg: float, room_c: float, start_c: float | None, hours: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return hours since the parts met and the core's temperature, °C, of a pail up to that hour.

    Raises OutOfRange, DidNotConverge.
    """
    course = _marched(_cup(resin, mass_kg, room_c, start_c, hours), None, hours)
    return tuple(course.hours.tolist()), tuple(course.core_c.tolist())


def quick_working_time_h(
    resin: Resin,
    mass_kg: float,
    room_c: float,
    *,
    start_c: float | None = None,
    conversion: float = WORKABLE,
) -> float:
    """Return `working_time_h` from masses that are solved once and remembered: for many pails of one plan.

    Raises OutOfRange, DidNotConverge.
    """
    if not (math.isfinite(mass_kg) and mass_kg > 0):
        raise _no_mass(mass_kg, room_c)
    mass_kg = min(max(mass_kg, LIGHTEST_KG), HEAVIEST_KG)
    power = math.floor(math.log(mass_kg, MASS_STEP) + 1e-9)
    lighter = _remembered_h(resin, power, room_c, start_c, conversion)
    shed, most, least = (kg ** (-2.0 / 3.0) for kg in (mass_kg, MASS_STEP**power, MASS_STEP ** (power + 1)))
    part = float((most - shed) / (most - least))
    if part < 1e-6:
        return lighter
    return (1.0 - part) * lighter + part * _remembered_h(resin, power + 1, room_c, start_c, conversion)


@lru_cache(maxsize=512)
def _remembered_h(resin: Resin, power: int, room_c: float, start_c: float | None, conversion: float) -> float:
    return working_time_h(resin, MASS_STEP**power, room_c, start_c=start_c, conversion=conversion)


def _no_mass(mass_kg: float, room_c: float) -> OutOfRange:
    return OutOfRange(
        fact("working-time"),
        fact("mass-or-room-out-of-range"),
        value=(mass_kg, room_c),
        allowed=fact(
            "range-and-range",
            low=mass(0.001, None),
            high=mass(200.0, None),
            coldest=temperature(-10.0, 0),
            warmest=temperature(80.0, 0),
        ),
        remedy=fact("give-mass-of-pail"),
    )


def _cup(resin: Resin, mass_kg: float, room_c: float, start_c: float | None, hours: float) -> Plan:
    try:
        statement = WorkingTime(at_c=room_c, mass_kg=mass_kg, time_min=1.0)
    except ValidationError as error:
        raise _no_mass(mass_kg, room_c) from error
    plan = specimen_plan(statement, resin.model_dump(exclude_none=True, mode="json"), hours)
    assert plan is not None  # a mass always has its cup
    return plan.model_copy(update={"pour": plan.pour.model_copy(update={"start_c": start_c})})


@dataclass(frozen=True)
class _Course:
    """A cup over time, (T,) each: hours, mean conversion, temperature of the core, °C."""

    hours: NDArray[np.float64]
    mean: NDArray[np.float64]
    core_c: NDArray[np.float64]


def _time_to(plan: Plan, conversion: float) -> float | None:
    """Hours to that mean conversion, or to a hot core before it; None where the run ends before either."""
    course = _marched(plan, conversion, plan.run.hours)
    room_c = plan.room_schedule()[0][1]
    hot_c = hot_core_c(room_c if plan.pour.start_c is None else plan.pour.start_c)
    ends = (
        first_crossing(course.hours, course.mean, conversion),
        first_crossing(course.hours, course.core_c, hot_c),
    )
    return min((end for end in ends if end is not None), default=None)


def _marched(plan: Plan, until: float | None, hours: float) -> _Course:
    """Return the course of a cup, no further than it takes to reach `until`."""
    problem = as_planned(plan, _RESOLUTION.fineness)
    at, mean, core = [], [], []
    checkpoint: Checkpoint | None = None
    for part in _PARTS:
        result = simulate(problem, SolverRun(hours * part, accuracy=_RESOLUTION.accuracy), start=checkpoint)
        checkpoint = result.end
        time_s, reading = result.track.by_member(1)[0]
        at.append(time_s / SECONDS_PER_HOUR)
        mean.append(reading[:, MEAN])
        core.append(reading[:, CORE] - ZERO_CELSIUS_K)
        if until is not None and mean[-1][-1] >= until:
            break
    return _Course(np.concatenate(at), np.concatenate(mean), np.concatenate(core))
