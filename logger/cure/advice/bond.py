"""When the next layer bonds to this one by itself, and when it needs a scuff.

A layer poured on a surface that has gelled but is not yet glass still finds unreacted ends that can move: it
bonds without sanding. Poured earlier it runs into the liquid and both heats add up; poured later it needs a
scuffed surface to hold. Gel and vitrification as the two ends: common practice, no source. Both are told with
"about": the gel point is the earliest one, and a thumbnail on the casting decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from logger.arrays import Floats
from logger.cure.model.crossing import first_crossing
from logger.cure.model.diffusion import slow_down
from logger.cure.model.history import conversion_along, cooled_to_room
from logger.cure.model.kinetics import EARLIEST_GEL, glass_transition_c
from logger.cure.solver.hardness import HARD_K, glass_ends, lasting_from, room_at_end_c, thinned
from logger.cure.solver.prediction import Prediction
from logger.facts import Fact, fact
from logger.plan.file import Plan
from logger.quantities import whole_hours

Verdict = Literal["too early", "bonds", "scuff"]


@dataclass(frozen=True)
class BondWindow:
    """Hours after the first pour between which a layer bonds to the surface without sanding.

    opens_h: the surface has gelled. closes_h: it turns to glass. hard_h: a thumbnail no longer marks it. None:
    not within 60 days. There is no window where it turns to glass before it gels.
    """

    opens_h: float | None
    closes_h: float | None
    hard_h: float | None

    @property
    def open(self) -> bool:
        """Whether there is a window at all."""
        return self.opens_h is not None and (self.closes_h is None or self.closes_h > self.opens_h)

    def at(self, hours: float) -> Verdict:
        """Return what a layer poured at this hour would find."""
        if self.opens_h is None or hours < self.opens_h:
            return "too early"
        if self.closes_h is not None and hours >= self.closes_h:
            return "scuff"
        return "bonds"

    def message(self) -> Fact:
        """Return the window as a sentence for the maker."""
        if self.opens_h is None and self.closes_h is not None:
            return fact("bond-glass-ungelled", closes=whole_hours(self.closes_h))
        if self.opens_h is None:
            return fact("bond-never-gels")
        if not self.open:
            return fact("bond-glass-first", opens=whole_hours(self.opens_h))
        if self.closes_h is None:
            return fact("bond-open-ended", opens=whole_hours(self.opens_h))
        return fact("bond-window", opens=whole_hours(self.opens_h), closes=whole_hours(self.closes_h))


def bond_window(plan: Plan, prediction: Prediction) -> BondWindow:
    """Return the window at the top face of what the plan pours last within its run. Hours count from the first pour."""
    begin = max((layer.at_h for layer in plan.layer if layer.at_h < plan.run.hours), default=0.0)
    hours, celsius = thinned(prediction.curve.hours, prediction.curve.surface_c, begin)
    return _window(plan, hours, celsius)


@dataclass(frozen=True)
class OpenWindow:
    """The window's close and the hour from which a thumbnail marks no more, h: soonest and latest, by the highest and
    the lowest glass transition that the resin may have; None: not within 60 days.
    """

    closes_h: tuple[float | None, float | None]
    hard_h: tuple[float | None, float | None]


def open_window(plan: Plan, prediction: Prediction) -> OpenWindow | None:
    """Return how far the unstated glass transition leaves the surface open; None where it is stated."""
    ends = glass_ends(plan)
    if ends is None:
        return None
    late, soon = (bond_window(end, prediction) for end in ends)
    return OpenWindow((soon.closes_h, late.closes_h), (soon.hard_h, late.hard_h))


def coat_window(plan: Plan) -> BondWindow:
    """Return the window of a brushed coat of this resin: thin, so it stays at the room's temperature and never
    warms itself.

    Hours count from the brushing. What the wood soaks up and what the film's air does to it is left out.
    """
    schedule = plan.room_schedule()
    hours = np.linspace(0.0, plan.run.hours, max(2, round(plan.run.hours) + 1))
    celsius = np.interp(hours, [h for h, _ in schedule], [c for _, c in schedule])
    return _window(plan, hours, celsius)


def _window(plan: Plan, hours: Floats, celsius: Floats) -> BondWindow:
    """From a surface's temperatures: when it gels, turns to glass and is hard."""
    glass, slow, room_c = plan.resin.glass, slow_down(plan.resin), room_at_end_c(plan)
    alpha = conversion_along(hours, celsius, plan.resin.rate, slow)
    later, cure = cooled_to_room(hours, alpha, room_c, plan.resin.rate, slow)
    warm = np.concatenate([celsius, np.full(len(later) - len(hours), room_c)])
    margin = glass_transition_c(cure[0], glass) - warm
    opens = first_crossing(later, cure[0], EARLIEST_GEL)
    # The window closes when the surface first turns to glass after its gel; a later warm spell does not reopen it.
    after = later >= (0.0 if opens is None else opens)
    closes = first_crossing(later[after], margin[after], 0.0)
    if opens is not None and margin[after][0] >= 0.0:
        closes = opens
    return BondWindow(opens, closes, lasting_from(later, margin, HARD_K))
