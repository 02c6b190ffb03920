"""A cup of hot water with one probe: how fast that cup, where it stands, gives its heat away. Pure.

Water heats nothing by itself, and stirs itself: as long as it is covered (a film on it, or most of the heat leaves as
vapour) it follows Newton's law of cooling, C dT/dt = −UA (T − T_room). What it loses, a cup of resin of the same shape
in the same place loses too, so that the rest of what the resin's cup does is the resin's own.

Water: 4180 J/(kg·K) within 0.2 % and 990 kg/m³ within 1 % from 20 to 65 °C (steam tables, from memory). Cup: 1 mm of
polypropylene, 900 kg/m³, 1900 J/(kg·K) (from memory), as wide as the water is deep. Thresholds are common practice, no
source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

from logger.probe_checks.cup import LEAST_NOISE_K, LONGEST_S, MEDIAN_OF, SILENT_S, CupLook

WATER_J_KGK, WATER_KG_M3 = 4180.0, 990.0
WALL_J_M2K = 0.001 * 900.0 * 1900.0
#: The probe and the wall take the water's temperature within so many seconds: what is read before counts for nothing.
SETTLE_S = 180.0
#: So much warmer than the room it must be to begin with, and down to so much it counts, K.
LEAST_START_K, LEAST_K = 12.0, 4.0
#: It is known once it has lost this part of its warmth, from so many readings on.
ENOUGH_PART, ENOUGH_LOOKS = 0.5, 20
#: A reading so far from those around it is a lie, K.
LIE_K = 2.0
#: The room's temperature is known within so much, K (one standard deviation).
ROOM_SD_K = 0.3
#: No covered cup loses this part of its warmth within so many seconds: the probe was pulled, or it was stirred.
TORN_PART, TORN_S = 0.35, 120.0
#: Nine in ten, in standard deviations.
_NINETY = 1.645


class WaterState(StrEnum):
    """Where a cup of water is on its way."""

    WAITING = "waiting"  #: no reading yet, or none that counts
    COOLING = "cooling"  #: it cools; not enough of it has been seen
    KNOWN = "known"  #: enough has been seen
    COLD = "cold"  #: it was hardly warmer than the room to begin with
    TORN = "torn"  #: it fell faster than a cup can cool
    SILENT = "silent"  #: the probe says nothing


@dataclass(frozen=True, slots=True)
class HeatLoss:
    """What the cup gives away: W/K in all, W/(m²·K) over its whole surface, its time constant, s; error_pct: nine in
    ten.
    """

    w_k: float
    w_m2k: float
    time_constant_s: float
    error_pct: float


@dataclass(frozen=True, slots=True)
class WaterCourse:
    """A cup of water so far: as it reads now and when, °C and s; the part of its warmth that it has lost; its loss."""

    state: WaterState
    now_c: float | None = None
    last_s: float | None = None
    start_c: float | None = None
    lost: float = 0.0
    loss: HeatLoss | None = None


def cup_surface_m2(mass_kg: float, density_kg_m3: float) -> float:
    """Return the whole surface, m², of a cup in which that mass is as deep as it is wide: wall, bottom and top."""
    across = math.cbrt(4.0 * mass_kg / density_kg_m3 / math.pi)
    return 1.5 * math.pi * across**2


def heat_capacity_j_k(water_kg: float) -> float:
    """Return what water and its cup hold, J/K: the wall and the bottom are plastic, the top is a film."""
    plastic_m2 = cup_surface_m2(water_kg, WATER_KG_M3) * 1.25 / 1.5
    return water_kg * WATER_J_KGK + plastic_m2 * WALL_J_M2K


def water_course(looks: Sequence[CupLook], now_s: float, water_kg: float, room_c: float) -> WaterCourse:
    """Return where a cup of water is at `now_s`, seconds since it was poured, in a room at room_c."""
    good = sorted(
        {
            (look.at_s, look.celsius)
            for look in looks
            if look.celsius is not None and 0 <= look.at_s <= LONGEST_S
        }
    )
    silent = now_s - (good[-1][0] if good else 0.0) > SILENT_S
    if not good:
        return WaterCourse(WaterState.SILENT if silent else WaterState.WAITING)
    now_c, last_s = median(celsius for _, celsius in good[-3:]), good[-1][0]
    counted = _without_lies([(at_s, celsius - room_c) for at_s, celsius in good if at_s >= SETTLE_S])
    if len(counted) < MEDIAN_OF:
        return WaterCourse(WaterState.SILENT if silent else WaterState.WAITING, now_c, last_s)
    start_k = median(over for _, over in counted[:MEDIAN_OF])
    lost = 0.0 if start_k <= 0 else 1.0 - median(over for _, over in counted[-3:]) / start_k
    torn = _torn(counted)
    fit_on = [look for look in counted[:torn] if look[1] >= LEAST_K]
    loss = _loss(fit_on, water_kg) if start_k >= LEAST_START_K else None
    course = WaterCourse(WaterState.COOLING, now_c, last_s, room_c + start_k, min(max(lost, 0.0), 1.0), loss)
    state = WaterState.COOLING
    if start_k < LEAST_START_K:
        state = WaterState.COLD
    elif _enough(fit_on, start_k) and loss is not None:
        state = WaterState.KNOWN
    elif torn is not None:
        state = WaterState.TORN
    elif silent:
        state = WaterState.SILENT
    return WaterCourse(state, course.now_c, last_s, course.start_c, course.lost, loss)


def _without_lies(looks: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the looks without those that their neighbours outvote."""
    half = MEDIAN_OF // 2
    around = [median(v for _, v in looks[max(0, i - half) : i + half + 1]) for i in range(len(looks))]
    return [look for look, near in zip(looks, around, strict=True) if abs(look[1] - near) <= LIE_K]


