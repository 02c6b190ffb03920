"""The slow-down of a cure that turns to glass: once Tg has overtaken the resin's own temperature, the
reactive ends cannot find each other. `logger.cure.model.kinetics.diffusion_factor` is the Chern–Poehlein factor;
here are the checks on its numbers and a stand-in where a resin's own numbers are not known.

Where it stops (from memory): epoxies cured in a room end with a Tg some 10 to 30 K above the cure temperature
(Gillham's time–temperature–transformation diagrams; Moussa et al. 2012, Int. J. Adhes. Adhes. 35:9 found the
cure at 5–10 °C strongly slowed by vitrification).
"""

from __future__ import annotations

import numpy as np

from logger.arrays import Floats
from logger.errors import OutOfRange
from logger.facts import fact
from logger.plan.file import Diffusion, Glass, Resin
from logger.quantities import quantity, temperature
from logger.units import ZERO_CELSIUS_K

#: The stand-in halves the rate when Tg is this far above the resin's temperature, K (from memory, see above).
LEAD_K = 10.0
#: Steepness of the stand-in: the rate falls tenfold over 0.06 of conversion. A published prepreg set has 43
#: (Hubert & Johnston's, 43.09, in public cure codes); with 40 the cure ends 30–40 K above the room after months.
STEEPNESS = 40.0
#: The stand-in's critical conversion is a straight line through these temperatures, °C: a room's.
_LINE_C = (10.0, 40.0)


def conversion_at_tg(tg_c: Floats | float, glass: Glass) -> Floats:
    """Conversion at which Tg reaches tg_c: DiBenedetto's equation turned round.

    Below Tg0 it is negative, above Tg∞ more than 1: the caller sees that it is not reached.
    """
    part = (np.asarray(tg_c, dtype=float) - glass.tg0_c) / (glass.tg_inf_c - glass.tg0_c)
    # Outside 0–1 the equation has a pole; the straight lines of its two ends carry on instead.
    inside = np.clip(part, 0.0, 1.0)
    alpha = inside / (glass.lambda_ + (1.0 - glass.lambda_) * inside)
    return alpha + np.minimum(part, 0.0) / glass.lambda_ + glass.lambda_ * np.maximum(part - 1.0, 0.0)


def diffusion_from_glass(glass: Glass, lead_k: float = LEAD_K, steepness: float = STEEPNESS) -> Diffusion:
    """Return a stand-in for a resin's Chern–Poehlein numbers: half the rate where Tg is lead_k above the resin.

    α_c(T) is made a straight line through 10 and 40 °C, which is what the equation has.
    """
    cold_c, warm_c = _LINE_C
    cold, warm = (float(conversion_at_tg(c + lead_k, glass)) for c in _LINE_C)
    slope = (warm - cold) / (warm_c - cold_c)
    return Diffusion(c=steepness, ac0=cold - slope * (cold_c + ZERO_CELSIUS_K), ac_t_per_k=slope)


def slow_down(resin: Resin) -> Diffusion:
    """Return the resin's own diffusion numbers, or the stand-in from its glass transition.

    Raises OutOfRange for numbers that `check_diffusion` refuses.
    """
    if resin.diffusion is None:
        return diffusion_from_glass(resin.glass)
    check_diffusion(resin.diffusion)
    return resin.diffusion


def check_diffusion(diffusion: Diffusion) -> None:
    """Refuse numbers that stop the cure where it cannot stop.

    Raises OutOfRange when the critical conversion is below 0.1 anywhere between 0 and 60 °C (the mix would
    hardly start), or falls as the resin gets warmer (heat always frees a glass).
    """
    if diffusion.ac_t_per_k < 0:
        raise OutOfRange(
            "[resin.diffusion] ac_t_per_k",
            fact("warmer-stops-earlier"),
            value=diffusion.ac_t_per_k,
            allowed=fact("at-least", least=quantity(0.0, "1/K", 0)),
            remedy=fact("check-the-sign"),
        )
    lowest = diffusion.ac0 + diffusion.ac_t_per_k * ZERO_CELSIUS_K
    if lowest < 0.1:
        raise OutOfRange(
            "[resin.diffusion] ac0 + ac_t_per_k · 273.15 K",
            fact("cure-hardly-starts", at=temperature(0.0, 0)),
            value=round(lowest, 4),
            allowed=fact("at-least", least=quantity(0.1, "", None)),
            remedy=fact("check-ac0"),
        )
