"""How many layers, how deep, and when the next may go on.

The deepest single layer and the bond window (from gel, while it still takes a fingernail, to the hour from
which it must be scuffed) come from the datasheet and the cure model as plain numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from logger.errors import BadInput
from logger.planning.findings import COMMON_PRACTICE, Constant, above, not_negative, plain

SCUFF_GRIT = Constant("grit for scuffing", 120.0, "grit", COMMON_PRACTICE)


class Joint(StrEnum):
    """How a layer meets the one below."""

    TOO_EARLY = "too early"
    TACKY = "while tacky"
    SCUFF = "scuff first"


@dataclass(frozen=True, slots=True)
class BondWindow:
    """When a next layer bonds without sanding, hours after the layer below was poured."""

    opens_h: float
    closes_h: float

    def __post_init__(self) -> None:
        not_negative("opening of the bond window", self.opens_h, "h", "take the gel time of the prediction")
        if not (math.isfinite(self.closes_h) and self.closes_h >= self.opens_h):
            raise BadInput(
                "bond window",
                "closes before it opens",
                value=self.closes_h,
                allowed=f"{plain(self.opens_h)} h or more",
                remedy="give the hour from which it must be scuffed",
            )


@dataclass(frozen=True, slots=True)
class LayerAdvice:
    """One layer: its depth, when it goes on (hours after the first pour), and how it meets the one below."""

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


def joint_at(at_h: float, window: BondWindow) -> Joint:
    """How a layer poured `at_h` hours after the one below meets it."""
    not_negative("at_h", at_h, "h", "give the hours since the layer below")
    if at_h < window.opens_h:
        return Joint.TOO_EARLY
    return Joint.TACKY if at_h <= window.closes_h else Joint.SCUFF


def layer_plan(depths_mm: Sequence[float], window: BondWindow | None) -> list[LayerAdvice]:
    """When each layer may go on, counted from the first pour, and what to do at each joint."""
    advice: list[LayerAdvice] = []
    opens, closes = 0.0, 0.0
    for number, depth in enumerate(depths_mm, start=1):
        above("layer depth", depth, 0, "mm", "give the depth")
        if number == 1:
            words = f"Layer 1: {plain(depth)} mm."
            advice.append(LayerAdvice(1, depth, 0.0, 0.0, words))
            continue
        if window is None:
            words = (
                f"Layer {number}: {plain(depth)} mm, when the layer below is hard and cool. "
                "Scuff it and the walls above it, wipe, then pour."
            )
            advice.append(LayerAdvice(number, depth, opens, None, words))
            continue
        opens += window.opens_h
        closes += window.closes_h
        words = (
            f"Layer {number}: {plain(depth)} mm, from {plain(opens)} h to {plain(closes)} h after the first pour, "
            f"once the layer below has gelled and cooled. Later: scuff it with {plain(SCUFF_GRIT.value)} grit, "
            "the walls above it too (dried runs do not bond), wipe, then pour."
        )
        advice.append(LayerAdvice(number, depth, opens, closes, words))
    return advice


def check_times(at_h: Sequence[float], window: BondWindow) -> list[Joint]:
    """How each later layer of a plan (hours after the first pour, rising) meets the one before it."""
    joints = []
    before = 0.0
    for hour in at_h:
        joints.append(joint_at(hour - before, window))
        before = hour
    return joints
