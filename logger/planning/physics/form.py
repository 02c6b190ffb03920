"""The bottom of the form under load: beam and plate sag, the belly it leaves, and the push on the walls.

Sag of a strip: y = c w L⁴ / (E I), I = t³/12 per metre of width; c from the beam tables of any strength text;
three or more spans 1/145.25 (Peurifoy & Oberlender, Formwork for Concrete Structures: w l⁴ / 1743 E I in inches).
Sag of a plate: y = α q b⁴ / (E t³), stress β q b² / t² (Young & Budynas, Roark's Formulas for Stress and Strain,
7th ed., Table 11.4 case 1a; ν = 0.3; y < t/2, t < b/4).
"""

from __future__ import annotations

import itertools

from logger.facts import fact
from logger.planning import works
from logger.planning.finding import Constant, above, not_negative, within
from logger.units import GRAVITY_M_S2

BEAM = fact("source.beam-tables")

SIMPLE_BEAM = Constant(fact("constant.sag-of-one-span"), 5 / 384, "", BEAM)
TWO_SPANS = Constant(fact("constant.sag-of-two-spans"), 1 / 185, "", BEAM)
MORE_SPANS = Constant(fact("constant.sag-of-more-spans"), 1 / 145.25, "", works.FORMWORK)

#: (long side / short side, α, β) of a plate on four simple edges: Roark's table, and
#: Navier's double series where it has no row (4.0; closed form).
PLATE_SIMPLE = (
    (1.0, 0.0444, 0.2874),
    (1.2, 0.0616, 0.3762),
    (1.4, 0.0770, 0.4530),
    (1.6, 0.0906, 0.5172),
    (1.8, 0.1017, 0.5688),
    (2.0, 0.1110, 0.6102),
    (3.0, 0.1335, 0.7134),
    (4.0, 0.1400, 0.7410),
    (5.0, 0.1417, 0.7476),
)
PLATE_STRIP = (0.1421, 0.7500)


def pressure_pa(density_kg_m3: float, depth_m: float) -> float:
    """Pressure at the bottom of that depth of liquid, Pa: ρ g h."""
    above(fact("quantity.density"), density_kg_m3, 0, "kg/m³", fact("take-from-datasheet"))
    return (
        density_kg_m3
        * GRAVITY_M_S2
        * not_negative(fact("quantity.depth"), depth_m, "m", fact("mend.give-depth-pour"))
    )


def beam_coefficient(supports: int) -> Constant:
    """Return the sag coefficient for a panel on that many supports."""
    within("supports", supports, 2, 1000, "", fact("mend.two-supports"))
    if supports == 2:
        return SIMPLE_BEAM
    return TWO_SPANS if supports == 3 else MORE_SPANS


def strip_sag_m(
    load_pa: float, span_m: float, thickness_m: float, modulus_pa: float, coefficient: float
) -> float:
    """Sag of a one-way panel, m: c q L⁴ / (E t³/12)."""
    _panel(load_pa, thickness_m, modulus_pa)
    above(fact("quantity.free-span"), span_m, 0, "m", fact("mend.measure-free-span-between-supports"))
    return coefficient * load_pa * span_m**4 / (modulus_pa * thickness_m**3 / 12)


def longest_span_m(
    load_pa: float, sag_m: float, thickness_m: float, modulus_pa: float, coefficient: float
) -> float:
    """Return the span at which a one-way panel sags by `sag_m`, m."""
    _panel(load_pa, thickness_m, modulus_pa)
    above(fact("quantity.load"), load_pa, 0, "Pa", fact("mend.give-depth-pour"))
    above(fact("quantity.sag"), sag_m, 0, "m", fact("mend.give-sag-allowed"))
    return float((sag_m * modulus_pa * thickness_m**3 / 12 / (coefficient * load_pa)) ** 0.25)


def thinnest_m(load_pa: float, sag_m: float, span_m: float, modulus_pa: float, coefficient: float) -> float:
    """Return the thickness at which a one-way panel of that span sags by `sag_m`, m."""
    _panel(load_pa, 1.0, modulus_pa)
    above(fact("quantity.sag"), sag_m, 0, "m", fact("mend.give-sag-allowed"))
    return float((12 * coefficient * load_pa * span_m**4 / (modulus_pa * sag_m)) ** (1 / 3))


def plate_factors(long_side_m: float, short_side_m: float) -> tuple[float, float]:
    """(α, β) of a plate on four simple edges, between the rows of the table straight in short over long side."""
    above(fact("quantity.short-side"), short_side_m, 0, "m", fact("mend.measure-panel-between-supports"))
    ratio = (
        above(fact("quantity.long-side"), long_side_m, 0, "m", fact("mend.measure-panel-between-supports"))
        / short_side_m
    )
    if ratio < 1:
        return plate_factors(short_side_m, long_side_m)
    rows = PLATE_SIMPLE
    if ratio > rows[-1][0]:
        return PLATE_STRIP
    for (r0, a0, b0), (r1, a1, b1) in itertools.pairwise(rows):
        if ratio <= r1:
            part = (1 / r0 - 1 / ratio) / (1 / r0 - 1 / r1)
            return a0 + part * (a1 - a0), b0 + part * (b1 - b0)
    return PLATE_STRIP


def _panel(load_pa: float, thickness_m: float, modulus_pa: float) -> None:
    not_negative(fact("quantity.load"), load_pa, "Pa", fact("mend.give-depth-pour"))
    above(fact("quantity.panel-thickness"), thickness_m, 0, "m", fact("mend.measure-panel"))
    above(fact("quantity.modulus"), modulus_pa, 0, "Pa", fact("mend.take-panels-data-sheet"))


def belly_m3(sag_m: float, area_m2: float, *, two_way: bool = False) -> float:
    """Resin that a belly takes, m³: two thirds of sag times area one way (parabola), 0.5 two ways (first order)."""
    not_negative(fact("quantity.sag"), sag_m, "m", fact("mend.check-sag"))
    return (
        (0.5 if two_way else 2 / 3)
        * sag_m
        * not_negative(fact("quantity.area"), area_m2, "m²", fact("mend.measure-form"))
    )


def wall_force_n_per_m(density_kg_m3: float, depth_m: float) -> float:
    """Push on a metre of wall, N/m, acting at a third of the depth above the bottom: ρ g h² / 2."""
    return pressure_pa(density_kg_m3, depth_m) * depth_m / 2


def wall_moment_nm_per_m(density_kg_m3: float, depth_m: float) -> float:
    """Overturning moment about the foot of a metre of wall, N·m/m: ρ g h³ / 6."""
    return pressure_pa(density_kg_m3, depth_m) * depth_m * depth_m / 6
