"""How hard it is: glass transition against the casting's own temperature, in a maker's words, and when.

A cured resin above its Tg is a rubber, below it a glass; how far below is the proxy for hardness here. The words
and their thresholds are common practice, no source: they say what a thumbnail or a hand finds, not a Shore or
Barcol number. Conversion along the curve includes the slow-down by vitrification.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats
from logger.cure.model.diffusion import slow_down
from logger.cure.model.history import LONGEST_H, conversion_along, cooled_to_room
from logger.cure.model.kinetics import EARLIEST_GEL, glass_transition_c
from logger.cure.solver.prediction import Field, Prediction
from logger.facts import Fact, fact
from logger.plan.file import Glass, Plan

#: Tg this far above the casting's temperature: a thumbnail still marks it from 0 K, no longer from HARD_K.
#: Common practice, no source.
HARD_K = 10.0
#: "Fully cured" in a room: Tg this far above the room (room cures end 10 to 30 K above it, from memory), or
#: within NEAR_END_K of the highest Tg that the resin can have.
FULL_K = 25.0
NEAR_END_K = 3.0
#: Where the glass transition of the full cure lies, °C, of a casting system whose datasheet does not state it: nine in
#: ten (from memory: soft slow systems at the lower end, stiff tabletop ones at the upper).
GLASS_RANGE_C = (65.0, 105.0)
#: A form is opened once the core is this close to the room, so that it does not cool with a start.
#: Common practice, no source.
COOLED_K = 5.0

LIQUID, SOFT, FINGERNAIL, HARD, FULL = "liquid", "soft", "takes a fingernail", "hard", "fully cured"
_MEANING = {
    LIQUID: fact("hardness-liquid"),
    SOFT: fact("hardness-soft"),
    FINGERNAIL: fact("hardness-fingernail"),
    HARD: fact("hardness-hard"),
    FULL: fact("hardness-full"),
}


@dataclass(frozen=True)
class Hardness:
    """A word, its meaning, the glass transition (°C) and how far it lies above the casting's temperature (K)."""

    word: str
    meaning: Fact
    tg_c: float
    margin_k: float


@dataclass(frozen=True)
class Steps:
    """Hours at which one place of the casting gels, vitrifies, takes no thumbnail and is fully cured.

    None: not within 60 days. conversion_at_end: when the prediction ends.
    """

    place: str
    gelled_h: float | None
    fingernail_h: float | None
    hard_h: float | None
    full_h: float | None
    conversion_at_end: float
    at_end: Hardness


@dataclass(frozen=True)
class Milestones:
    """What becomes of the whole casting: each place's steps, when to release it, when it is fully cured (h)."""

    places: tuple[Steps, ...]
    release_h: float | None
    full_cure_h: float | None
    softest_at_end: Hardness

    def place(self, name: str) -> Steps:
        """Return the steps of one place: "core", "surface" or "least cured"."""
        return next(steps for steps in self.places if steps.place == name)


def glass_ends(plan: Plan) -> tuple[Plan, Plan] | None:
    """Return the plan with the lowest and with the highest glass transition its resin may have; None where stated."""
    glass = plan.resin.glass
    if glass.stated:
        return None

    def at(celsius: float) -> Plan:
        own = glass.model_copy(update={"tg_inf_c": celsius})
        return plan.model_copy(update={"resin": plan.resin.model_copy(update={"glass": own})})

    low_c, high_c = GLASS_RANGE_C
    return at(low_c), at(high_c)


def hardness(conversion: float, celsius: float, glass: Glass, gel: float = EARLIEST_GEL) -> Hardness:
    """How hard a place with this conversion is at this temperature (°C)."""
    tg_c = float(glass_transition_c(conversion, glass))
    margin = tg_c - celsius
    if margin < 0.0:
        word = SOFT if conversion >= gel else LIQUID
    elif tg_c >= full_tg_c(celsius, glass):
        word = FULL
    else:
        word = HARD if margin >= HARD_K else FINGERNAIL
    return Hardness(word, _MEANING[word], tg_c, margin)


def full_tg_c(celsius: float | Floats, glass: Glass) -> Floats:
    """Return the Tg (°C) from which a casting at this temperature counts as fully cured."""
    return np.minimum(np.asarray(celsius, dtype=float) + FULL_K, glass.tg_inf_c - NEAR_END_K)


def lasting_from(hours: Floats, values: Floats, level: float) -> float | None:
    """Return the hour from which values stay at or above the level to their end; None if they end below it."""
    below = np.flatnonzero(np.asarray(values) < level)
    if len(below) == 0:
        return float(hours[0])
    last = int(below[-1])
    if last == len(hours) - 1:
        return None
    share = (level - values[last]) / (values[last + 1] - values[last])
    return float(hours[last] + share * (hours[last + 1] - hours[last]))


