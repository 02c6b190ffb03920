"""A layer plan as advice: how many layers, how deep, when each goes on, and what to do at its joint.

What is advised was solved as it would be followed (`logger.cure.advice.layering`).
"""

from __future__ import annotations

from logger.cure.advice.layering import SHORTEST_WINDOW_H, Joint, LayerPlan
from logger.facts import Fact, fact, in_a_row
from logger.planning.finding import COMMON_PRACTICE, Constant
from logger.quantities import at_most, hours_alone, number, temperature, typed_length

SCUFF_GRIT = Constant(fact("constant.grit"), 120.0, fact("unit.grit"), COMMON_PRACTICE)
_GRIT = number(SCUFF_GRIT.value)
SCUFF_BEFORE = fact("scuff-before-layer", grit=_GRIT)


def layer_advice(layers: LayerPlan) -> str:
    """Return the whole advice: "Pour 2 layers of 37.5 mm. Layer 2: 42 h to 53 h after layer 1 …"."""
    depths = layers.depths_mm
    if len(set(depths)) == 1:
        advice = [fact("pour-equal-layers", n=len(depths), depth=at_most(typed_length(depths[0])))]
    else:
        advice = [
            fact("pour-layers", n=len(depths), depths=[at_most(typed_length(depth)) for depth in depths])
        ]
    each = each_wait_h(layers)
    if each is not None and len(layers.joints) > 1:
        opens_h, closes_h = each
        advice.append(fact("wait-before-each-layer", opens=number(opens_h), closes=number(closes_h)))
    else:
        advice += [_joint(layer, joint) for layer, joint in enumerate(layers.joints, start=2)]
    if layers.bonds:
        advice.append(fact("layer-bonds-by-itself", grit=_GRIT))
    return in_a_row([*advice, fact("layers-stay-under", peak=temperature(_up(layers.peak_c), 0))])


def each_wait_h(layers: LayerPlan) -> tuple[float, float] | None:
    """From and until of one wait between layers that suits every joint; None where there is none worth the name."""
    each = layers.every_h() if layers.bonds else None
    return each if each is not None and each[1] - each[0] >= SHORTEST_WINDOW_H else None


def _joint(layer: int, joint: Joint) -> Fact:
    if joint.until_h is None:
        opens = hours_alone(joint.from_h)
        return fact("layer-after-scuffing", layer=layer, opens=opens, below=layer - 1, grit=_GRIT)
    window = {"opens": number(joint.from_h), "closes": number(joint.until_h)}
    return fact("layer-within-window", layer=layer, below=layer - 1, **window)


def _up(celsius: float) -> float:
    """Return a peak that is promised, rounded up."""
    return float(int(celsius) + 1)
