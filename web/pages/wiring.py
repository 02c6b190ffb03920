"""For a maker with a drill press: where the probes go, and how they are wired."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from logger.errors import LoggerError
from logger.plan.file import plan_from_text
from logger.planning.physics.shape import total_depth_m
from logger.pour import LIVE, Stage
from logger.store import pours
from logger.store.rows import PourWithPrediction
from logger.words.phrase import phrase
from web.security.access import ServiceDep, ViewerDep
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: The digital probe keeps its tighter accuracy up to here, °C (its data sheet, DC table): hotter, a thermocouple.
CHIP_FINE_C = 85.0
#: Closer to half depth than this needs no second probe, mm: a sleeve is about as wide.
SAME_MM = 6.0


@dataclass(frozen=True, slots=True)
class Cooling:
    """One way of cooling the same form, and where the model then finds the hottest point."""

    words: str
    hottest_mm: int
    top_w_m2k: float
    bottom_w_m2k: float
    insulated: bool = False


DEPTH_MM = 50
#: The plan behind the page's table; a test solves each way again. The resin is invented.
PLAN = """
title = "Where is it hottest?"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 330
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[pour]
shape = "river"
depth_mm = {depth_mm}
width_mm = 250
length_mm = 1800
[air]
room_c = 21
top_w_m2k = {top_w_m2k}
bottom_w_m2k = {bottom_w_m2k}
"""
INSULATED = "[form.bottom]\nthickness_mm = 40\nconductivity_w_mk = 0.035\ndensity_kg_m3 = 30\n"
WAYS = (
    Cooling(phrase("still air above and below the panel"), 22, 9, 9),
    Cooling(phrase("a fan over the top"), 18, 25, 9),
    Cooling(phrase("a fan over the top, the bottom on insulating foam"), 4, 25, 3, insulated=True),
    Cooling(phrase("covered above, air moving below"), 30, 3, 12),
)


def plan_of(way: Cooling) -> str:
    """Return the plan file of one way of cooling."""
    plan = PLAN.format(depth_mm=DEPTH_MM, top_w_m2k=way.top_w_m2k, bottom_w_m2k=way.bottom_w_m2k)
    return plan + (INSULATED if way.insulated else "")


@router.get("/placing")
def placing(request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Where each probe goes, and where the model puts the hottest point of the pours at hand."""
    with service.store.read() as connection:
        rows = pours.predicted_pours(connection, (Stage.PLANNED, Stage.READY, *LIVE))
    points = [point for row in rows if (point := _hottest(row)) is not None]
    return page(request, "placing.html", {"depth_mm": DEPTH_MM, "cases": WAYS, "pours": points})


@router.get("/wiring")
def wiring(request: Request, _who: ViewerDep) -> Response:
    """Wires, resistor, contacts, lamp, buzzer, fan."""
    return page(request, "wiring.html")


def _hottest(pour: PourWithPrediction) -> dict[str, Any] | None:
    """Return what the model says of one pour's hottest point; None where it has not been solved."""
    prediction = pour.prediction or {}
    hottest = prediction.get("hottest")
    if hottest is None:
        return None
    try:
        plan = plan_from_text(pour.plan_toml)
    except LoggerError:
        # An old plan that this program no longer reads has no advice; its own page says what is wrong with it.
        return None
    x_mm, z_mm, probe_mm = hottest["x_mm"], hottest["z_mm"], plan.pour.depth_mm / 2
    peak_c = prediction["peak_c"]
    advice = []
    if abs(z_mm - probe_mm) > SAME_MM or x_mm > SAME_MM:
        advice.append(phrase("Give it a second core probe there."))
    else:
        advice.append(
            phrase("One core probe at half depth of the first layer sees it.")
            if plan.layer
            else phrase("One core probe at half depth sees it.")
        )
    if peak_c > CHIP_FINE_C:
        advice.append(phrase("That is hot for the digital probe: take a thermocouple for the core."))
    return {
        "title": pour.title,
        "x_mm": x_mm,
        "z_mm": z_mm,
        # Above a first layer there may be others: a hottest point is measured against all of them.
        "depth_mm": 1000 * total_depth_m(plan),
        "peak_c": peak_c,
        "advice": " ".join(advice),
    }
