"""How a surface sheds heat to the room where the plan gives no coefficient: still air, a fan, radiation.

Temperatures in °C, lengths in m, coefficients in W/(m²·K). Every function takes numbers or arrays.
Correlations: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, ch. 7 and 9 (McAdams;
Churchill & Chu), as a public summary of them prints them; worked values in tests/logger/cure/test_heat_transfer.py.
"""

from __future__ import annotations

import numpy as np

from logger.arrays import Floats
from logger.units import GRAVITY_M_S2, STEFAN_BOLTZMANN_W_M2K4, ZERO_CELSIUS_K

Number = Floats | float

#: Air at 300 K, 1 atm: kinematic viscosity m²/s, thermal diffusivity m²/s, conductivity W/(m·K), Prandtl
#: number (Incropera & DeWitt, table A.4, as public codes quote its row).
AIR_VISCOSITY = 15.89e-6
AIR_DIFFUSIVITY = 22.5e-6
AIR_CONDUCTIVITY = 0.0263
AIR_PRANDTL = 0.707

#: A form that stands on a bench: 10 mm of air and 19 mm of board (0.13 W/(m·K)) before the bench's own
#: underside meets the room. Air gap 2.63 conduction + 5.01 radiation. Arrangement: common practice, no source.
GAP_W_M2K = 7.64
BENCH_M2K_W = 0.019 / 0.13


def rayleigh(surface_c: Number, room_c: Number, length_m: float) -> Floats:
    """Rayleigh number of a plate, with β = 1/T of the film."""
    surface, room = np.asarray(surface_c, dtype=float), np.asarray(room_c, dtype=float)
    film_k = 0.5 * (surface + room) + ZERO_CELSIUS_K
    pull = GRAVITY_M_S2 * np.abs(surface - room) / film_k
    return np.asarray(pull * length_m**3 / (AIR_VISCOSITY * AIR_DIFFUSIVITY))


def still_air(surface_c: Number, room_c: Number, length_m: float) -> tuple[Floats, Floats]:
    """Return the coefficients of still air over a plate hot side up (or under a cold one), and of the other side.

    length_m is area over perimeter. Rising freely: Nu = 0.54 Ra^¼ below and 0.15 Ra^⅓ above Ra ≈ 5e6, where the two
    cross; the larger of both, so that the coefficient has no jump (the handbook changes over at 1e7, 6 % lower just
    before it). Held under or over the plate: Nu = 0.27 Ra^¼.
    """
    ra = rayleigh(surface_c, room_c, length_m)
    root = ra**0.25
    free = np.maximum(0.54 * root, 0.15 * np.cbrt(ra)) * AIR_CONDUCTIVITY / length_m
    return np.asarray(free), np.asarray(0.27 * root * AIR_CONDUCTIVITY / length_m)


def buoyant_vertical(surface_c: Number, room_c: Number, height_m: float) -> Floats:
    """Still air along a vertical plate: Nu = 0.68 + 0.663 Ra^¼ / [1 + (0.492/Pr)^(9/16)]^(4/9)."""
    ra = rayleigh(surface_c, room_c, height_m)
    prandtl = (1.0 + (0.492 / AIR_PRANDTL) ** (9.0 / 16.0)) ** (4.0 / 9.0)
    return np.asarray((0.68 + 0.663 * ra**0.25 / prandtl) * AIR_CONDUCTIVITY / height_m)


def forced(air_m_s: float, length_m: float) -> float:
    """Air driven along a flat plate: Nu = 0.664 Re^½ Pr^⅓, and (0.037 Re^0.8 − 871) Pr^⅓ once that is more."""
    re = air_m_s * length_m / AIR_VISCOSITY
    nusselt = max(0.664 * re**0.5, 0.037 * re**0.8 - 871.0) * AIR_PRANDTL ** (1.0 / 3.0)
    return float(nusselt * AIR_CONDUCTIVITY / length_m)


def radiation(surface_c: Number, room_c: Number, emissivity: float) -> Floats:
    """Radiation to the room's walls as a coefficient: ε σ (Ts² + Tr²)(Ts + Tr)."""
    ts = np.asarray(surface_c, dtype=float) + ZERO_CELSIUS_K
    tr = np.asarray(room_c, dtype=float) + ZERO_CELSIUS_K
    return emissivity * STEFAN_BOLTZMANN_W_M2K4 * (ts * ts + tr * tr) * (ts + tr)


def top_w_m2k(
    surface_c: Number, room_c: Number, *, size_m: float, run_m: float, air_m_s: float, emissivity: float
) -> Floats:
    """Return the top face: still or driven air, plus radiation.

    size_m is area over perimeter, run_m the way of the fan's air over the plate. Still and driven air are
    joined as Nu³ = Nu_still³ + Nu_driven³ (Incropera & DeWitt §9.9, as public codes quote it).
    """
    surface, room = np.asarray(surface_c, dtype=float), np.asarray(room_c, dtype=float)
    free, held = still_air(surface, room, size_m)
    still = np.where(surface >= room, free, held)
    air = np.cbrt(still**3 + forced(air_m_s, run_m) ** 3) if air_m_s > 0 else still
    return air + radiation(surface, room, emissivity)


def underside_w_m2k(
    surface_c: Number, room_c: Number, *, size_m: float, emissivity: float, closed: bool
) -> Floats:
    """Return the lower face of the bottom panel: open to still air, or standing on a bench."""
    surface, room = np.asarray(surface_c, dtype=float), np.asarray(room_c, dtype=float)
    loose, held = still_air(surface, room, size_m)
    still = np.where(surface >= room, held, loose)
    free = still + radiation(surface, room, emissivity)
    return 1.0 / (1.0 / GAP_W_M2K + BENCH_M2K_W + 1.0 / np.maximum(free, 1e-3)) if closed else free


def side_w_m2k(surface_c: Number, room_c: Number, *, height_m: float, emissivity: float) -> Floats:
    """Return the outer face of a slab or wall: still air along a vertical plate, plus radiation."""
    return buoyant_vertical(surface_c, room_c, height_m) + radiation(surface_c, room_c, emissivity)
