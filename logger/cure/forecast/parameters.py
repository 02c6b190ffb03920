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
from logger.cure.solver.ensemble import Members
from logger.plan.file import Plan

#: θ is kept within this many spreads.
FARTHEST = 4.0


@dataclass(frozen=True)
class Parameter:
    """name: the field of Members it feeds. spread: of the logarithm for a factor, else in the field's unit.

    words_up, words_down: what it means when θ is above or below 0.
    """

    name: str
    spread: float
    words_up: str
    words_down: str
    middle: float = 0.0

    @property
    def is_factor(self) -> bool:
        """Whether it multiplies (and its spread is of the logarithm)."""
        return self.name.endswith("_factor")

    def value(self, theta: Floats) -> Floats:
        """Return the field's own value at θ."""
        offset = self.spread * np.clip(theta, -FARTHEST, FARTHEST)
        return np.exp(offset) if self.is_factor else self.middle + offset


def parameters_of(plan: Plan) -> tuple[Parameter, ...]:
    """Return the unknowns of a plan; of a resin that its datasheet leaves open they are as wide as that is."""
    depth = plan.pour.depth_mm
    width = plan.pour.width_mm or 1000.0
    surface, underside = "the surface sheds", "the underside sheds"
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
        Parameter("rate_factor", rate, *_both("the resin cures {} than planned", "faster", "slower")),
        Parameter("heat_factor", heat, *_both("the cure gives {} heat than planned", "more", "less")),
        Parameter("first_factor", first, *_both("the cure starts {} than planned", "sooner", "later")),
        Parameter("e_factor", energy, *_both("warmth speeds the cure {} than planned", "more", "less")),
        Parameter("top_factor", 0.35, *_both(surface + " {} heat than planned", "more", "less")),
        Parameter("bottom_factor", 0.35, *_both(underside + " {} heat than planned", "more", "less")),
        Parameter("side_factor", 0.35, *_both("the edges shed {} heat than planned", "more", "less")),
        Parameter("start_offset_c", 0.8, *_both("the mix was poured {} than planned", "warmer", "cooler")),
        Parameter("room_offset_c", 0.3, *_both("the air is {} than the room probe says", "warmer", "cooler")),
        Parameter("probe_z_mm", 0.10 * depth, *_both("the core probe sits {} mid-depth", "above", "below")),
        Parameter(
            "surface_reach", 0.05, *_both("the surface probe sits {} the face", "below", "above"), middle=0.05
        ),
        Parameter(
            "underside_reach",
            0.05,
            *_both("the underside probe reads {} the face", "warmer than", "cooler than"),
        ),
        Parameter("probe_x_mm", 0.05 * width, *_both("the core probe sits off the centre line", "", "")),
    )


def _spread(usual: float, factors: Sequence[float]) -> float:
    """Return how far a factor may be off: as usual, or as its datasheet leaves it open where that is more."""
    return max(usual, float(np.std(np.log(np.asarray(factors)))))


def _both(words: str, up: str, down: str) -> tuple[str, str]:
    return words.format(up), words.format(down)


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
