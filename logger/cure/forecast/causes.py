"""The named causes of a pour going otherwise than planned, with their size and how sure they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.arrays import Floats
from logger.cure.forecast.heating import HEATING
from logger.cure.forecast.parameters import Parameter
from logger.facts import Fact, fact
from logger.plan.file import Plan
from logger.quantities import percent, quantity

#: A cause is named when at least this part of the members has its sign, and its median is this many spreads off.
SURE = 0.85
WORTH_NAMING = 0.35
#: Coefficients of a surface in still air, W/(m²·K) (about 4–5 convection and 6 radiation; common practice, no source).
STILL_AIR_W_M2K = (6.0, 11.0)
#: Units of the unknowns that do not multiply.
UNITS = {"start_offset_c": "K", "room_offset_c": "K", "probe_z_mm": "mm", "sun_w_m2": "W/m²"}


@dataclass(frozen=True)
class Cause:
    """name: the unknown. words: for a maker, with its size. size: how far off, in unit.
    sure: part of the members that agree, 0–1. warmer: whether it makes the core hotter than planned; None: it is about
    a probe, not about the heat."""

    name: str
    words: Fact
    size: float
    unit: str
    sure: float
    warmer: bool | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the same in plain JSON types, rounded."""
        return {
            "name": self.name,
            "words": self.words,
            "size": round(self.size, 2),
            "unit": self.unit,
            "sure": round(self.sure, 3),
            "warmer": self.warmer,
        }


def causes_of(unknowns: tuple[Parameter, ...], theta: Floats, plan: Plan) -> tuple[Cause, ...]:
    """Return the causes that the members θ (M, p) agree on, the furthest from the plan first."""
    ranked = []
    for i, unknown in enumerate(unknowns):
        off = theta[:, i]
        if unknown.name == HEATING.name:
            off = (
                unknown.value(off) / unknown.spread
            )  # the plan has none of it: what counts is how far it is from none
        middle = float(np.median(off))
        sure = float(np.mean(np.sign(off) == np.sign(middle)))
        if (
            sure < SURE
            or abs(middle) < WORTH_NAMING
            or unknown.name.startswith(("probe_x", "surface_reach", "underside_reach"))
            # A plan that says nothing of its flow plans none that could be missed.
            or (unknown.name == "flow_factor" and plan.resin.flow is None)
        ):
            continue
        value = float(unknown.value(np.array(np.median(theta[:, i]))))
        if unknown.is_factor:
            size, unit = 100.0 * (value - 1.0), "%"
            words = fact(_up_or_down(unknown, middle), size=percent(size, 0, signed=True))
        elif unknown.name == "fan_part":
            size, unit = 100.0 * max(value, 0.0), "%"
            words = fact(_up_or_down(unknown, middle), part=percent(size, 0))
        else:
            unit = UNITS[unknown.name]
            size = value
            words = fact(_up_or_down(unknown, middle), size=quantity(size, unit, signed=True))
        if unknown.name == "top_factor" and plan.air.top_w_m2k is not None and middle < 0:
            now = value * plan.air.top_w_m2k
            if STILL_AIR_W_M2K[0] <= now <= STILL_AIR_W_M2K[1] and size < -20.0:
                words = fact(
                    "surface-like-still-air",
                    now=quantity(now, "W/(m²·K)", 0),
                    planned=quantity(plan.air.top_w_m2k, "W/(m²·K)", 0),
                )
        ranked.append(
            (abs(middle), Cause(unknown.name, words, size, unit, sure, _warmer(unknown.name, middle)))
        )
    return tuple(cause for _, cause in sorted(ranked, key=lambda item: -item[0]))


#: Unknowns that make the core hotter when they are above what was planned, and those that make it cooler.
HEATS = (
    "rate_factor",
    "heat_factor",
    "first_factor",
    "e_factor",
    "start_offset_c",
    "room_offset_c",
    HEATING.name,
)
COOLS = ("top_factor", "bottom_factor", "side_factor", "fan_part", "flow_factor")


def _warmer(name: str, middle: float) -> bool | None:
    if name in HEATS:
        return middle > 0
    return middle < 0 if name in COOLS else None


def _up_or_down(unknown: Parameter, middle: float) -> str:
    return unknown.up if middle > 0 else unknown.down
