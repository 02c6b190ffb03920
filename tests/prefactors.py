"""Published kinetics as the plan file's rate."""

from __future__ import annotations

import math

from logger.plan.file import Rate
from logger.units import GAS_CONSTANT_J_MOL_K, REFERENCE_K


def rate_from_prefactors(
    a1_per_s: float, a2_per_s: float, e1_j_mol: float, e2_j_mol: float, m: float, n: float
) -> Rate:
    """Return kinetics published as ki = Ai exp(−Ei/RT) as rate constants at 25 °C."""
    scale = GAS_CONSTANT_J_MOL_K * REFERENCE_K
    return Rate(
        k1_per_s=a1_per_s * math.exp(-e1_j_mol / scale),
        k2_per_s=a2_per_s * math.exp(-e2_j_mol / scale),
        e1_j_mol=e1_j_mol,
        e2_j_mol=e2_j_mol,
        m=m,
        n=n,
    )
