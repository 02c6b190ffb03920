"""The usual classes of system: what is taken of a resin's speed and heat before its datasheet says anything of them.

Slow casting systems are workable for most of a day and hold less heat for each gram; quick coatings are done within an
hour or two. Common practice, no source: wide on purpose, and what a datasheet states soon outweighs it.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.cure.fit.datasheet import Datasheet, System, ends


@dataclass(frozen=True)
class UsualSystem:
    """workable_h: hours at 25 °C, without self-heating, until too thick; workable_sd: of its logarithm. heat_j_g and
    heat_part: heat of cure and its relative uncertainty.
    """

    workable_h: float
    workable_sd: float
    heat_j_g: float
    heat_part: float


USUAL: dict[System, UsualSystem] = {
    "slow": UsualSystem(15.0, 0.8, 390.0, 0.15),
    "medium": UsualSystem(5.0, 0.8, 410.0, 0.15),
    "quick": UsualSystem(1.7, 0.8, 430.0, 0.15),
}
#: The shallowest "deepest single pour" of each class, mm, from the deepest class down.
SHALLOWEST_MM: tuple[tuple[System, float], ...] = (("slow", 25.0), ("medium", 10.0), ("quick", 0.0))
#: What a class that only the depth suggests adds to the spread of the logarithm.
GUESSED_SD = 0.4


def system_of(datasheet: Datasheet) -> System | None:
    """Return the class that the datasheet names, or that its depth suggests; None where neither does."""
    if datasheet.system is not None:
        return datasheet.system
    depths = [ends(pour.depth_mm)[1] for pour in datasheet.deepest_pour]
    depths += [] if datasheet.limits.max_depth_mm is None else [datasheet.limits.max_depth_mm]
    if not depths:
        return None
    return next(system for system, least in SHALLOWEST_MM if max(depths) >= least)
