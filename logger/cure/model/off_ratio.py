"""What a wrong mixing ratio does: less heat, less cure, a softer casting, whichever side is short.

The scarcer side decides (limiting reactant). r is amine hydrogens per epoxide group over the right one:
r = 1.05 is 5 % too much hardener. Of the two sides a share s = min(r, 1/r) of the more plentiful one can react.

Glass transition: there is no published Tg against ratio for room-curing systems that we could read, only that it
has its maximum at r = 1 (Galy, Sabra & Pascault 1986, Polym. Eng. Sci. 26:1514, abstract). The estimate
here treats the finished off-ratio network as the right one stopped at conversion s (DiBenedetto).
It is a model's bound, not a measurement: whoever shows it says "about".
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.cure.model.kinetics import glass_transition_c
from logger.errors import OutOfRange
from logger.facts import fact
from logger.plan.file import Glass
from logger.quantities import quantity

#: A diepoxide with a diamine gels only between these (Flory–Stockmayer).
LEAST_RATIO, MOST_RATIO = 1.0 / 3.0, 3.0


@dataclass(frozen=True)
class OffRatio:
    """An off-ratio mix beside the right one.

    heat_factor: heat per gram over the right mix's. network: the part of the right network that can form.
    tg_inf_c: glass transition of the full cure, softer_k: by how much it is below the right mix's.
    """

    heat_factor: float
    network: float
    tg_inf_c: float
    softer_k: float


def check_ratio(ratio: float) -> None:
    """Raise OutOfRange for a ratio outside 1/3 to 3: such a mix never gels, and the model has nothing to say."""
    if not LEAST_RATIO <= ratio <= MOST_RATIO:
        raise OutOfRange(
            fact("amine-ratio"),
            fact("never-gels"),
            value=round(ratio, 4),
            allowed=fact("third-to-three"),
            remedy=fact("weigh-a-fresh-batch"),
        )


def heat_factor(ratio: float, hardener_share: float) -> float:
    """Return the heat of cure per gram over that of the right mix: the scarcer side limits, the surplus only dilutes.

    hardener_share: mass of hardener in a gram of the right mix, 0 to 1. Raises OutOfRange.
    """
    check_ratio(ratio)
    if not 0 < hardener_share < 1:
        raise OutOfRange(
            "hardener_share",
            fact("is-no-share"),
            value=hardener_share,
            allowed=fact("between-0-and-1"),
            remedy=fact("hardener-share"),
        )
    mass = 1.0 - hardener_share + hardener_share * ratio
    return min(1.0, ratio) / mass


def off_ratio(glass: Glass, ratio: float, hardener_share: float = 0.3) -> OffRatio:
    """Return what the mix becomes at this ratio. Raises OutOfRange outside 1/3 to 3."""
    heat = heat_factor(ratio, hardener_share)
    network = min(ratio, 1.0 / ratio)
    tg_inf_c = float(glass_transition_c(network, glass))
    return OffRatio(heat, network, tg_inf_c, glass.tg_inf_c - tg_inf_c)


def heat_from_equivalents(heat_kj_eq: float, eew_g_eq: float, ahew_g_eq: float) -> float:
    """Return the heat of cure in J per gram of the right mix, from kJ per equivalent and the two equivalent weights.

    Raises OutOfRange outside 80–130 kJ per equivalent: epoxy with amine is 98 to 118 (Rozenberg 1986,
    Adv. Polym. Sci. 75:113, from memory).
    """
    if not 80 <= heat_kj_eq <= 130:
        raise OutOfRange(
            fact("heat-per-equivalent"),
            fact("is-no-epoxy-with-amine"),
            value=heat_kj_eq,
            allowed=fact("range", low=quantity(80.0, "", 0), high=quantity(130.0, "kJ/eq", 0)),
            remedy=fact("range-is-usual", low=quantity(98.0, "", 0), high=quantity(118.0, "kJ/eq", 0)),
        )
    for name, weight in (("eew_g_eq", eew_g_eq), ("ahew_g_eq", ahew_g_eq)):
        if not weight > 0:
            raise OutOfRange(
                name,
                fact("is-no-weight"),
                value=weight,
                allowed=fact("above", least=quantity(0.0, "g/eq", 0)),
                remedy=fact("take-from-datasheet"),
            )
    return 1000.0 * heat_kj_eq / (eew_g_eq + ahew_g_eq)
