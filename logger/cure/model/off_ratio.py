"""What a wrong mixing ratio does: less heat, less cure, a softer casting, whichever side is short.

The scarcer side decides (limiting reactant). r is amine hydrogens per epoxide group over the right one:
r = 1.05 is 5 % too much hardener. Of the two sides a share s = min(r, 1/r) of the more plentiful one can react.

Glass transition: there is no published Tg against ratio for room-curing systems that we could read, only that it
has its maximum at r = 1 (Galy, Sabra & Pascault 1986, Polym. Eng. Sci. 26:1514, from memory). The estimate
here treats the finished off-ratio network as the right one stopped at conversion s (DiBenedetto).
It is a model's bound, not a measurement, and the message says "about".
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.cure.model.gel import gel_of_scarcer
from logger.cure.model.kinetics import glass_transition_c
from logger.errors import OutOfRange
from logger.plan.file import Diffusion, Glass, Resin
from logger.plan.tables import Mix

#: Hardener error that is mentioned, and the one that is warned about; common practice, no source.
MENTION = 0.02
WARN = 0.05
#: A diepoxide with a diamine gels only between these (Flory–Stockmayer).
LEAST_RATIO, MOST_RATIO = 1.0 / 3.0, 3.0


@dataclass(frozen=True)
class OffRatio:
    """An off-ratio mix beside the right one.

    heat_factor: heat per gram over the right mix's. epoxide, amine: the part of each side that can react.
    network: the part of the right network that can form. gel: conversion of the scarcer side at the earliest
    gel. resin: the resin with its heat, rate and glass transition changed, for the solver.
    severity: "ok", "mention" or "warn"; message: for the maker.
    """

    ratio: float
    heat_factor: float
    epoxide: float
    amine: float
    network: float
    tg_inf_c: float
    gel: float | None
    resin: Resin
    severity: str
    message: str


def check_ratio(ratio: float) -> None:
    """Raises OutOfRange for a ratio outside 1/3 to 3: such a mix never gels, and the model has nothing to say."""
    if not LEAST_RATIO <= ratio <= MOST_RATIO:
        raise OutOfRange(
            "mixing ratio (amine hydrogens per epoxide, 1 = right)",
            "never gels",
            value=round(ratio, 4),
            allowed="1/3 to 3",
            remedy="do not pour it; weigh a fresh batch",
        )


def heat_factor(ratio: float, hardener_share: float) -> float:
    """Heat of cure per gram over that of the right mix: the scarcer side limits, the surplus only dilutes.

    hardener_share: mass of hardener in a gram of the right mix, 0 to 1. Raises OutOfRange.
    """
    check_ratio(ratio)
    if not 0 < hardener_share < 1:
        raise OutOfRange(
            "hardener_share",
            "is no share of the mix",
            value=hardener_share,
            allowed="between 0 and 1",
            remedy="hardener mass over mass of the mix",
        )
    mass = 1.0 - hardener_share + hardener_share * ratio
    return min(1.0, ratio) / mass


def off_ratio(resin: Resin, ratio: float, hardener_share: float = 0.3) -> OffRatio:
    """What the resin becomes at this ratio. Raises OutOfRange outside 1/3 to 3.

    Conversion then counts the scarcer side. The rate constants stay those of the right mix, and the
    autocatalysis is driven by the network formed, s α: at the same temperature and heat released, the mix is
    never faster than the right one. (Surplus amine does speed some systems a little at first; a mix that is
    wrong is nothing to plan with, so the model does not grant it.)
    """
    heat = heat_factor(ratio, hardener_share)
    network = min(ratio, 1.0 / ratio)
    glass = _glass_of_part(resin.glass, network)
    rate = resin.rate.model_copy(update={"k2_per_s": resin.rate.k2_per_s * network**resin.rate.m})
    slow = resin.diffusion
    changed = resin.model_copy(
        update={
            "heat_of_cure_j_g": resin.heat_of_cure_j_g * heat,
            "rate": rate,
            "glass": glass,
            "diffusion": None
            if slow is None
            else Diffusion(c=slow.c * network, ac0=slow.ac0 / network, ac_t_per_k=slow.ac_t_per_k / network),
        }
    )
    error = abs(ratio - 1.0)
    severity = "warn" if error > WARN else "mention" if error > MENTION else "ok"
    return OffRatio(
        ratio,
        heat,
        min(1.0, ratio),
        min(1.0, 1.0 / ratio),
        network,
        glass.tg_inf_c,
        gel_of_scarcer(ratio),
        changed,
        severity,
        _message(ratio, severity, resin.glass.tg_inf_c - glass.tg_inf_c),
    )


def ratio_of_masses(resin_g: float, hardener_g: float, mix: Mix) -> tuple[float, float]:
    """The ratio r and the right mix's hardener share, from the two masses weighed (g, any common unit).

    mix: what the datasheet states. With equivalent weights given they decide; else the stated ratio is right.
    Raises OutOfRange for a mass that is not above zero.
    """
    for name, mass in (("resin_g", resin_g), ("hardener_g", hardener_g)):
        if not mass > 0:
            raise OutOfRange(name, "is no mass", value=mass, allowed="above 0 g", remedy="weigh again")
    part_a, part_b = mix.ratio_parts
    if mix.ratio_by == "volume":
        part_a, part_b = part_a * mix.density_a_kg_m3, part_b * mix.density_b_kg_m3
    if mix.eew_g_eq is not None and mix.ahew_g_eq is not None:
        part_a, part_b = mix.eew_g_eq, mix.ahew_g_eq
    return hardener_g / resin_g * part_a / part_b, part_b / (part_a + part_b)


def heat_from_equivalents(heat_kj_eq: float, eew_g_eq: float, ahew_g_eq: float) -> float:
    """Heat of cure in J per gram of the right mix, from kJ per equivalent and the two equivalent weights.

    Raises OutOfRange outside 80–130 kJ per equivalent: epoxy with amine is 98 to 118 (Rozenberg 1986,
    Adv. Polym. Sci. 75:113, from memory).
    """
    if not 80 <= heat_kj_eq <= 130:
        raise OutOfRange(
            "heat per equivalent",
            "is no epoxy with amine",
            value=heat_kj_eq,
            allowed="80 to 130 kJ/eq",
            remedy="98 to 118 is usual",
        )
    for name, weight in (("eew_g_eq", eew_g_eq), ("ahew_g_eq", ahew_g_eq)):
        if not weight > 0:
            raise OutOfRange(
                name,
                "is no weight",
                value=weight,
                allowed="above 0 g/eq",
                remedy="take it from the datasheet",
            )
    return 1000.0 * heat_kj_eq / (eew_g_eq + ahew_g_eq)


def _glass_of_part(glass: Glass, network: float) -> Glass:
    """The glass transition against conversion α of a network that ends at the part `network` of the right one.

    Tg'(α) = Tg(network · α) exactly: DiBenedetto's form keeps its shape, with λ' = 1 − (1 − λ) · network.
    """
    table = {
        "tg0_c": glass.tg0_c,
        "tg_inf_c": float(glass_transition_c(network, glass)),
        "lambda": 1.0 - (1.0 - glass.lambda_) * network,
    }
    return Glass.model_validate(table)


def _message(ratio: float, severity: str, softer_k: float) -> str:
    if severity == "ok":
        return "The mixing ratio is within 2 % of the right one."
    side = "too much" if ratio > 1 else "too little"
    text = (
        f"{abs(ratio - 1):.0%} {side} hardener: about {softer_k:.0f} K lower glass transition at the end, "
        "and less heat on the way."
    )
    if severity == "warn":
        return text + (
            " More than 5 % off: it stays soft and may sweat. More hardener does not make it harder or quicker. "
            "Do not pour this batch."
        )
    return text + " Weigh more carefully next time."
