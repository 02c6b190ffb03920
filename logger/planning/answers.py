"""What planning asks of the cure model, as plain numbers: None where it was not asked or has no answer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.cure.prediction import Prediction
from logger.plan_file import Plan
from logger.planning.findings import PROJECT_CHOICE, Constant
from logger.planning.layers import BondWindow
from logger.planning.pail import working_time_min

#: conversion from which a layer no longer bonds by itself
SCUFF_FROM = Constant("conversion from which a layer must be scuffed", 0.75, "", PROJECT_CHOICE)


@dataclass(frozen=True, slots=True)
class CureAnswers:
    """Peak and gel of the plan as it is; deepest safe layer, bond window, and core over surface at most."""

    peak_c: float | None = None
    peak_at_h: float | None = None
    gel_h: float | None = None
    deepest_mm: float | None = None
    window: BondWindow | None = None
    spread_k: float | None = None
    warmest_room_c: float | None = None


NOTHING = CureAnswers()


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


def answers_of(prediction: Prediction | None) -> CureAnswers:
    """What a prediction alone says: peak, gel, and how far the hottest point and the surface come apart."""
    if prediction is None:
        return NOTHING
    curve = prediction.curve
    spread = float(np.max(curve.hottest_c - curve.surface_c)) if len(curve.hours) else None
    return CureAnswers(
        peak_c=prediction.peak_c, peak_at_h=prediction.peak_at_h, gel_h=prediction.gel_at_h, spread_k=spread,
        window=_window(prediction),
    )  # fmt: skip


def _window(prediction: Prediction) -> BondWindow | None:
    """From gel until the mean conversion that still takes a fingernail; None when it does not gel in the run."""
    curve = prediction.curve
    if prediction.gel_at_h is None:
        return None
    late = np.nonzero(curve.mean_conversion >= SCUFF_FROM.value)[0]
    closes = float(curve.hours[late[0]]) if len(late) else float(curve.hours[-1])
    return BondWindow(prediction.gel_at_h, max(closes, prediction.gel_at_h))
