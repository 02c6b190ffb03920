"""A plan's predicted course: what is frozen with a pour, and what pages draw besides. Solved once a plan text.

A page that is opened after a restart needs no solving: what it says of the hours to come is frozen with the pour too.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from logger.cure.advice.bond import BondWindow, bond_window
from logger.cure.advice.layering import LayerVerdict, layer_verdicts
from logger.cure.forecast.section_view import core_to_draw, fields_to_draw
from logger.cure.solver.hardness import Milestones, field_hours, glass_ends, milestones
from logger.cure.solver.prediction import Field, Prediction, predict, predict_coarsely
from logger.extremes import BEYOND_C
from logger.plan.file import Plan, plan_from_text
from logger.planning.chances import Chances
from web.views.kept import Kept

#: Pictures of the cross-section over the run.
PICTURES = 49
#: Slab drawn beside the river, mm: the rest of it stays near the room and would only make the picture flat.
SLAB_SHOWN_MM = 90.0


@dataclass(frozen=True)
class PredictedPour:
    """One plan's prediction with its fields, and what follows from it."""

    plan: Plan
    prediction: Prediction
    milestones: Milestones
    window: BondWindow
    joints: tuple[LayerVerdict, ...]
    #: The same with the highest and with the lowest glass transition that an unstated one may be: soonest, latest.
    glass: tuple[tuple[Milestones, BondWindow], ...] = ()


@dataclass(frozen=True, slots=True)
class Foretold:
    """What the plan lets expect and when, h after pouring; None: not within 60 days.

    bonds_from_h, bonds_until_h: a layer on what was poured last bonds without a scuff, whatever its heat does.
    layers: hour of each later one, what it will find. release_range_h, bonds_range_h: soonest and latest of
    release_at_h and bonds_until_h where the glass transition is not stated; None where it is, or an end is not within
    60 days.
    """

    core_peak_c: float
    core_peak_at_h: float
    gel_at_h: float | None
    release_at_h: float | None
    full_cure_at_h: float | None
    bonds_from_h: float | None
    bonds_until_h: float | None
    layers: tuple[tuple[float, str], ...] = ()
    release_range_h: tuple[float, float] | None = None
    bonds_range_h: tuple[float, float] | None = None


def foretold(course: PredictedPour) -> Foretold:
    """Return what a course lets expect."""
    prediction, window = course.prediction, course.window
    bonds = window.open and window.closes_h is not None
    return Foretold(
        prediction.core_peak_c,
        prediction.core_peak_at_h,
        prediction.gel_at_h,
        course.milestones.release_h,
        course.milestones.full_cure_h,
        window.opens_h if bonds else None,
        window.closes_h if bonds else None,
        tuple((joint.at_h, joint.verdict) for joint in course.joints),
        _range([steps.release_h for steps, _ in course.glass]),
        _range([end.closes_h for _, end in course.glass]) if bonds else None,
    )


def _range(hours: Sequence[float | None]) -> tuple[float, float] | None:
    known = [h for h in hours if h is not None]
    return (min(known), max(known)) if known and len(known) == len(hours) else None


def frozen(course: PredictedPour, chances: Chances | None = None) -> dict[str, Any]:
    """Return the prediction as it is kept with a pour: with the hour at which the plan lets the piece go (null:
    never), with what else it lets expect, and with its chances where they were asked for."""
    expected = foretold(course)
    by_chance = {} if chances is None else {"chance": kept_chances(chances)}
    return {
        **by_chance,
        **course.prediction.to_json(),
        "release_at_h": expected.release_at_h,
        "foretold": asdict(expected),
    }


def kept_chances(chances: Chances) -> dict[str, Any]:
    """Return a plan's chances as they are kept with a pour: what `predict` prints, and the band to draw, °C and h."""
    band = chances.band
    drawn = (
        None
        if band is None
        else {name: np.round(column, 2).tolist() for name, column in asdict(band).items()}
    )
    return {**chances.to_json(), "band": drawn}


def foretold_of(plan_toml: str, prediction: Mapping[str, Any] | None) -> Foretold:
    """Return what was frozen with a pour; of an older pour it is solved again. Raises BadPlan, DidNotConverge."""
    stored = (prediction or {}).get("foretold")
    if prediction and prediction.get("rough"):
        return _foretold_roughly(prediction)
    if stored is None:
        return foretold(predicted_of(plan_toml))
    ranges = {name: tuple(stored[name]) for name in ("release_range_h", "bonds_range_h") if stored.get(name)}
    return Foretold(
        **{**stored, **ranges, "layers": tuple((at_h, finds) for at_h, finds in stored["layers"])}
    )


