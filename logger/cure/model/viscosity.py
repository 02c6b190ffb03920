"""How thick the resin is while it cures: Castro & Macosko's form.

    η(T, α) = η0 exp[E/R (1/T − 1/T0)] · [αg / (αg − α)]^(A + B α)

η0: of the fresh mix at T0, as a datasheet states it. αg: conversion at which it gels, where η has no bound.
Castro & Macosko 1982, AIChE J. 28:250 (from memory; they give A = 1.5, B = 1 for a quick polyurethane).
"""

from __future__ import annotations

import numpy as np

from logger.arrays import Floats
from logger.plan.file import Flow
from logger.units import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K

#: A casting system whose thickness nobody has stated: thin enough to let bubbles go, as such resins are sold. Common
#: practice, no source.
USUAL_FLOW = Flow(viscosity_pa_s=0.6)


def viscosity_pa_s(t_k: Floats | float, alpha: Floats | float, flow: Flow) -> Floats:
    """Return the viscosity, Pa·s, at t_k (K) and conversion alpha (0–1); inf from the gel on. Shapes broadcast."""
    a = np.asarray(alpha, dtype=float)
    inverse = 1.0 / np.asarray(t_k, dtype=float) - 1.0 / (flow.at_c + ZERO_CELSIUS_K)
    fresh = flow.viscosity_pa_s * np.exp(flow.e_j_mol / GAS_CONSTANT_J_MOL_K * inverse)
    gel = flow.gel_conversion
    left = np.maximum(gel - a, 0.0)
    with np.errstate(divide="ignore", over="ignore"):
        thicker = (gel / left) ** (flow.exponent_a + flow.exponent_b * np.minimum(a, gel))
    return np.asarray(fresh * thicker)
