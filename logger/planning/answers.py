"""What planning asks of the cure model, as plain numbers: None where it was not asked or has no answer."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from logger.cure.advice import deepest_safe
from logger.cure.bond import BondWindow, LayerVerdict, bond_window, coat_window, layer_verdicts
from logger.cure.prediction import Prediction, predict
from logger.plan_file import Plan
from logger.planning.layers import split_depth
from logger.planning.pail import working_time_min


@dataclass(frozen=True, slots=True)
class CureAnswers:
    """Peak and gel of the plan as it is; deepest safe layer; the first layer's bond window; the later layers.

    spread_k: hottest point over surface at most. verdicts: one for each [[layer]], empty where not asked.
    coat: when a brushed seal coat of this resin is tacky and when it is hard, at the room's temperature.
    """

    peak_c: float | None = None
    peak_at_h: float | None = None
    gel_h: float | None = None
    deepest_mm: float | None = None
    window: BondWindow | None = None
    coat: BondWindow | None = None
    verdicts: tuple[LayerVerdict, ...] = ()
    spread_k: float | None = None
    warnings: tuple[str, ...] = ()


NOTHING = CureAnswers()
#: How closely the deepest safe layer is looked for, mm.
WITHIN_MM = 2.0


def answers_of(plan: Plan, prediction: Prediction | None) -> CureAnswers:
    """What one prediction says, without solving anything again."""
    if prediction is None:
        return NOTHING
    curve = prediction.curve
    return CureAnswers(
        peak_c=prediction.peak_c, peak_at_h=prediction.peak_at_h, gel_h=prediction.gel_at_h,
        spread_k=float(np.max(curve.hottest_c - curve.surface_c)) if len(curve.hours) else None,
        window=None if plan.layer else bond_window(plan, prediction),
        coat=coat_window(plan) if plan.slab else None,
        warnings=tuple(prediction.warnings),
    )  # fmt: skip


def ask_cure(
    plan: Plan, prediction: Prediction | None = None, deepest_mm: float | None = None
) -> CureAnswers:
    """Everything that planning asks: one prediction of the plan, and one for each joint between layers.

    Where the plan is too deep for one pour, the bond window is that of the layers it must be split into, in a room
    within the limits: the window of a pour that runs away would be advice to repeat it.
    deepest_mm: the deepest safe layer; left out: the model is asked for it where it has something to say, that is
    where the plan gets too hot or the datasheet names no depth. Raises DidNotConverge.
    """
    whole = predict(plan) if prediction is None else prediction
    found = answers_of(plan, whole)
    limits = plan.resin.limits
    if deepest_mm is None and (limits.max_depth_mm is None or whole.peak_c > limits.max_core_c):
        deepest_mm = deepest_by_model_mm(plan)
    allowed = deepest_allowed_mm(plan, deepest_mm)
    depths = layer_depths_mm(plan)
    if allowed is not None and max(depths) > allowed:
        split = _one_layer(plan, split_depth(sum(depths), allowed)[0])
        return replace(found, deepest_mm=deepest_mm, window=bond_window(split, predict(split)))
    verdicts = tuple(layer_verdicts(plan))
    window = verdicts[0].window if verdicts else found.window
    return replace(found, deepest_mm=deepest_mm, window=window, verdicts=verdicts)


def deepest_by_model_mm(plan: Plan) -> float | None:
    """The deepest single layer that stays under the resin's limit, up to what the plan pours at most; None: not found.

    In a room within the limits: a room that is too warm is told, and mended, apart. With the solver's long steps, whose
    peaks are within a tenth of a degree here: within two millimetres nobody would see the difference. About a second.
    """
    most = max(layer_depths_mm(plan))
    single = _one_layer(plan, most)
    # Few plans are more than four times too deep: the search begins there, and lower only where that is needed.
    for least, top in ((most / 4, most), (most / 16, most / 4)):
        found = deepest_safe(
            single, from_mm=least, most_mm=top, within_mm=WITHIN_MM, proven=False
        ).bracket.safe
        if found is not None:
            return float(found)
    return None


def _one_layer(plan: Plan, depth_mm: float) -> Plan:
    """The plan with one layer of that depth, in a room no warmer and no colder than the datasheet allows."""
    limits = plan.resin.limits
    room = [(h, min(max(c, limits.min_room_c), limits.max_room_c)) for h, c in plan.room_schedule()]
    return plan.model_copy(update={
        "layer": [], "pour": plan.pour.model_copy(update={"depth_mm": depth_mm}),
        "air": plan.air.model_copy(update={"room_c": room}),
    })  # fmt: skip


def layer_depths_mm(plan: Plan) -> list[float]:
    """Depth of each layer from the bottom up, mm."""
    return [plan.pour.depth_mm, *(layer.depth_mm for layer in plan.layer)]


def deepest_allowed_mm(plan: Plan, by_model_mm: float | None) -> float | None:
    """The deepest single layer: the lesser of the datasheet's and the model's."""
    known = [d for d in (plan.resin.limits.max_depth_mm, by_model_mm) if d is not None and d > 0]
    return min(known) if known else None


def room_c(plan: Plan) -> float:
    """The room at the start of the pour, °C."""
    return plan.room_schedule()[0][1]


def room_range_c(plan: Plan) -> tuple[float, float]:
    """(coldest, warmest) of the room's schedule, °C."""
    values = [celsius for _, celsius in plan.room_schedule()]
    return min(values), max(values)


def working_time_of(plan: Plan, mass_kg: float) -> float:
    """Working time of a pail of that mass in the plan's room, minutes, from the plan's own kinetics."""
    mix = plan.mix
    start = room_c(plan) if plan.pour.start_c is None else plan.pour.start_c
    if mix is None or mix.working_time_min is None:
        return working_time_min(plan.resin, mass_kg, room_c(plan), start_c=start)
    return working_time_min(
        plan.resin, mass_kg, room_c(plan), start_c=start, stated_min=mix.working_time_min,
        stated_mass_kg=mix.working_time_mass_kg, stated_c=mix.working_time_c,
    )  # fmt: skip
