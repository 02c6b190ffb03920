"""How fast the resin cures: Kamal–Sourour, with an optional Chern–Poehlein slow-down.

    dα/dt = [k1 f1(T) + k2 f2(T) α^m] (1 − α)^n,   fi = exp[Ei/R (1/298.15 K − 1/T)]

Kamal & Sourour 1973, Polym. Eng. Sci. 13:59 (the form as later abstracts quote it). Rate constants are
referred to 25 °C, so that a fitted k keeps its meaning when its activation energy changes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats
from logger.plan.file import Diffusion, Glass, Rate, Resin
from logger.units import GAS_CONSTANT_J_MOL_K, REFERENCE_K

#: Conversion at the earliest gel of a diepoxide with a diamine at the right ratio: 1/√3.
#: Flory 1953, Principles of Polymer Chemistry, ch. 9: α² (fE − 1)(fA − 1) = 1 with fE = 2, fA = 4.
EARLIEST_GEL = 3.0**-0.5

#: Conversion is kept below 1 by this much: (1 − α)^(1 − n) must stay finite.
_LAST_BIT = 1e-9
#: A guard, K: half way through a step that is far too long the temperature may be nonsense; it is then refused.
_COLDEST_K = 150.0


@dataclass(frozen=True)
class Chemistry:
    """The kinetics of M members as arrays of shape (M, 1, 1), ready to meet fields of shape (M, rows, columns).

    log_k1, log_k2: natural logarithm of the rate constant in 1/s at infinite temperature (−inf: none).
    b1, b2: E/R in K. m, n: exponents, shared. rise_k: heat of cure over specific heat, K.
    diffusion: (c, ac0, ac_t_per_k) or None.
    """

    log_k1: Floats
    log_k2: Floats
    b1: Floats
    b2: Floats
    m: float
    n: float
    rise_k: Floats
    diffusion: tuple[float, float, float] | None = None

    def take(self, members: NDArray[np.bool_] | NDArray[np.intp]) -> Chemistry:
        """Return the members that `members` picks."""
        return Chemistry(
            self.log_k1[members],
            self.log_k2[members],
            self.b1[members],
            self.b2[members],
            self.m,
            self.n,
            self.rise_k[members],
            self.diffusion,
        )

    def drive(self, alpha: Floats, t_k: Floats) -> Floats:
        """Return the rate without its (1 − α)^n, 1/s; alpha and t_k (K) have shape (M, rows, columns)."""
        inverse = -1.0 / t_k
        slow = np.exp(self.log_k1 + self.b1 * inverse)
        fast = np.exp(self.log_k2 + self.b2 * inverse)
        if self.m == 1.0:
            fast *= alpha
        elif self.m == 0.5:
            fast *= np.sqrt(alpha)
        elif self.m != 0.0:
            fast *= alpha**self.m
        fast += slow
        if self.diffusion is not None:
            c, ac0, ac_t = self.diffusion
            fast /= 1.0 + np.exp(np.minimum(c * (alpha - (ac0 + ac_t * t_k)), 700.0))
        return fast

    def rate(self, alpha: Floats, drive: Floats) -> Floats:
        """dα/dt, 1/s, from the drive at alpha; nothing is left to react at the last bit."""
        rate = np.asarray(drive * (1.0 - alpha) ** self.n)
        # Below n = 1 what is spent stops at once: the power alone would go on heating (at n = 0 at full speed).
        return rate if self.n >= 1.0 else np.where(alpha < 1.0 - _LAST_BIT, rate, 0.0)

    def ahead(self, alpha: Floats, drive: Floats, ahead_s: Floats) -> Floats:
        """Conversion ahead_s seconds from now if the drive stays."""
        return np.minimum(self._bend(self._straighten(alpha), ahead_s * drive), 1.0 - _LAST_BIT)

    def react(self, alpha: Floats, t_k: Floats, drift_k_s: Floats, dt_s: Floats) -> Floats:
        """Conversion after dt_s seconds (shape (M, 1, 1)) while heat from outside drifts the cell by drift_k_s.

        A cell by itself keeps T = T₀ + rise (α − α₀) + drift t. In u = (1 − α)^(1 − n) (or −ln(1 − α) at
        n = 1) the rate is du/dt = ±drive: nearly linear, never past α = 1, and not stiff at the end of the cure.
        Midpoint rule in u, second order in dt.
        """
        half = 0.5 * dt_s
        u = self._straighten(alpha)
        slope = half * self.drive(alpha, t_k)
        middle = self._bend(u, slope)
        t_middle = t_k + self.rise_k * (middle - alpha)
        t_middle += drift_k_s * half
        end = self._bend(u, dt_s * self.drive(middle, np.maximum(t_middle, _COLDEST_K)))
        return np.minimum(end, 1.0 - _LAST_BIT, out=end)

    def _straighten(self, alpha: Floats) -> Floats:
        if self.n == 1.0:
            return -np.log1p(-alpha)
        if self.n == 2.0:
            return 1.0 / (1.0 - alpha)
        return np.asarray((1.0 - alpha) ** (1.0 - self.n))

    def _bend(self, u: Floats, more: Floats) -> Floats:
        """Return the conversion once u has changed by what `more` (drive times time) stands for."""
        if self.n == 1.0:
            return -np.expm1(-(u + more))
        if self.n == 2.0:
            return 1.0 - 1.0 / (u + more)
        p = 1.0 - self.n
        straight = u - p * more
        if p > 0:
            np.maximum(straight, 0.0, out=straight)
        return 1.0 - straight ** (1.0 / p)


def chemistry(
    resin: Resin,
    *,
    rate_factor: Floats | float = 1.0,
    heat_factor: Floats | float = 1.0,
    e_factor: Floats | float = 1.0,
    first_factor: Floats | float = 1.0,
) -> Chemistry:
    """Return the resin's kinetics for M members; each factor is a number or an array (M,).

    rate_factor multiplies k1 and k2 at 25 °C, heat_factor the heat of cure, e_factor both activation
    energies (with the rates at 25 °C kept), first_factor k1 once more.
    """
    rate = resin.rate
    factor, heat, energy, first = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(v, dtype=float))
            for v in (rate_factor, heat_factor, e_factor, first_factor)
        )
    )

    def column(values: Floats) -> Floats:
        return np.ascontiguousarray(values, dtype=float).reshape(-1, 1, 1)

    b1 = rate.e1_j_mol / GAS_CONSTANT_J_MOL_K * energy
    b2 = rate.e2_j_mol / GAS_CONSTANT_J_MOL_K * energy
    with np.errstate(divide="ignore"):
        log_k1 = np.log(rate.k1_per_s * factor * first) + b1 / REFERENCE_K
        log_k2 = np.log(rate.k2_per_s * factor) + b2 / REFERENCE_K
    slow = resin.diffusion
    return Chemistry(
        column(log_k1),
        column(log_k2),
        column(b1),
        column(b2),
        rate.m,
        rate.n,
        column(1000.0 * resin.heat_of_cure_j_g / resin.specific_heat_j_kgk * heat),
        None if slow is None else (slow.c, slow.ac0, slow.ac_t_per_k),
    )


def arrhenius_factor(t_k: Floats | float, e_j_mol: float) -> Floats:
    """How much faster than at 25 °C: exp[E/R (1/298.15 − 1/T)], T in K."""
    return np.exp(e_j_mol / GAS_CONSTANT_J_MOL_K * (1.0 / REFERENCE_K - 1.0 / np.asarray(t_k, dtype=float)))


def rate_per_s(
    alpha: Floats | float, t_k: Floats | float, rate: Rate, diffusion: Diffusion | None = None
) -> Floats:
    """Rate of cure dα/dt, 1/s, at conversion alpha (0–1) and temperature t_k (K); shapes broadcast."""
    a = np.asarray(alpha, dtype=float)
    slow = rate.k1_per_s * arrhenius_factor(t_k, rate.e1_j_mol)
    fast = rate.k2_per_s * arrhenius_factor(t_k, rate.e2_j_mol) * a**rate.m
    # 0 to the power 0 is 1: at n = 0, too, nothing reacts once all of it has.
    chemical = np.where(a < 1.0, (slow + fast) * (1.0 - a) ** rate.n, 0.0)
    return chemical if diffusion is None else chemical * diffusion_factor(a, t_k, diffusion)


def diffusion_factor(alpha: Floats | float, t_k: Floats | float, diffusion: Diffusion) -> Floats:
    """Chern–Poehlein factor 1 / (1 + exp[c (α − α_c)]), α_c = ac0 + ac_t T; ½ at α = α_c.

    Chern & Poehlein 1987, Polym. Eng. Sci. 27:788 (the form as public codes of Hubert & Johnston's model have it).
    """
    critical = diffusion.ac0 + diffusion.ac_t_per_k * np.asarray(t_k, dtype=float)
    return 1.0 / (1.0 + np.exp(np.minimum(diffusion.c * (np.asarray(alpha, dtype=float) - critical), 700.0)))


def glass_transition_c(alpha: Floats | float, glass: Glass) -> Floats:
    """Glass transition (°C) at conversion alpha: Tg0 + (Tg∞ − Tg0) λα / [1 − (1 − λ)α].

    DiBenedetto's equation as Pascault & Williams 1990, J. Polym. Sci. B 28:85 (the form as public codes have it).
    """
    a = np.asarray(alpha, dtype=float)
    part = glass.lambda_ * a / (1.0 - (1.0 - glass.lambda_) * a)
    return glass.tg0_c + (glass.tg_inf_c - glass.tg0_c) * part
