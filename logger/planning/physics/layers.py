"""A layer plan in words: how many layers, how deep, when each goes on, and what to do at its joint.

What is put into words was solved as it would be followed (`logger.cure.advice.layering`).
"""

from __future__ import annotations

from logger.cure.advice.layering import SHORTEST_WINDOW_H, Joint, LayerPlan
from logger.planning.finding import COMMON_PRACTICE, Constant, plain

SCUFF_GRIT = Constant("grit for scuffing", 120.0, "grit", COMMON_PRACTICE)
SCUFF = (
    f"scuff it with {plain(SCUFF_GRIT.value)} grit, the walls above it too (dried runs do not bond), "
    "wash, let it dry, then pour"
)


def layer_words(layers: LayerPlan) -> str:
    """Return the whole advice in some sentences: "Pour 2 layers of 37.5 mm. Layer 2: 42 to 53 h after layer 1 …"."""
    depths = layers.depths_mm
    if len(set(depths)) == 1:
        text = f"Pour {len(depths)} layers of {depths[0]:g} mm."
    else:
        *first, last = (f"{depth:g}" for depth in depths)
        text = f"Pour {len(depths)} layers: {', '.join(first)} and {last} mm."
    each = each_wait_h(layers)
    if each is not None and len(layers.joints) > 1:
        text += f" Wait {_hours(*each)} before each next one."
    else:
        text += "".join(f" {_joint(number, joint)}" for number, joint in enumerate(layers.joints, start=2))
    if layers.bonds:
        text += f" Within that time it bonds by itself, as long as a thumbnail still sinks in; later {SCUFF}."
    return f"{text} Followed so, it stays under {plain(_up(layers.peak_c))} °C."


def each_wait_h(layers: LayerPlan) -> tuple[float, float] | None:
    """From and until of one wait between layers that suits every joint; None where there is none worth the name."""
    each = layers.every_h() if layers.bonds else None
    return each if each is not None and each[1] - each[0] >= SHORTEST_WINDOW_H else None


def _joint(number: int, joint: Joint) -> str:
    if joint.until_h is None:
        return f"Layer {number}: not before {plain(joint.from_h)} h after layer {number - 1}; {SCUFF}."
    return f"Layer {number}: {_hours(joint.from_h, joint.until_h)} after layer {number - 1}."


def _hours(from_h: float, until_h: float) -> str:
    return f"{plain(from_h)} to {plain(until_h)} h"


def _up(celsius: float) -> float:
    """Return a peak that is promised, rounded up."""
    return float(int(celsius) + 1)