def _foretold_roughly(prediction: Mapping[str, Any]) -> Foretold:
    """Return what a first answer lets expect: the peak; the rest comes with the whole one."""
    curve = prediction["curve"]
    at = int(np.argmax(curve["core_c"]))
    return Foretold(
        curve["core_c"][at], curve["hours"][at], prediction["gel_at_h"], None, None, None, None, ()
    )


#: Courses kept, about 3 MB each.
COURSES: Kept[PredictedPour] = Kept(8)


def predicted_of(plan_toml: str, *, rough: bool = False) -> PredictedPour:
    """Return the course of a plan's text: some tenths of a second the first time, some seconds where it runs away.

    rough: solved by long steps, which is quicker, and not kept. Raises BadPlan, DidNotConverge.
    """
    course = None if rough else COURSES.get(plan_toml)
    if course is None:
        plan = plan_from_text(plan_toml)
        hours = sorted({*field_hours(plan), *np.linspace(0.0, plan.run.hours, PICTURES).tolist()})
        prediction = (predict_coarsely if rough else predict)(plan, field_hours=hours)
        course = PredictedPour(
            plan,
            prediction,
            milestones(plan, prediction),
            bond_window(plan, prediction),
            tuple(layer_verdicts(plan)),
            tuple(
                (milestones(end, prediction), bond_window(end, prediction))
                for end in reversed(glass_ends(plan) or ())
            ),
        )
        if not rough:
            COURSES.put(plan_toml, course)
    return course


def course_kept(plan_toml: str) -> PredictedPour | None:
    """Return the course where it has been solved, else None."""
    return COURSES.get(plan_toml)


def keep_course(plan_toml: str, course: PredictedPour) -> None:
    """Keep a course that another process has solved."""
    COURSES.put(plan_toml, course)


def pictures(course: PredictedPour) -> dict[str, Any]:
    """Return the planned cross-section over the run, to draw; see `drawn`."""
    curve = course.prediction.curve
    return drawn(
        course.plan, course.prediction.fields, (curve.hours, curve.core_c), (curve.hours, curve.hottest_c)
    )


@lru_cache(maxsize=8)
def forecast_pictures(plan_toml: str, forecast: str) -> dict[str, Any] | None:
    """Return the cross-section as a forecast (JSON) sees it, from the pour to its end; None for one that kept no cut.

    About 0.3 s the first time. Raises BadPlan, DidNotConverge.
    """
    body = json.loads(forecast)
    cut = body.get("cut")
    if cut is None:
        return None
    plan, core = plan_from_text(plan_toml), core_to_draw(cut, body["bands"])
    fields = fields_to_draw(plan, cut, np.linspace(0.0, cut["until_h"], PICTURES).tolist(), core)
    hottest = [float(np.nanmax(np.where(field.is_resin, field.temperature_c, np.nan))) for field in fields]
    drawing = drawn(plan, fields, core, ([field.hours for field in fields], hottest))
    return drawing | {"forecast_at_h": body["at_h"]}


def drawn(
    plan: Plan, fields: Sequence[Field], core: tuple[Any, Any], hottest: tuple[Any, Any]
) -> dict[str, Any]:
    """Return the cross-section's cells and temperatures, for drawing: mm, h, tenths of a °C (None where nothing is
    yet).

    `cells[t]` is row by row from the bottom; x runs from the centre line outwards, z up from the bottom of the resin.
    core, hottest: hours and °C.
    """
    first = fields[0]
    edges = first.x_edges_mm
    resin_mm = (
        float(edges[1:][first.is_resin.any(axis=0)].max()) if first.is_resin.any() else float(edges[-1])
    )
    columns = max(1, int(np.searchsorted(edges, resin_mm + SLAB_SHOWN_MM)))
    columns = min(columns, len(edges) - 1)
    last = fields[-1]
    top_mm = float(last.z_edges_mm[1:][last.is_resin.any(axis=1)].max())
    return {
        "shape": plan.pour.shape,
        "limit_c": plan.resin.limits.max_core_c,
        "beyond_c": BEYOND_C,
        "hours": [round(f.hours, 3) for f in fields],
        "x_edges_mm": np.round(edges[: columns + 1], 1).tolist(),
        "z_edges_mm": np.round(first.z_edges_mm, 1).tolist(),
        "resin": last.is_resin[:, :columns].astype(int).tolist(),
        "cells": [_tenths(f, columns) for f in fields],
        "core_c": np.interp([f.hours for f in fields], *core).round(1).tolist(),
        "hottest_c": np.interp([f.hours for f in fields], *hottest).round(1).tolist(),
        "probes": {
            "core": [0.0, plan.pour.depth_mm / 2],
            "surface": [0.0, top_mm - 2.0],
            "underside": [0.0, float(first.z_edges_mm[0])],
        },
    }


def _tenths(field: Field, columns: int) -> list[list[int | None]]:
    shown = field.temperature_c[:, :columns]
    return [[None if value != value else round(10 * value) for value in row] for row in shown.tolist()]
