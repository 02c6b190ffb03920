"""The shape of a plan's pour: area of its top, depth of all layers, volume between two depths."""

from __future__ import annotations

import math

from logger.errors import BadPlan
from logger.facts import fact
from logger.plan.file import Plan
from logger.planning.physics.volume import (
    edge_volume_m3,
    frustum_m3,
    integrate,
    perimeter_m,
    polygon_area_m2,
    section_area_m2,
    void_m3,
)


def total_depth_m(plan: Plan) -> float:
    """Depth of all layers together, m."""
    return (plan.pour.depth_mm + sum(layer.depth_mm for layer in plan.layer)) / 1000


def layer_depths_m(plan: Plan) -> list[float]:
    """Depth of each layer from the bottom up, m."""
    return [plan.pour.depth_mm / 1000, *(layer.depth_mm / 1000 for layer in plan.layer)]


def stations_m(plan: Plan) -> list[tuple[float, float]] | None:
    """(place, width) along a river or sheet, m; None when the plan does not give its length."""
    if plan.outline is not None and plan.outline.stations_mm is not None:
        return [(at / 1000, width / 1000) for at, width in plan.outline.stations_mm]
    if plan.pour.width_mm is None or plan.pour.length_mm is None:
        return None
    width = plan.pour.width_mm / 1000
    return [(0.0, width), (plan.pour.length_mm / 1000, width)]


def points_m(plan: Plan) -> list[tuple[float, float]] | None:
    """Return the traced outline, m, if there is one."""
    if plan.outline is None or plan.outline.points_mm is None:
        return None
    return [(x / 1000, y / 1000) for x, y in plan.outline.points_mm]


def top_area_m2(plan: Plan) -> float | None:
    """Area of the top face, m²; None when the plan does not say enough."""
    traced = points_m(plan)
    if traced is not None:
        return polygon_area_m2(traced)
    if plan.pour.shape == "round":
        return math.pi / 4 * (_diameter_m(plan)) ** 2
    stations = stations_m(plan)
    if stations is None:
        return None
    return integrate([at for at, _ in stations], [width for _, width in stations]).value


def reading_doubt_m2(plan: Plan) -> float:
    """How far two rules of area differ on the plan's stations, m²: a measure of too few stations."""
    stations = stations_m(plan) if points_m(plan) is None and plan.pour.shape != "round" else None
    if stations is None:
        return 0.0
    return integrate([at for at, _ in stations], [width for _, width in stations]).doubt


def between_m3(plan: Plan, from_top_m: float, to_m: float) -> float | None:
    """Volume of the shape between two depths below its top face, m³; None when the plan does not say enough.

    Widths and outlines are those of the top face; `edge_slope_deg` leads from there down.
    """
    if not 0 <= from_top_m <= to_m:
        raise BadPlan(
            fact("depth-of-pour"),
            fact("depths-out-of-order"),
            value=(from_top_m, to_m),
            allowed=fact("from-top-down"),
            remedy=fact("mend.give-upper-depth-first"),
        )
    lean = plan.outline.edge_slope_deg if plan.outline else 0.0
    traced = points_m(plan)
    if traced is not None:
        edge_mm = plan.outline.sloping_edge_mm if plan.outline else None
        edge = perimeter_m(traced) if edge_mm is None else edge_mm / 1000
        straight = polygon_area_m2(traced) * (to_m - from_top_m)
        return max(0.0, straight + edge_volume_m3(edge, to_m, lean) - edge_volume_m3(edge, from_top_m, lean))
    if plan.pour.shape == "round":
        total = max(total_depth_m(plan), to_m)
        top = _diameter_m(plan)
        bottom = top
        if plan.outline is not None and plan.outline.bottom_diameter_mm is not None:
            bottom = plan.outline.bottom_diameter_mm / 1000
        at = [top + (bottom - top) * depth / total for depth in (from_top_m, to_m)]
        return frustum_m3(at[0], at[1], to_m - from_top_m)
    stations = stations_m(plan)
    if stations is None:
        return None
    sections = [section_area_m2(w, to_m, lean) - section_area_m2(w, from_top_m, lean) for _, w in stations]
    return integrate([at for at, _ in stations], sections).value


def layers_m3(plan: Plan) -> list[float] | None:
    """Volume of each layer from the bottom up, m³, before voids and allowances."""
    below_top = total_depth_m(plan)
    volumes = []
    for depth in layer_depths_m(plan):
        # Repeated subtraction must not leave a hair below 0.
        upper = max(0.0, below_top - depth)
        volume = between_m3(plan, upper, below_top)
        if volume is None:
            return None
        volumes.append(volume)
        below_top = upper
    return volumes


def voids_m3(plan: Plan) -> float:
    """Volume of all voids, m³."""
    return sum(
        void.count * void_m3(void.shape, void.length_mm / 1000, void.width_mm / 1000, void.depth_mm / 1000)
        for void in plan.void
    )


def _diameter_m(plan: Plan) -> float:
    if plan.pour.width_mm is None:
        raise BadPlan(
            fact("quantity.width-of-pour"),
            fact("is-missing"),
            allowed=fact("diameter-of-mould"),
            remedy=fact("mend.measure-it"),
        )
    return plan.pour.width_mm / 1000
