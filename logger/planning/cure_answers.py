"""What planning asks of the cure model, as plain numbers: None where it was not asked or has no answer."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from logger import extremes
from logger.cure.advice.bond import BondWindow, OpenWindow, coat_window, open_window
from logger.cure.advice.layering import LayerPlan, LayerVerdict, advise_layers, layer_verdicts
from logger.cure.advice.limits import (
    Depths,
    Remedy,
    deepest_safe,
    faster_resin,
    in_allowed_room,
    remedy,
    single_layer,
)
from logger.cure.fit.datasheet_model import WORKABLE
from logger.cure.fit.working_time import (
    HEAVIEST_KG,
    LIGHTEST_KG,
    conversion_after,
    pail_course,
    quick_working_time_h,
)
from logger.cure.solver.assumptions import assumptions
from logger.cure.solver.laws_left import laws_left
from logger.cure.solver.prediction import Prediction, coarse_peak_c, long_enough, predict, predict_coarsely
from logger.extremes import RUNAWAY_C
from logger.facts import NOTHING, Fact
from logger.plan.file import DEEPEST_MM, Plan
from logger.planning.chances import GREEN_BELOW, RED_ABOVE, Chances, quick_chances, sure_peak_c

#: A stated working time counts as an end of it between these conversions. This project's choice, no standard.
THINNEST, THICKEST = 1e-5, 0.5
#: A pour that its datasheet allows is refused only when it runs away with more than this chance. This project's choice.
RUNS_AWAY = 0.5
#: A longer run must be so much hotter to take the place of the plan's own, K.
_HOTTER_K = 0.5
#: Fastest resin that stands for the hot cases in a search, times the plan's own.
_FASTEST = 8.0


@dataclass(frozen=True, slots=True)
class CureAnswers:
    """Peak and gel of the plan as it is; deepest safe layer; the later layers; what would hold instead.

    spread_k: hottest point over surface at most. verdicts: one for each [[layer]], empty where not asked.
    coat: when a brushed seal coat of this resin is tacky and when it is hard, at the room's temperature.
    room_words: the room that deepest_mm, layers and remedy are for, where the datasheet refuses the plan's own;
    NOTHING for the plan's own. room_peak_c, room_chances: what the plan reaches in that room. layers: None where none
    were asked for (layers_asked) or none hold. hot_void: a void deeper than its layer and what it reaches by itself,
    where that is over the limit. thick_panel_c: what nearly all cases stay under on the thicker bottom that its sag
    asks for. chances: the plan's own; None where they were not asked for: then its one peak decides. sure_mm: of a plan
    that is neither sure nor refused, the deepest single layer that is sure. underside_c: the hottest that the lower
    face of the bottom panel gets. glass: what an unstated glass transition leaves open at the surface.
    """

    peak_c: float | None = None
    peak_at_h: float | None = None
    gel_h: float | None = None
    deepest_mm: float | None = None
    coat: BondWindow | None = None
    verdicts: tuple[LayerVerdict, ...] = ()
    spread_k: float | None = None
    assumed: tuple[Fact, ...] = ()
    room_words: str = NOTHING
    room_peak_c: float | None = None
    layers: LayerPlan | None = None
    layers_asked: bool = False
    remedy: Remedy | None = None
    hot_void: tuple[str, float] | None = None
    thick_panel_c: float | None = None
    chances: Chances | None = None
    room_chances: Chances | None = None
    sure_mm: float | None = None
    underside_c: float | None = None
    glass: OpenWindow | None = None


NO_ANSWERS = CureAnswers()


def answers_of(plan: Plan, prediction: Prediction | None, chances: Chances | None = None) -> CureAnswers:
    """Return what one prediction says, and its chances, without solving anything again."""
    if prediction is None:
        return NO_ANSWERS
    curve = prediction.curve
    return CureAnswers(
        peak_c=prediction.peak_c,
        peak_at_h=prediction.peak_at_h,
        gel_h=prediction.gel_at_h,
        spread_k=float(np.max(curve.hottest_c - curve.surface_c)) if len(curve.hours) else None,
        coat=coat_window(plan) if plan.slab else None,
        assumed=(*assumptions(plan), *laws_left(plan, prediction)),
        chances=chances,
        underside_c=float(np.max(curve.underside_c)) if len(curve.hours) else None,
        glass=None if extremes.is_runaway(prediction.peak_c) else open_window(plan, prediction),
    )


def in_its_datasheet(plan: Plan) -> bool:
    """Whether the datasheet itself allows this pour: one layer, of a depth and in a room that it names."""
    limits = plan.resin.limits
    coldest, warmest = room_range_c(plan)
    start_c = warmest if plan.pour.start_c is None else plan.pour.start_c
    return (
        limits.max_depth_mm is not None
        and plan.pour.depth_mm <= limits.max_depth_mm + 1e-9
        and limits.min_room_c <= coldest
        and max(warmest, start_c) <= limits.max_room_c
        and not plan.layer
        and not plan.heat
        and plan.sun is None
    )


def too_hot(plan: Plan, peak_c: float, chances: Chances | None) -> bool:
    """Whether a plan must not be poured for its heat: by chance; without chances by its one peak.

    A pour that its datasheet allows is refused only where most cases would run away: its maker vouches for the limit,
    and was there.
    """
    limit_c = plan.resin.limits.max_core_c
    if chances is None:
        return peak_c > limit_c
    if in_its_datasheet(plan) and plan.resin.possible is not None:
        return chances.chance_over(max(limit_c, RUNAWAY_C)) > RUNS_AWAY
    return chances.chance_over(limit_c) > RED_ABOVE


def ask_cure(plan: Plan, prediction: Prediction | None = None, chances: Chances | None = None) -> CureAnswers:
    """Everything that planning asks: the plan seen to its peak, its joints, and where it does not hold, what would.

    Where the datasheet refuses the plan's room, what would hold is asked in the nearest room that it allows, and the
    answer names that room. Whatever is advised has been solved as it would be followed, and passes the limit with a
    chance below GREEN_BELOW. Raises DidNotConverge.
    """
    whole = _seen_to_its_peak(plan, predict(plan) if prediction is None else prediction)
    limits = plan.resin.limits
    allowed, room_words = in_allowed_room(plan)
    answers = replace(
        answers_of(plan, whole, quick_chances(plan) if chances is None else chances),
        verdicts=tuple(layer_verdicts(plan)),
        room_words=room_words,
        hot_void=_hot_void(plan),
    )
    hottest_c, there = whole.peak_c, answers.chances
    if room_words:
        hottest_c, there = peak_c(allowed), quick_chances(allowed)
        answers = replace(answers, room_peak_c=hottest_c, room_chances=there)
    hot = too_hot(allowed, hottest_c, there)
    unsure = there is not None and there.over > GREEN_BELOW
    deep = limits.max_depth_mm is not None and max(layer_depths_mm(plan)) > limits.max_depth_mm
    early = any(verdict.verdict == "too early" for verdict in answers.verdicts)
    if not (hot or deep or early or unsure):
        return answers
    sure_mm, reached_c = _deepest(allowed)
    if (hot or unsure) and not deep:
        answers = replace(answers, remedy=remedy(allowed, hottest_c, sure_peak_c))
    if not (hot or deep or early):
        return replace(answers, sure_mm=sure_mm)
    if hot:
        answers = replace(answers, deepest_mm=sure_mm)
    if sure_mm is None:
        # Where even the thinnest single layer is too hot there is nothing to put on one another.
        return replace(answers, layers_asked=True)
    deepest_mm = min(deepest_allowed_mm(plan, sure_mm) or sure_mm, sure_mm)
    faster = _as_fast_as(single_layer(allowed, sure_mm), reached_c)
    layers = advise_layers(allowed, deepest_mm, faster=faster, reaches=sure_peak_c)
    return replace(answers, layers=layers, layers_asked=True)


def _seen_to_its_peak(plan: Plan, whole: Prediction) -> Prediction:
    """Return the prediction, or a longer one where a later layer, or the peak, lies beyond its run."""
    longer = long_enough(plan)
    ends_early = bool(plan.layer) or whole.peak_at_h >= plan.run.hours
    if not ends_early or longer.run.hours <= plan.run.hours:
        return whole
    return predict(longer) if predict_coarsely(longer).peak_c > whole.peak_c + _HOTTER_K else whole


def peak_c(plan: Plan) -> float:
    """Return the plan's peak: by long steps where it is far from the limit, at full accuracy where it decides, °C."""
    asked = long_enough(plan)
    quick_c = predict_coarsely(asked).peak_c
    return predict(asked).peak_c if abs(quick_c - plan.resin.limits.max_core_c) < 3.0 else quick_c


