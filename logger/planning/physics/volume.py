"""How much resin: areas from stations or traced points, sloping edges, round moulds, voids and allowances.

SI inside: metres, m², m³. Formulas: trapezoid and Simpson's rule, the surveyor's (shoelace) formula, the
prismoidal formula and the frustum of a cone are closed forms of any geometry text.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from logger.errors import BadInput
from logger.facts import fact
from logger.plan.planning_tables import Allowance
from logger.planning.finding import above, not_negative, within
from logger.units import litres_to_us_gallons

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Integral:
    """A value, the rule that gave it, and by how much the other rule differs (a measure of reading error)."""

    value: float
    rule: Literal["Simpson", "trapezoid"]
    doubt: float


def integrate(places_m: Sequence[float], values: Sequence[float]) -> Integral:
    """∫ values d(place): Simpson's rule on an even number of equal steps, else trapezoids.

    Raises BadInput when there are fewer than two stations, or when they do not run forward.
    """
    if len(places_m) < 2 or len(places_m) != len(values):
        raise BadInput(
            fact("quantity.stations"),
            fact("two-needed"),
            value=len(places_m),
            allowed=fact("two-stations-or-more"),
            remedy=fact("mend.measure-width-along"),
        )
    steps = [after - before for before, after in itertools.pairwise(places_m)]
    if not all(math.isfinite(step) and step > 0 for step in steps):
        raise BadInput(
            fact("quantity.stations"),
            fact("places-must-rise"),
            value=list(places_m),
            allowed=fact("each-place-beyond-the-last"),
            remedy=fact("mend.sort-stations"),
        )
    for value in values:
        not_negative(fact("quantity.width-at-station"), value, "mm", fact("mend.measure-width-again"))
    trapezoid = sum(s * (a + b) / 2 for s, (a, b) in zip(steps, itertools.pairwise(values), strict=True))
    mean = sum(steps) / len(steps)
    even = len(steps) % 2 == 0 and all(abs(step - mean) < 1e-6 * mean for step in steps)
    if not even:
        return Integral(trapezoid, "trapezoid", 0.0)
    simpson = mean / 3 * (values[0] + values[-1] + 4 * sum(values[1:-1:2]) + 2 * sum(values[2:-1:2]))
    return Integral(simpson, "Simpson", abs(simpson - trapezoid))


def polygon_area_m2(points_m: Points) -> float:
    """Area inside a traced outline, m². Raises BadInput when it has no area or crosses itself."""
    if len(points_m) < 3:
        raise BadInput(
            fact("quantity.outline"),
            fact("three-points-needed"),
            value=len(points_m),
            allowed=fact("three-points-or-more"),
            remedy=fact("mend.trace-more-points"),
        )
    crossing = _crossing(points_m)
    if crossing is not None:
        raise BadInput(
            fact("quantity.outline"),
            fact("crosses-itself"),
            value=fact("two-sides", one=crossing[0] + 1, other=crossing[1] + 1),
            allowed=fact("points-in-order"),
            remedy=fact("mend.put-points-in-order"),
        )
    area = abs(_signed_area(points_m))
    return above(fact("quantity.outlines-area"), area, 0.0, "m²", fact("mend.trace-points-enclose-something"))


def perimeter_m(points_m: Points) -> float:
    """Length around a traced outline, m."""
    return sum(math.dist(a, b) for a, b in _sides(points_m))


def _signed_area(points: Points) -> float:
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in _sides(points)) / 2


def _sides(points: Points) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    return list(zip(points, [*points[1:], points[0]], strict=True))


def _crossing(points: Points) -> tuple[int, int] | None:
    """Return the first two sides (not neighbours) that properly cross."""
    sides = _sides(points)
    for i, (a, b) in enumerate(sides):
        for j in range(i + 2, len(sides)):
            if i == 0 and j == len(sides) - 1:
                continue
            c, d = sides[j]
            if _turn(a, b, c) * _turn(a, b, d) < 0 and _turn(c, d, a) * _turn(c, d, b) < 0:
                return i, j
    return None


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def section_area_m2(width_m: float, depth_m: float, slope_deg: float) -> float:
    """Area of a river's cross-section, m², under a top width, with both edges leaning by `slope_deg`.

    Above 0 the wood recedes below (more resin). Below 0 the edges come in; where they meet above the bottom,
    the section is a triangle.
    """
    not_negative(fact("quantity.width"), width_m, "m", fact("mend.measure-width-again"))
    not_negative(fact("quantity.depth"), depth_m, "m", fact("mend.give-depth-pour"))
    slope = math.tan(
        math.radians(within("edge_slope_deg", slope_deg, -75, 75, "°", fact("mend.measure-lean-again")))
    )
    reach = depth_m
    if slope < 0:
        reach = min(depth_m, width_m / (-2 * slope))
    return max(0.0, width_m * reach + slope * reach * reach)


def edge_volume_m3(edge_m: float, depth_m: float, slope_deg: float) -> float:
    """Volume that a leaning edge adds (or takes, below 0), m³: length · depth² · tan(lean) / 2."""
    within("edge_slope_deg", slope_deg, -75, 75, "°", fact("mend.measure-lean-again"))
    return edge_m * depth_m * depth_m * math.tan(math.radians(slope_deg)) / 2


def frustum_m3(top_diameter_m: float, bottom_diameter_m: float, depth_m: float) -> float:
    """Volume of a round mould, m³; equal diameters give a disc."""
    above(fact("quantity.top-diameter"), top_diameter_m, 0, "m", fact("mend.measure-mould"))
    not_negative(fact("quantity.bottom-diameter"), bottom_diameter_m, "m", fact("mend.measure-mould"))
    not_negative(fact("quantity.depth"), depth_m, "m", fact("mend.give-depth-pour"))
    d, e = top_diameter_m, bottom_diameter_m
    return math.pi * depth_m / 12 * (d * d + d * e + e * e)


def void_m3(shape: str, length_m: float, width_m: float, depth_m: float) -> float:
    """Volume of one void, m³: a box, an oval hole (π/4 of the box) or a crack (wedge, half the box)."""
    parts = {"box": 1.0, "oval": math.pi / 4, "crack": 0.5}
    if shape not in parts:
        raise BadInput(
            fact("quantity.void-shape"),
            fact("no-known-word"),
            value=shape,
            allowed=fact("one-of-names", names=", ".join(parts)),
            remedy=fact("mend.use-known-word"),
        )
    sides = (
        (fact("quantity.length-of-void"), length_m),
        (fact("quantity.width-of-void"), width_m),
        (fact("quantity.depth-of-void"), depth_m),
    )
    for name, value in sides:
        above(name, value, 0, "m", fact("mend.measure-void"))
    return parts[shape] * length_m * width_m * depth_m


@dataclass(frozen=True, slots=True)
class Quantity:
    """How much to mix, with what it is made of; litres of mixed resin."""

    shape_l: float
    voids_l: float
    soak_l: float
    waste_l: float
    belly_l: float
    density_kg_m3: float

    @property
    def total_l(self) -> float:
        """Litres to mix."""
        return self.shape_l + self.voids_l + self.soak_l + self.waste_l + self.belly_l

    @property
    def total_gal(self) -> float:
        """US gallons to mix."""
        return litres_to_us_gallons(self.total_l)

    @property
    def total_kg(self) -> float:
        """Kilograms to mix."""
        return self.total_l * self.density_kg_m3 / 1000

    def cost(self, per_kg: float, other: float = 0.0) -> float:
        """Return what it costs, in the currency of `per_kg`."""
        not_negative("resin_per_kg", per_kg, "", fact("mend.give-price-kilogram"))
        return self.total_kg * per_kg + not_negative(
            fact("quantity.other-cost"), other, "", fact("mend.give-other-costs")
        )


def with_allowances(
    shape_m3: float,
    voids_m3: float,
    density_kg_m3: float,
    allowance: Allowance,
    *,
    displaced_m3: float = 0.0,
    belly_m3: float = 0.0,
) -> Quantity:
    """Return the quantity to mix. Soak and waste are parts of shape plus voids. Raises OutOfRange."""
    room = not_negative(fact("quantity.volume-shape"), shape_m3, "m³", fact("mend.measure-shape"))
    within(fact("quantity.displaced-volume"), displaced_m3, 0.0, room, "m³", fact("mend.must-fit-into-form"))
    net = room - displaced_m3
    filled = net + not_negative(fact("quantity.voids"), voids_m3, "m³", fact("mend.measure-voids"))
    above(fact("quantity.density"), density_kg_m3, 0, "kg/m³", fact("take-from-datasheet"))
    return Quantity(
        shape_l=net * 1000,
        voids_l=voids_m3 * 1000,
        soak_l=filled * allowance.soak_pct * 10,
        waste_l=filled * allowance.waste_pct * 10,
        belly_l=not_negative(fact("quantity.belly"), belly_m3, "m³", fact("mend.check-sag")) * 1000,
        density_kg_m3=density_kg_m3,
    )
