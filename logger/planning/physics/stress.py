"""Stress in cured resin from temperature differences: elastic upper bounds.

Closed forms of linear elasticity (Timoshenko & Goodier, Theory of Elasticity). Relaxation near the glass transition
lowers them; shrinkage of the cure adds. No published temperature difference that "causes cracking" was found:
the limits are the workshop's own.
"""

from __future__ import annotations

from logger.facts import fact
from logger.planning import works
from logger.planning.finding import FROM_MEMORY, PROJECT_CHOICE, Constant, above, within

STIFFNESS = Constant(fact("constant.resin-stiffness"), 3.0, "GPa", FROM_MEMORY)
EXPANSION = Constant(fact("constant.resin-expansion"), 60e-6, "1/K", works.ENGINEERING_MATERIALS)
POISSON = Constant(fact("constant.resin-poisson"), 0.35, "", FROM_MEMORY)
WATCH_SPREAD = Constant(fact("constant.spread-watch"), 20.0, "K", PROJECT_CHOICE)
STOP_SPREAD = Constant(fact("constant.spread-stop"), 40.0, "K", PROJECT_CHOICE)


def held_both_ways_mpa(
    difference_k: float,
    modulus_gpa: float = STIFFNESS.value,
    expansion_per_k: float = EXPANSION.value,
    poisson: float = POISSON.value,
) -> float:
    """Stress in a sheet that is held in both directions and cools by that much, MPa: E α ΔT / (1 − ν)."""
    within(fact("quantity.poissons-ratio"), poisson, 0, 0.499, "", fact("mend.give-poissons-ratio"))
    return held_one_way_mpa(difference_k, modulus_gpa, expansion_per_k) / (1 - poisson)


def held_one_way_mpa(
    difference_k: float, modulus_gpa: float = STIFFNESS.value, expansion_per_k: float = EXPANSION.value
) -> float:
    """Stress in a bar that is held at its ends and cools by that much, MPa: E α ΔT."""
    above(fact("quantity.stiffness"), modulus_gpa, 0, "GPa", fact("take-from-datasheet"))
    return (
        modulus_gpa
        * 1000
        * expansion_per_k
        * within(fact("quantity.difference"), difference_k, -300, 300, "K", fact("mend.check-it"))
    )


def skin_mpa(difference_k: float, **kinds: float) -> float:
    """Stress at the skin of a free slab with a parabolic profile, MPa: two thirds of held both ways."""
    return held_both_ways_mpa(difference_k, **kinds) * 2 / 3