def _hot_void(plan: Plan) -> tuple[str, float] | None:
    """Return the largest void that the first layer fills deeper than it is itself, and its peak, °C, where that is
    too hot.

    As a round of the same area in the wood around it, which is the hotter of all shapes of that area.
    """
    deep = [void for void in plan.void if void.depth_mm > plan.pour.depth_mm + 0.5]
    if not deep:
        return None
    void = max(deep, key=lambda one: min(one.length_mm, one.width_mm) * one.depth_mm)
    part = {"box": 1.0, "oval": math.pi / 4, "crack": 0.5}[void.shape]
    across = min(2.0 * math.sqrt(part * void.length_mm * void.width_mm / math.pi), 5000.0)
    pour = plan.pour.model_copy(
        update={"shape": "round", "width_mm": across, "depth_mm": min(void.depth_mm, DEEPEST_MM)}
    )
    filled = plan.model_copy(update={"pour": pour, "layer": [], "outline": None})
    hottest_c = peak_c(filled)
    return (void.name, hottest_c) if quick_chances(filled).over > RED_ABOVE else None


def _deepest(plan: Plan) -> tuple[float | None, float]:
    """Return the deepest single layer that is sure to keep the limit, mm, no deeper than the plan's deepest, and what
    nearly all of its cases stay under, °C; None where none is.
    """
    deepest = max(layer_depths_mm(plan))
    if plan.layer:
        alone_c = sure_peak_c(single_layer(plan, deepest))
        if alone_c <= plan.resin.limits.max_core_c:
            # Each layer alone keeps it: what is too hot is that they lie on one another.
            return deepest, alone_c
    depths = Depths(most_mm=max(deepest, 2.0))
    bracket = deepest_safe(plan, depths=depths, reaches=sure_peak_c, chance=GREEN_BELOW).bracket
    return bracket.safe, bracket.at_safe or 0.0


