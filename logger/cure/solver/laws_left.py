"""Where a plan leaves the range in which the laws of its faces were measured: said, never silently carried on.

Ranges as in Incropera & DeWitt, ch. 7 and 9 (eqs. 9.27, 9.30 to 9.32, 7.38), as a public summary of that chapter gives
them. Every other law of planning refuses what lies outside its range (logger/planning/physics).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.cure.model.heat_transfer import AIR_VISCOSITY, rayleigh
from logger.cure.solver.assumptions import underside_is_closed
from logger.cure.solver.mesh import section_of
from logger.cure.solver.prediction import Prediction
from logger.facts import Fact, fact
from logger.plan.file import Plan


@dataclass(frozen=True)
class Range:
    """From where to where a law was measured: a Rayleigh or Reynolds number."""

    low: float
    high: float


#: Still air over a warm plate (Nu = 0.54 Ra^¼, 0.15 Ra^⅓), under one (0.27 Ra^¼), along a wall (Churchill & Chu's
#: laminar form); air driven along a plate. Radiation of a grey face to a large room has no such range.
STILL_OVER, STILL_UNDER, STILL_ALONG = Range(1e4, 1e11), Range(1e5, 1e10), Range(0.0, 1e9)
DRIVEN = Range(0.0, 1e8)
#: Air is taken as it is at 27 °C. Film temperatures, °C, between which still air's coefficients are so within 6 %:
#: worked out from the handbook's table of air at 250, 300 and 350 K (from memory).
FILM_C = (-20.0, 80.0)


#: A face that is never further from the room than this gives off so little that its law is not asked for, K.
MATTERS_K = 3.0


def laws_left(plan: Plan, prediction: Prediction) -> list[Fact]:
    """Return each face whose law does not reach as far as this plan takes it, when it is at its hottest."""
    air, curve, section = plan.air, prediction.curve, section_of(plan)
    room = [celsius for _, celsius in plan.room_schedule()]
    room_c = float(np.mean(room))
    size_m = section.plate_size_m
    top_c, under_c = float(curve.surface_c.max()), float(curve.underside_c.max())
    left: list[Fact] = []
    if air.top_w_m2k is None and air.top_air_m_s == 0.0:
        left += _still("top", STILL_OVER, top_c, room_c, size_m)
    if air.top_w_m2k is None and air.top_air_m_s * section.plate_run_m / AIR_VISCOSITY > DRIVEN.high:
        left.append(fact("law-left-driven"))
    if air.bottom_w_m2k is None and not underside_is_closed(plan):
        left += _still("underside", STILL_UNDER, under_c, room_c, size_m)
    if air.side_w_m2k is None and plan.pour.shape != "sheet":
        # No wall is warmer outside than the resin behind it.
        height_m = float(section.z_edges[-1] - section.z_edges[0])
        left += _still("side", STILL_ALONG, float(curve.core_c.max()), room_c, height_m)
    computed = air.top_w_m2k is None or air.bottom_w_m2k is None
    film_c = 0.5 * (max(top_c, under_c) + room_c)
    if computed and not FILM_C[0] <= film_c <= FILM_C[1]:
        left.append(fact("law-left-air"))
    return left


def _still(face: str, law: Range, face_c: float, room_c: float, length_m: float) -> list[Fact]:
    number = float(rayleigh(face_c, room_c, length_m))
    if abs(face_c - room_c) < MATTERS_K:
        return []
    if number < law.low:
        return [_SMALL[face]]
    return [_LARGE[face]] if number > law.high else []


_SMALL = {"top": fact("law-left-small-top"), "underside": fact("law-left-small-underside")}
_LARGE = {
    "top": fact("law-left-large-top"),
    "underside": fact("law-left-large-underside"),
    "side": fact("law-left-large-side"),
}