def _enough(looks: Sequence[tuple[float, float]], start_k: float) -> bool:
    return (
        len(looks) >= ENOUGH_LOOKS and median(over for _, over in looks[-3:]) <= (1 - ENOUGH_PART) * start_k
    )


def _torn(looks: Sequence[tuple[float, float]]) -> int | None:
    """Return the first look that is colder than a cup can have become, and stays so; None: there is none."""
    first = 0
    for i, (at_s, over) in enumerate(looks):
        while looks[first][0] < at_s - TORN_S:
            first += 1
        before = max(value for _, value in looks[first : i + 1])
        after = [value for _, value in looks[i : i + 3]]
        if (
            before - over > TORN_PART * before + 1.0
            and max(after) < before * (1 - TORN_PART) + 1.0
            and len(after) == 3
        ):
            return i
    return None


def _loss(looks: Sequence[tuple[float, float]], water_kg: float) -> HeatLoss | None:
    """Fit Newton's law of cooling; None where nothing cools. The error holds the scatter, the room's, and how far the
    law itself does not hold: still air takes more from a hot cup than from a lukewarm one.
    """
    if len(looks) < MEDIAN_OF:
        return None
    rate, rate_sd = _rate(looks)
    if rate <= 0:
        return None
    half = len(looks) // 2
    bent = 0.0
    if half >= MEDIAN_OF:
        hot, cool = _rate(looks[:half])[0], _rate(looks[half:])[0]
        bent = abs(hot - cool) / 2
    room_off = abs(_rate([(at_s, over - ROOM_SD_K) for at_s, over in looks])[0] - rate)
    error = math.hypot(_NINETY * rate_sd, _NINETY * room_off, bent) / rate
    held = heat_capacity_j_k(water_kg)
    w_k = rate * held
    return HeatLoss(w_k, w_k / cup_surface_m2(water_kg, WATER_KG_M3), 1.0 / rate, 100.0 * min(error, 9.99))


def _rate(looks: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the rate of ΔT = A e^(−rate t), 1/s, and its standard deviation: a straight line through ln ΔT, each
    reading weighted by how well its logarithm is known.
    """
    points = [(at_s, math.log(over), over**2) for at_s, over in looks if over > 0]
    weight = sum(w for _, _, w in points)
    if len(points) < 3:
        return 0.0, math.inf
    mid_s = sum(at * w for at, _, w in points) / weight
    mid_y = sum(y * w for _, y, w in points) / weight
    spread = sum(w * (at - mid_s) ** 2 for at, _, w in points)
    if spread <= 0:
        return 0.0, math.inf
    slope = sum(w * (at - mid_s) * (y - mid_y) for at, y, w in points) / spread
    off = sum(w * (y - mid_y - slope * (at - mid_s)) ** 2 for at, y, w in points) / (len(points) - 2)
    return -slope, math.sqrt(max(off, LEAST_NOISE_K**2) / spread)