def field_hours(plan: Plan, count: int = 25) -> list[float]:
    """Hours at which to ask `predict` for fields, so that the least cured place can be followed."""
    begin = max((layer.at_h for layer in plan.layer), default=0.0)
    if begin >= plan.run.hours:
        begin = 0.0
    return [float(h) for h in begin + (plan.run.hours - begin) * np.linspace(0.0, 1.0, count) ** 1.5]


def milestones(plan: Plan, prediction: Prediction, gel: float = EARLIEST_GEL) -> Milestones:
    """Gel, release and full cure of a predicted pour, carried on at the room's temperature to 60 days.

    Where layers follow each other, the last one counts. The least cured place is followed through
    prediction.fields (predict(plan, field_hours=field_hours(plan))); without fields only core and surface are.
    """
    glass, slow = plan.resin.glass, slow_down(plan.resin)
    begin = max((layer.at_h for layer in plan.layer if layer.at_h < plan.run.hours), default=0.0)
    curve = prediction.curve
    room_c = room_at_end_c(plan)
    # The core is that of the first layer; where layers follow, only what is poured last is followed.
    tracks = [("surface", *thinned(curve.hours, curve.surface_c, begin), 0.0)]
    if begin == 0.0:
        tracks.append(("core", *thinned(curve.hours, curve.core_c), 0.0))
    tracks += _least_cured(prediction.fields, begin)
    places, release, full = [], [], []
    for name, at, celsius, start in tracks:
        alpha = conversion_along(at, celsius, plan.resin.rate, slow, start)
        later, cure = cooled_to_room(at, alpha, room_c, plan.resin.rate, slow)
        warm = np.concatenate([celsius, np.full(len(later) - len(at), room_c)])
        tg_c = glass_transition_c(cure[0], glass)
        margin = tg_c - warm
        hard_h = lasting_from(later, margin, HARD_K)
        full_h = lasting_from(later, np.minimum(tg_c - full_tg_c(warm, glass), margin), 0.0)
        places.append(
            Steps(
                name,
                lasting_from(later, cure[0], gel),
                lasting_from(later, margin, 0.0),
                hard_h,
                full_h,
                float(alpha[0, -1]),
                hardness(float(alpha[0, -1]), float(celsius[-1]), glass, gel),
            )
        )
        release.append(_never_as_inf(hard_h))
        full.append(_never_as_inf(full_h))
    cooled = lasting_from(curve.hours, COOLED_K - np.abs(curve.core_c - room_c), 0.0)
    # Still warm when the prediction ends: from then on it is taken to be at the room's temperature.
    release.append(plan.run.hours if cooled is None else cooled)
    softest = min((steps.at_end for steps in places), key=lambda state: state.margin_k)
    return Milestones(tuple(places), _inf_as_never(max(release)), _inf_as_never(max(full)), softest)


def room_at_end_c(plan: Plan) -> float:
    """Return the room's mean over the last day of its schedule, °C: what the casting stands in afterwards."""
    schedule = plan.room_schedule()
    hours, celsius = np.array([h for h, _ in schedule]), np.array([c for _, c in schedule])
    at = np.linspace(max(0.0, plan.run.hours - 24.0), plan.run.hours, 49)
    return float(np.interp(at, hours, celsius).mean())


def thinned(hours: Floats, celsius: Floats, begin: float = 0.0) -> tuple[Floats, Floats]:
    """Return the same history from an hour on with fewer points: one an hour, and one for each half kelvin."""
    picks = [int(np.searchsorted(hours, begin))]
    for i in range(picks[0] + 1, len(hours) - 1):
        if hours[i + 1] - hours[picks[-1]] > 1.0 or abs(celsius[i + 1] - celsius[picks[-1]]) > 0.5:
            picks.append(i)
    picks.append(len(hours) - 1)
    return hours[picks], celsius[picks]


def _least_cured(fields: tuple[Field, ...], begin: float) -> list[tuple[str, Floats, Floats, float]]:
    """Hours, temperatures and starting conversion of the cell that ends with the least conversion."""
    shots = [shot for shot in fields if shot.hours >= begin]
    if len(shots) < 5:
        return []
    row, column = np.unravel_index(int(np.nanargmin(shots[-1].conversion)), shots[-1].conversion.shape)
    start = float(shots[0].conversion[row, column])
    return [
        (
            "least cured",
            np.array([shot.hours for shot in shots]),
            np.array([shot.temperature_c[row, column] for shot in shots]),
            start if np.isfinite(start) else 0.0,
        )
    ]


def _never_as_inf(hours: float | None) -> float:
    return np.inf if hours is None else hours


def _inf_as_never(hours: float) -> float | None:
    return None if hours > LONGEST_H else float(hours)
