"""A plan's predicted course as pages need it: cross-section, milestones, bond window. Solved once a plan text.

The curve that a pour is compared with is the frozen one in the pour's row; this serves pictures and "when".
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from logger.cure.bond import BondWindow, bond_window
from logger.cure.glass import Milestones, field_hours, milestones
from logger.cure.prediction import Field, Prediction, predict
from logger.plan_file import Plan, plan_from_text

#: Pictures of the cross-section over the run.
PICTURES = 49
#: Slab drawn beside the river, mm: the rest of it stays near the room and would only make the picture flat.
SLAB_SHOWN_MM = 90.0


@dataclass(frozen=True)
class Course:
    """One plan's prediction with its fields, and what follows from it."""

    plan: Plan
    prediction: Prediction
    milestones: Milestones
    window: BondWindow


@lru_cache(maxsize=32)
def course_of(plan_toml: str) -> Course:
    """The course of a plan's text; about 0.1 s the first time. Raises BadPlan, DidNotConverge."""
    plan = plan_from_text(plan_toml)
    wanted = sorted({*field_hours(plan), *np.linspace(0.0, plan.run.hours, PICTURES).tolist()})
    prediction = predict(plan, field_hours=wanted)
    return Course(plan, prediction, milestones(plan, prediction), bond_window(plan, prediction))


def pictures(course: Course) -> dict[str, Any]:
    """The cross-section's cells and temperatures, for drawing: mm, h, tenths of a °C (None where nothing is yet).

    `cells[t]` is row by row from the bottom; x runs from the centre line outwards, z up from the bottom of the resin.
    """
    plan, fields = course.plan, course.prediction.fields
    first = fields[0]
    edges = first.x_edges_mm
    resin_mm = (
        float(edges[1:][first.is_resin.any(axis=0)].max()) if first.is_resin.any() else float(edges[-1])
    )
    columns = max(1, int(np.searchsorted(edges, resin_mm + SLAB_SHOWN_MM)))
    columns = min(columns, len(edges) - 1)
    last = fields[-1]
    curve = course.prediction.curve
    top_mm = float(last.z_edges_mm[1:][last.is_resin.any(axis=1)].max())
    return {
        "shape": plan.pour.shape,
        "limit_c": plan.resin.limits.max_core_c,
        "hours": [round(f.hours, 3) for f in fields],
        "x_edges_mm": np.round(edges[: columns + 1], 1).tolist(),
        "z_edges_mm": np.round(first.z_edges_mm, 1).tolist(),
        "resin": last.is_resin[:, :columns].astype(int).tolist(),
        "cells": [_tenths(f, columns) for f in fields],
        "core_c": np.interp([f.hours for f in fields], curve.hours, curve.core_c).round(1).tolist(),
        "hottest_c": np.interp([f.hours for f in fields], curve.hours, curve.hottest_c).round(1).tolist(),
        "probes": {
            "core": [0.0, plan.pour.depth_mm / 2],
            "surface": [0.0, top_mm - 2.0],
            "underside": [0.0, float(first.z_edges_mm[0])],
        },
    }


def _tenths(field: Field, columns: int) -> list[list[int | None]]:
    shown = field.temperature_c[:, :columns]
    return [[None if value != value else round(10 * value) for value in row] for row in shown.tolist()]
