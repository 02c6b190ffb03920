"""How many layers, how deep, and when the next may go on.

The deepest single layer comes from the datasheet or the cure model, the bond window (from gel until the surface
turns to glass; later it must be scuffed) from `logger.cure.bond`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from logger.cure.bond import BondWindow
from logger.planning.findings import COMMON_PRACTICE, Constant, above, plain

SCUFF_GRIT = Constant("grit for scuffing", 120.0, "grit", COMMON_PRACTICE)
SCUFF = (
    f"scuff it with {plain(SCUFF_GRIT.value)} grit, the walls above it too (dried runs do not bond), "
    "wash, let it dry, then pour"
)


@dataclass(frozen=True, slots=True)
class LayerAdvice:
    """One layer: its depth, when it goes on (hours after the first pour), and how it meets the one below.

    until_h None: no end is known; from_h equal to until_h: there is no window, it must be scuffed.
    """

    number: int
    depth_mm: float
    from_h: float
    until_h: float | None
    words: str


def split_depth(total_mm: float, deepest_mm: float) -> list[float]:
    """Equal layers, none deeper than the deepest allowed: ⌈total / deepest⌉ of them, mm."""
    above("depth of the pour", total_mm, 0, "mm", "give the depth")
    above("deepest layer", deepest_mm, 0, "mm", "take it from the datasheet or the prediction")
    count = max(1, math.ceil(total_mm / deepest_mm - 1e-9))
    return [total_mm / count] * count


def layer_plan(depths_mm: Sequence[float], window: BondWindow | None) -> list[LayerAdvice]:
    """When each layer may go on, counted from the first pour, and what to do at each joint.

    The window of the first layer is taken for all; layers of one depth in one room behave alike.
    """
    advice: list[LayerAdvice] = []
    for number, depth in enumerate(depths_mm, start=1):
        above("layer depth", depth, 0, "mm", "give the depth")
        name = f"Layer {number}: {plain(depth)} mm"
        if number == 1:
            advice.append(LayerAdvice(1, depth, 0.0, 0.0, f"{name}."))
        elif window is None or window.opens_h is None:
            words = f"{name}, when the layer below is hard and cool: {SCUFF}."
            advice.append(LayerAdvice(number, depth, 0.0, None, words))
        else:
            advice.append(_within_window(name, number, depth, window.opens_h, window))
    return advice


def _within_window(name: str, number: int, depth: float, opens_h: float, window: BondWindow) -> LayerAdvice:
    before = number - 1
    opens = before * opens_h
    if not window.open:
        words = f"{name}, from about {plain(opens)} h after the first pour: {SCUFF}."
        return LayerAdvice(number, depth, opens, opens, words)
    if window.closes_h is None:
        words = f"{name}, from about {plain(opens)} h after the first pour, once the layer below has gelled and cooled."
        return LayerAdvice(number, depth, opens, None, words)
    closes = before * window.closes_h
    words = (
        f"{name}, from about {plain(opens)} h to {plain(closes)} h after the first pour, once the layer below has "
        f"gelled and cooled. Later: {SCUFF}."
    )
    return LayerAdvice(number, depth, opens, closes, words)
