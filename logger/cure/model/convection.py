"""How liquid resin moves heat by its own motion: cold resin sinks from the top, warm resin rises.

A layer that heats itself is cooled at its top, and less at its bottom. What is known of such layers is Nusselt against
Rayleigh numbers, with the depth L and the heat q, W/m³, that leaves the layer:

    R = g β q L⁵ / (k ν κ),      Nu = F L / (k ΔT): heat F through a face, core ΔT warmer than the face

- Top cooled, bottom insulated: Nu = 0.403 (R/2)^0.226, Kulacki & Emara 1977, J. Fluid Mech. 83:375 (within 2 %
  of the law of its abstract over all its range, tests/measured/test_heated_layers.py).
- Both faces equally cooled: Nu = 0.329 R^0.236 at the top and 1.428 R^0.094 at the bottom, Kulacki & Goldstein 1972,
  J. Fluid Mech. 55:271 (from memory).
- Where motion begins: critical numbers of the linearised equations, computed by tests/logger/cure/test_convection.py,
  which finds the published ones of rigid plates, too (Roberts 1967, J. Fluid Mech. 30:33, from memory).

The measured layers were water between two rigid plates. Resin has a free surface and no inertia, and moves more easily:
two numbers below make up for that, fitted to steady layers of the flow simulation in tests/flow, never to a pour.
What this closure is worth is judged on pours in motion, by that simulation, in tests/bench/flow_*.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats
from logger.cure.model.materials import Material
from logger.plan.file import Flow
from logger.units import GRAVITY_M_S2

#: R at which a layer over an insulated bottom begins to move between rigid plates (twice Roberts' 1386), and the same
#: with both faces cooled; and under a free surface over an insulated bottom.
CRITICAL_RIGID, CRITICAL_BOTH_COOLED, CRITICAL_FREE = 2772.27, 37325.2, 1612.62
#: A layer whose bottom is cooled, too, moves above the level at which no heat passes. That part of the depth, and the R
#: of that part alone at which it begins: resin at rest below gives way, so it is sooner. Free surface, bottom through
#: which the disturbance loses no heat; computed as the numbers above.
_SHARE = (0.5, 0.55, 0.6, 0.65, 0.7, 0.8, 0.9, 1.0)
_CRITICAL = (552.5, 531.8, 537.7, 579.1, 650.1, 867.3, 1184.2, CRITICAL_FREE)

#: Nu of pure conduction: over an insulated bottom, and at each of two faces equally cooled.
STILL_INSULATED, STILL_COOLED = 2.0, 4.0

#: Fitted to steady layers of tests/flow over an insulated rigid bottom, 1/(highest mean temperature), at R = 2.5e3 5e3
#: 1e4 3e4 1e5 3e5 3e6: Nu = 2.45 3.61 4.90 6.37 7.89 9.17 17.2. How many times Kulacki & Emara's a free surface
#: without inertia carries (1.80 1.70 1.54 1.71 from 3e4 on), and how soon past the critical number it carries it.
FREE_SURFACE, BEGUN = 1.7, 0.7
#: How far the closure may be off, as a standard deviation of the logarithm of what motion adds. Project value: the
#: spread of the measured correlations about one another and of the fit above.
FLOW_SD = 0.25


#: Φ, the normal distribution's, by a logistic: 1 / (1 + exp(−1.702 z)), within 0.01 (Haley 1952, from memory).
_PROBIT = 1.702


def likely_factor(deviate: Floats, flow: Flow | None) -> Floats:
    """Return how strongly liquid may move (Members.flow_factor) for standard normal deviates.

    flow: the plan's; log-normal about 1. None: nobody knows how thick the mix is, and whether it moves; anything from
    rest, 0, to as it should, 1, is as likely.
    """
    z = np.asarray(deviate, dtype=float)
    return np.asarray(1.0 / (1.0 + np.exp(-_PROBIT * z)) if flow is None else np.exp(FLOW_SD * z))


def internal_rayleigh(
    heat_w_m3: Floats | float,
    depth_m: Floats | float,
    viscosity_pa_s: Floats | float,
    expansion_per_k: Floats | float,
    resin: Material,
) -> Floats:
    """Return R = g β q L⁵ / (k ν κ) of a layer; 0 where its resin has gelled. Shapes broadcast."""
    pull = GRAVITY_M_S2 * np.asarray(expansion_per_k) * np.maximum(heat_w_m3, 0.0)
    thin = resin.density / np.asarray(viscosity_pa_s, dtype=float)
    depth5 = np.asarray(depth_m, dtype=float) ** 5
    return np.asarray(pull * depth5 * thin / (resin.conductivity * resin.diffusivity))


def _moving_insulated(rayleigh: Floats) -> Floats:
    """Return Nu of the measured layer over an insulated bottom (rigid plates, water) once it moves."""
    return np.asarray(0.403 * (0.5 * rayleigh) ** 0.226)


def nusselt_insulated(rayleigh: Floats | float) -> Floats:
    """Return Nu of that layer, never below conduction's 2."""
    return np.maximum(_moving_insulated(np.asarray(rayleigh, dtype=float)), STILL_INSULATED)


