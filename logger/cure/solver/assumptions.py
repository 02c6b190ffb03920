"""What the heat is worked out for where a plan varies or is silent: the hotter case, and said.

The widest section of an outline, with the undercut of its edges, stands for the whole: a wider one is never cooler,
since wood gives way to resin that reacts. A form of which nothing says what is under it stands on a bench.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from logger.arrays import Floats
from logger.facts import NOTHING, Fact, fact
from logger.plan.file import Plan
from logger.quantities import length

Points = tuple[tuple[float, float], ...]

UNDERSIDE_UNSAID = fact("underside-unsaid")
#: An upright section as wide as the undercut one is so far down its layer gets as hot or a little hotter. From explicit
#: solutions of nine undercut sections (tests/logger/cure/test_assumptions.py has one): 0.50 to 0.55 of the depth.
UNDERCUT_PART = 0.6
#: Two widths nearer than this are one, mm.
_SAME_MM = 0.5
#: The search for the largest circle: squares along the longer side, squares kept, times each is cut in so many parts.
_SQUARES, _KEPT, _TIMES, _PARTS = 40, 12, 6, 4


@dataclass(frozen=True)
class Widest:
    """The width (or diameter) that the heat is worked out for, mm; its place, NOTHING for the plan's own."""

    width_mm: float
    place: str = NOTHING


def underside_is_closed(plan: Plan) -> bool:
    """Whether the form stands on a bench; so it is taken where the plan does not say."""
    return plan.form.underside != "open"


def assumptions(plan: Plan) -> list[Fact]:
    """Return what the heat is worked out for beyond the plan's own numbers, one sentence each."""
    sentences = []
    if plan.form.underside is None and plan.air.bottom_w_m2k is None:
        sentences.append(UNDERSIDE_UNSAID)
    width = widest(plan)
    if width is not None and width.place:
        sentences.append(fact("widest-section", place=width.place))
    return sentences


def widest(plan: Plan) -> Widest | None:
    """Return the widest section of the pour; None for a sheet."""
    pour, outline = plan.pour, plan.outline
    if pour.shape == "sheet" or pour.width_mm is None:
        return None
    section = Widest(pour.width_mm)
    if outline is None:
        return section
    if outline.points_mm is not None and len(outline.points_mm) > 2:
        section = _wider(section, _traced(tuple(outline.points_mm), pour.shape))
    if pour.shape == "round":
        if outline.bottom_diameter_mm is not None:
            at = fact("widest-bottom", across=length(outline.bottom_diameter_mm, None))
            section = _wider(section, Widest(outline.bottom_diameter_mm, at))
        return section
    if outline.stations_mm:
        place, width = max(outline.stations_mm, key=lambda row: row[1])
        section = _wider(section, Widest(width, _at_station(width, place)))
    if outline.edge_slope_deg > 0:
        # The first layer lies lowest, where the undercut is widest.
        down_mm = sum(layer.depth_mm for layer in plan.layer) + UNDERCUT_PART * pour.depth_mm
        below = round(section.width_mm + 2.0 * down_mm * math.tan(math.radians(outline.edge_slope_deg)), 1)
        top = section.place or fact("widest-top", width=length(section.width_mm, None))
        section = _wider(section, Widest(below, fact("widest-below", top=top, below=length(below, None))))
    return section


def _at_station(width_mm: float, along_mm: float) -> Fact:
    return fact("widest-station", width=length(width_mm, None), along=length(along_mm, None))


def _wider(one: Widest, other: Widest) -> Widest:
    return other if other.width_mm > one.width_mm + _SAME_MM else one


def _traced(points: Points, shape: str) -> Widest:
    """Return what stands for a traced outline. A strip as wide as the largest circle inside is the hotter for any
    outline that does not bulge inwards (Payne's bound of the torsion function, u ≤ r²/2), a disc of the same area for
    any outline at all (Talenti's comparison). Both are judged on ten outlines in tests/logger/cure/test_assumptions.py.
    """
    if shape == "round":
        across = round(2.0 * math.sqrt(_area(points) / math.pi), 1)
        return Widest(across, fact("widest-disc", across=length(across, None)))
    across, x, y = largest_circle(points)
    across = round(across, 1)
    place = fact("widest-traced", across=length(across, None), x=length(x, 0), y=length(y, 0))
    return Widest(across, place)


def _area(points: Points) -> float:
    x, y = np.array(points).T
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


@lru_cache(maxsize=32)
def largest_circle(points: Points) -> tuple[float, float, float]:
    """Diameter and centre (x, y) of the largest circle inside a closed outline, in the points' unit; within 0.5 %.

    Squares over the outline, those with the deepest centres cut into smaller ones again and again.
    """
    outline = np.array(points, dtype=float)
    low, high = outline.min(axis=0), outline.max(axis=0)
    size = float((high - low).max()) / _SQUARES
    if size <= 0.0:
        return 0.0, float(low[0]), float(low[1])
    axes = [np.arange(a + 0.5 * size, b + size, size) for a, b in zip(low, high, strict=True)]
    centres = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
    steps = (np.arange(_PARTS) + 0.5) / _PARTS - 0.5
    cut = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    for _ in range(_TIMES):
        depth = _depths(outline, centres)
        best = centres[np.argsort(depth)[-_KEPT:]]
        # A square's neighbours are looked at too: its centre may lie outside and its corner deep inside.
        centres = np.concatenate([best, (best[:, None, :] + 2.0 * size * cut).reshape(-1, 2)])
        size *= 2.0 / _PARTS
    depth = _depths(outline, centres)
    at = int(depth.argmax())
    return 2.0 * max(float(depth[at]), 0.0), float(centres[at, 0]), float(centres[at, 1])


def _depths(outline: Floats, at: Floats) -> Floats:
    """How far each place (N, 2) is from the outline (P, 2); below zero outside."""
    a, b = outline, np.roll(outline, -1, axis=0)
    along = b - a
    length2 = np.maximum((along**2).sum(axis=1), 1e-12)
    off = at[:, None, :] - a[None]
    part = np.clip((off * along).sum(axis=2) / length2, 0.0, 1.0)
    nearest = np.sqrt(((off - part[:, :, None] * along) ** 2).sum(axis=2).min(axis=1))
    # A line to the right crosses the outline an odd number of times from inside.
    rises = (a[:, 1] > at[:, None, 1]) != (b[:, 1] > at[:, None, 1])
    slope = along[:, 0] / np.where(along[:, 1] == 0.0, 1.0, along[:, 1])
    crosses = rises & (at[:, None, 0] < a[:, 0] + (at[:, None, 1] - a[:, 1]) * slope)
    inside = crosses.sum(axis=1) % 2 == 1
    return np.asarray(np.where(inside, nearest, -nearest))
