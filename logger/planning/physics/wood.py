"""Wood and water: what the shop's air would make of it, what the meter means, how the slab moves, what it weighs.

Equations and their numbers: Glass & Zelinka 2010, Wood Handbook FPL-GTR-190, chapter 4 (EMC: eq. 4-5, after
Simpson 1998, FPL-RN-0268). Moisture in % of the oven-dry mass throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.errors import BadInput
from logger.facts import fact
from logger.planning import works
from logger.planning.finding import COMMON_PRACTICE, Constant, above, within
from logger.planning.physics.species import Species
from logger.quantities import temperature
from logger.units import ZERO_CELSIUS_K

FIBRE_SATURATION = Constant(fact("constant.fibre-saturation"), 30.0, "%", works.WOOD_HANDBOOK_4)
DRY_LOW = Constant(fact("constant.furniture-wood-driest"), 6.0, "%", works.WOOD_HANDBOOK_13)
DRY_HIGH = Constant(fact("constant.furniture-wood-dampest"), 8.0, "%", works.WOOD_HANDBOOK_13)
STOP_ABOVE = Constant(fact("constant.slab-too-damp"), 12.0, "%", COMMON_PRACTICE)
SPREAD_LIMIT = Constant(fact("constant.spread-of-readings"), 2.0, "%", COMMON_PRACTICE)
READINGS_WANTED = Constant(fact("constant.readings-of-slab"), 6.0, fact("unit.readings"), COMMON_PRACTICE)
#: Where movement is straight with moisture: the coefficients are those of this range.
STRAIGHT_FROM = Constant(fact("constant.movement-measured-from"), 6.0, "%", works.WOOD_TABLE_13_5)
STRAIGHT_TO = Constant(fact("constant.movement-measured-to"), 14.0, "%", works.WOOD_TABLE_13_5)
METER_SOURCE = fact("source.meter-correction")
_ROOM, _HOLDS = (
    fact("quantity.room"),
    fact("mend.holds-between", low=temperature(-1, 0), high=temperature(70, 0)),
)
_HUMIDITY, _GIVE_HUMIDITY = fact("quantity.humidity"), fact("mend.give-rooms-relative-humidity")


def equilibrium_moisture_pct(celsius: float, humidity_pct: float) -> float:
    """Moisture that wood takes on in air of that temperature and humidity, % (Wood Handbook eq. 4-5).

    Fitted to the handbook's table within 0.1 %; a slab on its way down stays about 1 % above it. Raises OutOfRange.
    """
    t = within(_ROOM, celsius, -1.2, 70, "°C", _HOLDS)
    h = within(_HUMIDITY, humidity_pct, 0, 100, "%", _GIVE_HUMIDITY) / 100
    w = 349 + 1.29 * t + 0.0135 * t * t
    k = 0.805 + 0.000736 * t - 0.00000273 * t * t
    k1 = 6.27 - 0.00938 * t - 0.000303 * t * t
    k2 = 1.91 + 0.0407 * t - 0.000293 * t * t
    kh = k * h
    return float(
        1800 / w * (kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh * kh) / (1 + k1 * kh + k1 * k2 * kh * kh))
    )


def humidity_for_moisture_pct(celsius: float, moisture_pct: float) -> float:
    """Relative humidity of the room that holds a slab at that moisture, %. Raises OutOfRange."""
    highest = equilibrium_moisture_pct(celsius, 99.0)
    within(fact("quantity.moisture"), moisture_pct, 0, highest, "%", fact("mend.no-room-air-holds-wood"))
    low, high = 0.0, 99.0
    while high - low > 1e-9:
        middle = (low + high) / 2
        if equilibrium_moisture_pct(celsius, middle) < moisture_pct:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def corrected_reading_pct(
    reading_pct: float, wood_c: float, slope: float = 1.0, offset_pct: float = 0.0
) -> float:
    """Return a pin meter's reading, corrected for the wood's temperature and species, %.

    MC = [(R + 0.567 − 0.0260 T + 0.000051 T²) / (0.881 · 1.0056^T) − b] / a with species numbers a, b (a = 1,
    b = 0 is the meter's own species). Source: METER_SOURCE. Raises OutOfRange.
    """
    reading = within(fact("quantity.meter-reading"), reading_pct, 0.1, 60, "%", fact("mend.no-such-moisture"))
    t = within(
        fact("quantity.temperature-wood"),
        wood_c,
        -10,
        60,
        "°C",
        fact("mend.bring-slab-to-room"),
    )
    above("species_slope", slope, 0, "", fact("mend.take-meters-species-table"))
    at_20_c = (reading + 0.567 - 0.0260 * t + 0.000051 * t * t) / (0.881 * float(1.0056**t))
    return max(0.0, (at_20_c - offset_pct) / slope)


@dataclass(frozen=True, slots=True)
class Moisture:
    """What a slab's readings come to, %."""

    mean_pct: float
    wettest_pct: float
    driest_pct: float
    count: int
    corrected: bool

    @property
    def spread_pct(self) -> float:
        """Wettest less driest."""
        return self.wettest_pct - self.driest_pct


def slab_moisture(
    readings_pct: Sequence[float],
    wood_c: float,
    *,
    corrects_itself: bool,
    slope: float = 1.0,
    offset_pct: float = 0.0,
) -> Moisture:
    """Return the readings of one slab, corrected where the meter does not do it itself."""
    if not readings_pct:
        raise BadInput(
            fact("quantity.moisture-readings"),
            fact("is-empty"),
            allowed=fact("one-reading-or-more"),
            remedy=fact("mend.measure-in-six-places"),
        )
    neutral = corrects_itself and slope == 1.0 and offset_pct == 0.0
    # A meter that corrects itself for temperature still needs the species numbers: 20 °C leaves those alone.
    at = 20.0 if corrects_itself else wood_c
    values = [r if neutral else corrected_reading_pct(r, at, slope, offset_pct) for r in readings_pct]
    return Moisture(sum(values) / len(values), max(values), min(values), len(values), not neutral)


def shrinkage_at_pct(shrinkage_pct: float, moisture_pct: float) -> float:
    """Shrinkage from green to that moisture, % of the green size (eq. 4-7); 0 above fibre saturation."""
    within(fact("quantity.moisture"), moisture_pct, 0, 1000, "%", fact("mend.give-moisture"))
    return max(0.0, shrinkage_pct * (FIBRE_SATURATION.value - moisture_pct) / FIBRE_SATURATION.value)


def movement_mm(size_mm: float, coefficient: float, from_pct: float, to_pct: float) -> float:
    """Return the change of a slab's width, mm; below 0 it shrinks. D C ΔM; holds for 6 to 14 % moisture (Table
    13-5).
    """
    above(fact("quantity.slab-width"), size_mm, 0, "mm", fact("mend.measure-slab"))
    for value in (from_pct, to_pct):
        within(
            fact("quantity.moisture"),
            value,
            0,
            FIBRE_SATURATION.value,
            "%",
            fact("mend.below-fibre-saturation-only"),
        )
    return size_mm * coefficient * (to_pct - from_pct)


def specific_gravity(
    basic_gravity: float, moisture_pct: float, volume_shrinkage_pct: float | None = None
) -> float:
    """Specific gravity at that moisture: G_b / (1 − S_x/100) (eq. 4-9); S0 ≈ 26.5 G_b where unknown (eq. 4-10)."""
    above(fact("quantity.basic-specific-gravity"), basic_gravity, 0, "", fact("mend.take-species-table"))
    total = 26.5 * basic_gravity if volume_shrinkage_pct is None else volume_shrinkage_pct
    return basic_gravity / (1 - shrinkage_at_pct(total, moisture_pct) / 100)


def density_kg_m3(species: Species, moisture_pct: float) -> float:
    """Density of the wood with its water, kg/m³: 1000 G (1 + M/100) (eq. 4-12).

    The volume shrinkage is taken from the basic gravity, as the handbook's density table does.
    """
    within(fact("quantity.moisture"), moisture_pct, 0, 200, "%", fact("mend.measure-slab-again"))
    return 1000 * specific_gravity(species.basic_gravity, moisture_pct) * (1 + moisture_pct / 100)


def conductivity_w_mk(gravity: float, moisture_pct: float) -> float:
    """Heat conductivity across the grain, W/(m·K): G (0.1941 + 0.004064 M) + 0.01864 (eq. 4-15); ± 20 %."""
    within(fact("quantity.specific-gravity"), gravity, 0.3, 1.2, "", fact("mend.eq-4-15-gravity"))
    within(fact("quantity.moisture"), moisture_pct, 0, 25, "%", fact("mend.eq-4-15-moisture"))
    return gravity * (0.1941 + 0.004064 * moisture_pct) + 0.01864


def specific_heat_j_kgk(celsius: float, moisture_pct: float) -> float:
    """Specific heat, J/(kg·K) (eqs. 4-16 to 4-18), below fibre saturation."""
    t = (
        within(
            fact("quantity.temperature"),
            celsius,
            0,
            150,
            "°C",
            fact("mend.holds-between", low=temperature(7, 0), high=temperature(147, 0)),
        )
        + ZERO_CELSIUS_K
    )
    x = within(
        fact("quantity.moisture"),
        moisture_pct,
        0,
        FIBRE_SATURATION.value,
        "%",
        fact("mend.below-fibre-saturation-only"),
    )
    dry = 0.1031 + 0.003867 * t
    bound = x * (-0.06191 + 2.36e-4 * t - 1.33e-4 * x) if x else 0.0
    return 1000 * ((dry + 4.18 * x / 100) / (1 + x / 100) + bound)


#: Wood across the grain where a slab is held, a typical hardwood: stiffness, of red oak's 0.55 to 0.71 GPa (Callister);
#: strength, of 3.4 to 7.2 MPa for hardwoods at 12 % (Wood Handbook, Table 5-3, tension perpendicular to grain, as a
#: public table of it gives them).
ACROSS_GRAIN = Constant(fact("constant.hardwood-stiffness"), 0.7, "GPa", works.CALLISTER)
ACROSS_STRENGTH = Constant(fact("constant.hardwood-strength"), 5.0, "MPa", works.WOOD_TABLE_5_3)


@dataclass(frozen=True, slots=True)
class ResinLine:
    """What a slab's movement does at the line where it meets the resin."""

    moves_mm: float
    stress_mpa: float
    opens: bool


def resin_line(size_mm: float, coefficient: float, from_pct: float, to_pct: float) -> ResinLine:
    """Movement after the pour: the gap if the bond lets go, the stress if the slab is held on both sides.

    The stress is elastic and an upper bound (wood relaxes in weeks); above ACROSS_STRENGTH it opens or splits.
    """
    moves = movement_mm(size_mm, coefficient, from_pct, to_pct)
    stress = ACROSS_GRAIN.value * 1000 * abs(moves) / size_mm
    return ResinLine(moves, stress, moves < 0 and stress > ACROSS_STRENGTH.value)
