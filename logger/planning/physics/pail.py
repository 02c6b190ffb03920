"""How long a mix stays workable in the pail: the plan's own kinetics in one lump that sheds heat to the room.

    m cp dT/dt = m H dα/dt − h A (T − T_room)

A pail is the worst shape for a warm mix: much resin, little surface. The lump is taken as deep as it is wide,
so A = 1.5 π d², V = π d³/4. A closed form exists for the limit without heat loss (adiabatic self-heating),
which the tests use. Only the early cure is followed, where diffusion does not yet slow it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from logger.errors import OutOfRange
from logger.plan.file import Rate, Resin
from logger.planning.finding import COMMON_PRACTICE, PROJECT_CHOICE, Constant, above, within
from logger.units import GAS_CONSTANT_J_MOL_K, REFERENCE_K, ZERO_CELSIUS_K

STILL_AIR = Constant("still air on a pail", 10.0, "W/(m²·K)", COMMON_PRACTICE)
WORKABLE = Constant("conversion at which the mix is taken as no longer workable", 0.15, "", PROJECT_CHOICE)
Slope = Callable[[float, float], tuple[float, float]]
LONGEST_H = 24 * 14.0


@dataclass(frozen=True, slots=True)
class InPail:
    """Where the mix stands after some time in the pail."""

    minutes: float
    conversion: float
    mix_c: float


def rate_per_s(rate: Rate, conversion: float, mix_c: float) -> float:
    """dα/dt of a plan's rate (the shared contract of the plan file), 1/s."""
    kelvin = mix_c + ZERO_CELSIUS_K
    reach = (1 / REFERENCE_K - 1 / kelvin) / GAS_CONSTANT_J_MOL_K
    k1 = rate.k1_per_s * math.exp(rate.e1_j_mol * reach)
    k2 = rate.k2_per_s * math.exp(rate.e2_j_mol * reach)
    alpha = min(max(conversion, 0.0), 1.0)
    return float((k1 + k2 * alpha**rate.m) * (1 - alpha) ** rate.n)


def pail_surface_m2(volume_m3: float) -> float:
    """Surface of a lump as deep as it is wide, m²: 1.5 π d² with V = π d³/4."""
    diameter = math.cbrt(4 * above("volume of the mix", volume_m3, 0, "m³", "mix something") / math.pi)
    return 1.5 * math.pi * diameter * diameter


def time_to_conversion(
    resin: Resin,
    mass_kg: float,
    room_c: float,
    *,
    conversion: float = WORKABLE.value,
    start_c: float | None = None,
    loss_w_m2k: float = STILL_AIR.value,
) -> InPail:
    """When a pail of that mass reaches that conversion, from the plan's kinetics.

    Raises OutOfRange when it would take longer than two weeks (the mix does not cure in that room).
    """
    end = within("conversion", conversion, 1e-6, 0.99, "", "give a part of the full cure")
    state = _follow(resin, mass_kg, room_c, start_c, loss_w_m2k, LONGEST_H * 60, end)
    if state.conversion < end:
        raise OutOfRange(
            "working time",
            "the mix does not get there in two weeks",
            value=f"{room_c} °C",
            allowed="a room in which the resin cures",
            remedy="warm the room or check the rate constants",
        )
    return state


def after(
    resin: Resin,
    mass_kg: float,
    room_c: float,
    minutes: float,
    *,
    start_c: float | None = None,
    loss_w_m2k: float = STILL_AIR.value,
) -> InPail:
    """Where a pail of that mass stands after that many minutes."""
    above("minutes", minutes, 0, "min", "give a time after mixing")
    return _follow(resin, mass_kg, room_c, start_c, loss_w_m2k, minutes, 1.0)


def _follow(
    resin: Resin,
    mass_kg: float,
    room_c: float,
    start_c: float | None,
    loss: float,
    minutes: float,
    end: float,
) -> InPail:
    above("mass in the pail", mass_kg, 0, "kg", "mix something")
    within("room_c", room_c, -40, 150, "°C", "give the room's temperature")
    volume = mass_kg / resin.density_kg_m3
    cooling = loss * pail_surface_m2(volume) / (mass_kg * resin.specific_heat_j_kgk)
    rise = 1000 * resin.heat_of_cure_j_g / resin.specific_heat_j_kgk

    def slope(alpha: float, mix_c: float) -> tuple[float, float]:
        speed = rate_per_s(resin.rate, alpha, mix_c)
        return speed, rise * speed - cooling * (mix_c - room_c)

    now, alpha, mix_c = 0.0, 0.0, room_c if start_c is None else start_c
    limit = minutes * 60
    while now < limit:
        speed, warming = slope(alpha, mix_c)
        # Small in conversion, in temperature and against the cooling time: fourth order does the rest.
        step = min(0.004 / max(speed, 1e-12), 0.5 / max(abs(warming), 1e-9), 0.2 / max(cooling, 1e-9), 900.0)
        step = min(step, limit - now)
        next_alpha, next_c = _runge_kutta(slope, alpha, mix_c, step)
        if next_alpha >= end:
            part = (end - alpha) / (next_alpha - alpha)
            return InPail((now + part * step) / 60, end, mix_c + part * (next_c - mix_c))
        now, alpha, mix_c = now + step, next_alpha, next_c
        if limit - now < 1e-9 * limit:
            break
    return InPail(now / 60, alpha, mix_c)


def _runge_kutta(slope: Slope, alpha: float, mix_c: float, step: float) -> tuple[float, float]:
    a1, t1 = slope(alpha, mix_c)
    a2, t2 = slope(alpha + step / 2 * a1, mix_c + step / 2 * t1)
    a3, t3 = slope(alpha + step / 2 * a2, mix_c + step / 2 * t2)
    a4, t4 = slope(alpha + step * a3, mix_c + step * t3)
    return alpha + step / 6 * (a1 + 2 * a2 + 2 * a3 + a4), mix_c + step / 6 * (t1 + 2 * t2 + 2 * t3 + t4)


def speed_up(room_c: float, stated_c: float, energy_j_mol: float) -> float:
    """How much faster a cure runs at one temperature than at another (Arrhenius)."""
    for name, value in (("room_c", room_c), ("stated temperature", stated_c)):
        within(name, value, -40, 150, "°C", "give a room's temperature")
    reach = 1 / (stated_c + ZERO_CELSIUS_K) - 1 / (room_c + ZERO_CELSIUS_K)
    return math.exp(energy_j_mol / GAS_CONSTANT_J_MOL_K * reach)


def working_time_min(
    resin: Resin,
    mass_kg: float,
    room_c: float,
    *,
    start_c: float | None = None,
    stated_min: float | None = None,
    stated_mass_kg: float = 0.1,
    stated_c: float = 25.0,
) -> float:
    """Working time of a pail, minutes, for that mass and room.

    With a stated working time: the model finds the conversion that the mix had then, at the stated mass and
    temperature, and asks when the real pail reaches it. Without: the conversion of WORKABLE.
    """
    end = WORKABLE.value
    if stated_min is not None:
        end = after(resin, stated_mass_kg, stated_c, stated_min).conversion
        # A datasheet that states a working time beyond the model's gel cannot set the end of the working time.
        end = min(max(end, 1e-4), 0.5)
    return time_to_conversion(resin, mass_kg, room_c, conversion=end, start_c=start_c).minutes
