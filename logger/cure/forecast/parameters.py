"""What the plan cannot know about a pour, each with how far it may be off before a reading is taken.

Every unknown is kept in units of its own spread: θ = 0 is the plan, θ = 1 one standard deviation from it, so the
prior is N(0, 1) in each. The spreads are this workshop's judgement of hand-weighed resin in a heated shed (common
practice, no source), wide enough that a forgotten fan or a wrong ratio is unusual but not impossible.
Narrower ones fit simulated still pours as well and moving resin worse (tests/bench/forecast.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from logger.arrays import Floats
from logger.cure.model.convection import FLOW_SD, likely_factor
from logger.cure.solver.ensemble import Members
from logger.plan.file import Flow, Plan

#: θ is kept within this many spreads.
FARTHEST = 4.0


@dataclass(frozen=True)
class Parameter:
    """name: the field of Members it feeds. spread: of the logarithm for a factor, else in the field's unit.

    up, down: code of the cause that it is when θ is above or below 0.
    """

    name: str
    spread: float
    up: str
    down: str
    middle: float = 0.0

    @property
    def is_factor(self) -> bool:
        """Whether it multiplies (and its spread is of the logarithm)."""
        return self.name.endswith("_factor")

    def value(self, theta: Floats) -> Floats:
        """Return the field's own value at θ."""
        offset = self.spread * np.clip(theta, -FARTHEST, FARTHEST)
        return np.exp(offset) if self.is_factor else self.middle + offset


@dataclass(frozen=True)
class Stirred(Parameter):
    """How strongly the liquid moves, by θ: about 1 where the plan has [resin.flow], else anything from rest to 1."""

    flow: Flow | None = None

    def value(self, theta: Floats) -> Floats:
        """Return the factor at θ."""
        return likely_factor(np.clip(theta, -FARTHEST, FARTHEST), self.flow)


def parameters_of(plan: Plan) -> tuple[Parameter, ...]:
    """Return the unknowns of a plan; of a resin that its datasheet leaves open they are as wide as that is."""
    depth = plan.pour.depth_mm
    width = plan.pour.width_mm or 1000.0
    left_open = plan.resin.possible
    rate, heat, first, energy = (
        (0.30, 0.10, 0.20, 0.06)
        if left_open is None
        else (
            _spread(0.30, left_open.rate),
            _spread(0.10, left_open.heat),
            _spread(0.20, left_open.first),
            _spread(0.06, left_open.energy),
        )
    )
    return (
        Parameter("rate_factor", rate, "cures-faster", "cures-slower"),
        Parameter("heat_factor", heat, "gives-more-heat", "gives-less-heat"),
        Parameter("first_factor", first, "starts-sooner", "starts-later"),
        Parameter("e_factor", energy, "warmth-speeds-more", "warmth-speeds-less"),
        Parameter("top_factor", 0.35, "surface-cools-more", "surface-cools-less"),
        Parameter("bottom_factor", 0.35, "underside-cools-more", "underside-cools-less"),
        Parameter("side_factor", 0.35, "edges-cool-more", "edges-cool-less"),
        Parameter("start_offset_c", 0.8, "poured-warmer", "poured-cooler"),
        Parameter("room_offset_c", 0.3, "air-warmer", "air-cooler"),
        Parameter("probe_z_mm", 0.10 * depth, "core-probe-high", "core-probe-low"),
        Parameter("surface_reach", 0.05, "surface-probe-low", "surface-probe-high", middle=0.05),
        Parameter("underside_reach", 0.05, "underside-probe-warm", "underside-probe-cool"),
        Parameter("probe_x_mm", 0.05 * width, "core-probe-aside", "core-probe-aside"),
        Stirred("flow_factor", FLOW_SD, "liquid-moves-more", "liquid-moves-less", flow=plan.resin.flow),
    )


def _spread(usual: float, factors: Sequence[float]) -> float:
    """Return how far a factor may be off: as usual, or as its datasheet leaves it open where that is more."""
    return max(usual, float(np.std(np.log(np.asarray(factors)))))


def members_at(unknowns: tuple[Parameter, ...], theta: Floats) -> Members:
    """Members at θ (M, p)."""
    names = {field.name for field in fields(Members)}
    return Members(**{u.name: u.value(theta[:, i]) for i, u in enumerate(unknowns) if u.name in names})


def reach(unknowns: tuple[Parameter, ...], theta: Floats, kind: str) -> Floats | None:
    """How far a face's probe reads from the face, as a part of face − room (M,); None for other kinds."""
    for i, unknown in enumerate(unknowns):
        if unknown.name == f"{kind}_reach":
            return unknown.value(theta[:, i])
    return None