def _as_fast_as(plan: Plan, reached_c: float) -> float:
    """Return how many times faster a resin cures whose pour reaches by itself what nearly all cases of the plan's
    stay under: it stands for them in a search.
    """
    low, high = 1.0, _FASTEST
    for _ in range(6):
        middle = math.sqrt(low * high)
        quick = long_enough(faster_resin(plan, middle))
        low, high = (low, middle) if coarse_peak_c(quick, reached_c) > reached_c else (middle, high)
    return low


def layer_depths_mm(plan: Plan) -> list[float]:
    """Depth of each layer from the bottom up, mm."""
    return [plan.pour.depth_mm, *(layer.depth_mm for layer in plan.layer)]


def deepest_allowed_mm(plan: Plan, by_model_mm: float | None) -> float | None:
    """Return the deepest single layer: the lesser of the datasheet's and the model's."""
    depths = [d for d in (plan.resin.limits.max_depth_mm, by_model_mm) if d is not None and d > 0]
    return min(depths) if depths else None


def room_c(plan: Plan) -> float:
    """Return the room at the start of the pour, °C."""
    return plan.room_schedule()[0][1]


def room_range_c(plan: Plan) -> tuple[float, float]:
    """(coldest, warmest) of the room's schedule, °C."""
    values = [celsius for _, celsius in plan.room_schedule()]
    return min(values), max(values)


def working_time_of(plan: Plan, mass_kg: float) -> float:
    """Return the working time of a pail of that mass in the plan's room, minutes, from the solver.

    Where the plan gives the datasheet's working time, the mix is taken as too thick at the conversion that it had then,
    in the stated mass at the stated temperature. Raises OutOfRange, DidNotConverge.
    """
    return 60.0 * quick_working_time_h(
        plan.resin,
        mass_kg,
        room_c(plan),
        start_c=plan.pour.start_c,
        conversion=workable_conversion(plan),
    )


def pail_core_c(plan: Plan, mass_kg: float, after_min: float, until_min: float) -> tuple[float, float]:
    """Return how warm the core of a pail is after so many minutes and at until_min, °C, from the solver.

    Raises OutOfRange, DidNotConverge.
    """
    # By tens of grams: a page that is looked at again solves nothing again.
    kg = round(min(max(mass_kg, LIGHTEST_KG), HEAVIEST_KG), 2) or LIGHTEST_KG
    hours, core_c = pail_course(plan.resin, kg, room_c(plan), plan.pour.start_c, round(until_min) / 60.0)
    now_c, then_c = np.interp([after_min / 60.0, until_min / 60.0], hours, core_c)
    return float(now_c), float(then_c)


def workable_conversion(plan: Plan) -> float:
    """Return the mean conversion up to which the plan's mix can be worked. Raises OutOfRange, DidNotConverge."""
    mix = plan.mix
    if mix is None or mix.working_time_min is None:
        return WORKABLE
    stated_h = mix.working_time_min / 60.0
    mass_kg = min(max(mix.working_time_mass_kg, LIGHTEST_KG), HEAVIEST_KG)
    stated = conversion_after(plan.resin, mass_kg, mix.working_time_c, stated_h)
    # A datasheet that states a working time beyond the model's gel cannot set the end of the working time.
    return min(max(stated, THINNEST), THICKEST)