def nusselt_both_cooled(rayleigh: Floats | float) -> tuple[Floats, Floats]:
    """Return Nu at top and bottom of the measured layer between cold faces, never below conduction's 4."""
    r = np.asarray(rayleigh, dtype=float)
    return np.maximum(0.329 * r**0.236, STILL_COOLED), np.maximum(1.428 * r**0.094, STILL_COOLED)


def nusselt_free(rayleigh: Floats | float, share: Floats | float = 1.0) -> Floats:
    """Return Nu of the part of a layer above the level at which no heat passes, under a free surface; 2 at rest.

    rayleigh: of that part alone. share: the part of the layer's depth that it is.
    """
    r = np.asarray(rayleigh, dtype=float)
    carried = FREE_SURFACE * _moving_insulated(r) - STILL_INSULATED
    past = r / np.interp(share, _SHARE, _CRITICAL) - 1.0
    return np.asarray(STILL_INSULATED - np.maximum(carried, 0.0) * np.expm1(-BEGUN * np.maximum(past, 0.0)))


@dataclass(frozen=True)
class Layer:
    """Liquid layers as they are now, arrays of one shape: depth m; heat that leaves through the top and through the
    bottom, W/m² (below 0: comes in); viscosity Pa·s between core and surface; expansion 1/K."""

    depth_m: Floats
    top_w_m2: Floats
    bottom_w_m2: Floats
    viscosity_pa_s: Floats
    expansion_per_k: Floats


@dataclass(frozen=True)
class Stirring:
    """What the motion makes of a layer: a sheet under the top and one over the bottom in which heat is only conducted,
    m, and the core between them, which conducts `core` times as well as resin at rest. At rest core is 1."""

    top_m: Floats
    bottom_m: Floats
    core: Floats


def stirring(layer: Layer, resin: Material, factor: Floats | float = 1.0) -> Stirring:
    """Return how a layer is stirred. factor: what multiplies Nu − Nu(at rest): 0 at rest, 1 as it should be.

    The layer is cut where no heat passes: the part above, L·F_top/(F_top + F_bottom), is one over an insulated bottom.
    A sheet δ under the top carries what Nu says: δ − δ²/2L = L/Nu, so that δ = L, pure conduction, at Nu = 2. The
    sheet over the bottom follows in the same way from the layer with both faces cooled. In the core a speed w
    carries w L/κ times as much as conduction, and the sheet under the top is as thick as heat goes while resin passes
    along it, δ ~ √(κ L/w): the core conducts (L/δ)² times as well.
    """
    up, down = np.maximum(layer.top_w_m2, 0.0), np.maximum(layer.bottom_w_m2, 0.0)
    # A layer from which no heat goes up is at rest, and so is one without depth; this keeps what follows finite.
    depth = np.maximum(layer.depth_m, 1e-6)
    share = np.maximum(up / np.maximum(up + down, 1e-12), 1e-3)
    above, below = share * depth, (1.0 - share) * depth

    def number(depth_m: Floats) -> Floats:
        return internal_rayleigh(up / above, depth_m, layer.viscosity_pa_s, layer.expansion_per_k, resin)

    top = STILL_INSULATED + factor * (nusselt_free(number(above), share) - STILL_INSULATED)
    bottom = STILL_COOLED + factor * (nusselt_both_cooled(number(depth))[1] - STILL_COOLED)
    thin = _sheet(above, top)
    # A lower half has half the Nu that the whole depth has.
    return Stirring(thin, _sheet(below, 0.5 * bottom), np.asarray((above / thin) ** 2))


def _sheet(depth_m: Floats, nusselt: Floats) -> Floats:
    """Return the sheet δ, m, with δ − δ²/2L = L/Nu of a part L that gives off its heat evenly."""
    return np.asarray(depth_m * (1.0 - np.sqrt(np.maximum(1.0 - 2.0 / nusselt, 0.0))))


def buoyant_part(warmer_k: Floats | float, cured_more: Floats | float, flow: Flow) -> Floats:
    """Return the part of the expansion that is left once the density that curing adds is taken off, 0–1.

    warmer_k, cured_more: how much warmer, and how much further cured, the core is than the surface.
    """
    light = flow.expansion_per_k * np.maximum(np.asarray(warmer_k, dtype=float), 1e-3)
    heavy = 0.01 * flow.density_gain_pct * np.asarray(cured_more, dtype=float)
    return np.asarray(np.clip(1.0 - heavy / np.maximum(light, 1e-12), 0.0, 1.0))
