"""The section that the heat is worked out for: the widest of an outline, undercut included."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve
from shapely import Polygon, contains_xy

from logger.cure.solver.assumptions import assumptions, largest_circle, widest
from logger.cure.solver.prediction import predict
from logger.plan.file import Plan
from logger.units import GAS_CONSTANT_J_MOL_K
from logger.words.reader import METRIC
from logger.words.render import say

GIVEN = {"top_w_m2k": 9.0, "bottom_w_m2k": 5.0, "side_w_m2k": 5.0}


def river(plan_of, resin, width_mm: float, depth_mm: float = 50.0, **more) -> Plan:
    """A river of the slow casting system in a room of 23 °C, on a bench."""
    more.setdefault("air", GIVEN)
    return plan_of(resin, "river", depth_mm, 23.0, pour={"width_mm": width_mm}, **more)


def test_the_widest_stretch_of_a_river_decides_and_is_named(plan_of, slow_casting):
    """70 mm wide by its one number, 240 mm where it is widest: some 15 K that nobody told of."""
    stations = {"stations_mm": [(0.0, 60.0), (500.0, 90.0), (1000.0, 240.0), (1500.0, 70.0)]}
    plan = river(plan_of, slow_casting, 70.0, outline=stations)
    assert widest(plan).width_mm == 240.0
    found = predict(plan)
    assert found.peak_c == pytest.approx(predict(river(plan_of, slow_casting, 240.0)).peak_c, abs=0.01)
    assert found.peak_c > predict(river(plan_of, slow_casting, 70.0)).peak_c + 10.0
    assert any("240 mm at 1000 mm along" in say(warning, METRIC) for warning in found.warnings)


def test_a_narrower_outline_does_not_cool_the_plans_own_width(plan_of, slow_casting):
    """The worse of the two; nothing was assumed then."""
    plan = river(plan_of, slow_casting, 300.0, outline={"stations_mm": [(0.0, 60.0), (1500.0, 70.0)]})
    assert widest(plan).width_mm == 300.0
    assert assumptions(plan) == []


def explicit_peak_c(plan: Plan, slope_deg: float, cell_mm: float = 5.0, hours: float = 48.0) -> float:
    """The peak of an undercut river by explicit steps on a grid of squares, its leaning edge a staircase.

    Shares nothing with the solver but the plan: ρ cp ∂T/∂t = ∇·(k ∇T) + ρ H ∂α/∂t, Kamal–Sourour rate.
    """
    d, resin, bottom, side = cell_mm / 1000.0, plan.resin, plan.form.bottom, plan.form.side
    depth, lean = plan.pour.depth_mm / 1000.0, math.tan(math.radians(slope_deg))
    rows = round(bottom.thickness_mm / cell_mm)
    z = (np.arange(rows + round(depth / d)) - rows + 0.5) * d
    half = plan.pour.width_mm / 2000.0
    x = (np.arange(round((half + depth * lean + side.thickness_mm / 1000.0) / d)) + 0.5) * d
    wet = (z[:, None] > 0) & (x < half + (depth - z[:, None]) * lean)

    def by_place(of):
        return np.where(wet, of(resin), np.where(z[:, None] < 0, of(bottom), of(side)))

    k = by_place(lambda m: m.conductivity_w_mk)
    c = by_place(lambda m: m.density_kg_m3 * m.specific_heat_j_kgk)
    up, out = 2 * k[1:] * k[:-1] / (k[1:] + k[:-1]) / d, 2 * k[:, 1:] * k[:, :-1] / (k[:, 1:] + k[:, :-1]) / d
    air, room = plan.air, float(plan.air.room_c)
    top, low, end = (
        h / (1 + h * d / 2 / cells)
        for h, cells in ((air.top_w_m2k, k[-1]), (air.bottom_w_m2k, k[0]), (air.side_w_m2k, k[:, -1]))
    )
    t, alpha, peak = np.full(k.shape, room), np.zeros(k.shape), room
    step, rate = 0.2 * d * d * c.min() / k.max(), resin.rate
    for _ in range(int(hours * 3600 / step)):
        warmer = (1 / 298.15 - 1 / (t + 273.15)) / GAS_CONSTANT_J_MOL_K
        first = rate.k1_per_s * np.exp(rate.e1_j_mol * warmer)
        second = rate.k2_per_s * np.exp(rate.e2_j_mol * warmer) * alpha**rate.m
        cure = np.where(wet, (first + second) * (1 - alpha) ** rate.n, 0.0)
        heat = np.zeros_like(t)
        flow = up * (t[1:] - t[:-1])
        heat[:-1] += flow
        heat[1:] -= flow
        flow = out * (t[:, 1:] - t[:, :-1])
        heat[:, :-1] += flow
        heat[:, 1:] -= flow
        heat[-1] -= top * (t[-1] - room)
        heat[0] -= low * (t[0] - room)
        heat[:, -1] -= end * (t[:, -1] - room)
        t = t + step * (heat / d + resin.density_kg_m3 * resin.heat_of_cure_j_g * 1000 * cure) / c
        alpha = np.minimum(alpha + step * cure, 1.0)
        peak = max(peak, float(t[wet].max()))
    return peak


def test_an_undercut_is_at_least_as_hot_as_an_explicit_solution_of_it(plan_of, slow_casting):
    """Edges that recede by 45° under a river of 60 mm: without them 10 K are missing, with them none."""
    bottom = {"bottom": {"thickness_mm": 20.0}}
    upright = river(plan_of, slow_casting, 60.0, form=bottom)
    plan = river(plan_of, slow_casting, 60.0, form=bottom, outline={"edge_slope_deg": 45.0})
    true_c, found = explicit_peak_c(plan, 45.0), predict(plan)
    # The two agree where there is no undercut: what the explicit grid is worth.
    assert predict(upright).peak_c == pytest.approx(explicit_peak_c(upright, 0.0), abs=0.5)
    assert predict(upright).peak_c < true_c - 8.0
    assert true_c - 0.5 <= found.peak_c <= true_c + 8.0
    assert any("120 mm below, where the edges recede" in say(warning, METRIC) for warning in found.warnings)


def test_the_lowest_layer_has_the_widest_undercut(plan_of, slow_casting):
    """It lies under the others: 40 + 0.6 · 20 mm down, 45° on both sides."""
    layers = [{"at_h": 40.0, "depth_mm": 40.0}]
    plan = river(plan_of, slow_casting, 60.0, 20.0, outline={"edge_slope_deg": 45.0}, layer=layers)
    assert widest(plan).width_mm == pytest.approx(60.0 + 2 * 52.0, abs=0.1)


def test_a_mould_that_is_wider_below_is_as_wide_as_its_bottom(plan_of, slow_casting):
    """A round mould's taper counts like an undercut."""
    plan = plan_of(slow_casting, "round", 40.0, 22.0, outline={"bottom_diameter_mm": 420.0})
    assert widest(plan).width_mm == 420.0
    assert any("420 mm across at the bottom" in say(sentence, METRIC) for sentence in assumptions(plan))


@pytest.mark.parametrize(
    ("points", "across"),
    # A square of 100; a right triangle 300, 400, 500: inradius (300 + 400 − 500) / 2; a strip with one wide bay.
    [
        ([(0, 0), (100, 0), (100, 100), (0, 100)], 100.0),
        ([(0, 0), (300, 0), (0, 400)], 200.0),
        ([(0, 0), (900, 0), (900, 40), (500, 40), (500, 160), (400, 160), (400, 40), (0, 40)], 100.0),
    ],
)
def test_the_largest_circle_inside_an_outline(points, across):
    """By closed forms of geometry; the bay's circle touches three sides and reaches into the strip."""
    found, _x, _y = largest_circle(tuple((float(x), float(y)) for x, y in points))
    assert found == pytest.approx(across, rel=0.01)


def test_a_traced_outline_is_as_hot_as_its_widest_place(plan_of, slow_casting):
    """A bay of 100 mm in a river of 40 mm decides, whatever width was typed."""
    bay = [
        (0.0, 0.0),
        (900.0, 0.0),
        (900.0, 40.0),
        (500.0, 40.0),
        (500.0, 160.0),
        (400.0, 160.0),
        (400.0, 40.0),
        (0.0, 40.0),
    ]
    plan = river(plan_of, slow_casting, 40.0, outline={"points_mm": bay})
    assert widest(plan).width_mm == pytest.approx(100.0, rel=0.01)
    assert any("at the traced place" in say(sentence, METRIC) for sentence in assumptions(plan))


def ring(count: int, across: float, along: float) -> list[tuple[float, float]]:
    """Corners on an ellipse."""
    return [
        (across * math.cos(2 * math.pi * i / count), along * math.sin(2 * math.pi * i / count))
        for i in range(count)
    ]


#: Outlines that do not bulge inwards, and three that do.
CONVEX = {
    "square": [(0, 0), (1, 0), (1, 1), (0, 1)],
    "long rectangle": [(0, 0), (1, 0), (1, 8), (0, 8)],
    "triangle": ring(3, 1.0, 1.0),
    "narrow triangle": [(0, 0), (4, 0), (0.5, 1)],
    "hexagon": ring(6, 1.0, 1.0),
    "ellipse": ring(48, 2.0, 1.0),
    "trapezium": [(0, 0), (3, 0), (2, 1), (0, 1)],
}
HOLLOW = {
    "angle": [(0, 0), (3, 0), (3, 1), (1, 1), (1, 3), (0, 3)],
    "bay": [(0, 0), (4, 0), (4, 1), (2.5, 1), (2.5, 2), (1.5, 2), (1.5, 1), (0, 1)],
    "star": [
        (r * math.cos(i * math.pi / 5), r * math.sin(i * math.pi / 5)) for i, r in enumerate([1, 0.5] * 5)
    ],
}


def hottest(points: list[tuple[float, float]], cells: int = 160) -> float:
    """Largest u of −Δu = 1 with u = 0 on the outline: five-point differences, solved by scipy."""
    outline = Polygon(points)
    left, low, right, high = outline.bounds
    step = math.sqrt(outline.area) / cells
    x, y = np.meshgrid(np.arange(left, right, step), np.arange(low, high, step), indexing="ij")
    inside = contains_xy(outline, x, y)
    number = np.full(inside.shape, -1)
    number[inside] = np.arange(inside.sum())
    rows, columns = [], []
    for axis in (0, 1):
        near, far = np.moveaxis(number, axis, 0)[:-1].ravel(), np.moveaxis(number, axis, 0)[1:].ravel()
        both = (near >= 0) & (far >= 0)
        rows += [near[both], far[both]]
        columns += [far[both], near[both]]
    at = (np.concatenate(rows), np.concatenate(columns))
    count = int(inside.sum())
    laplace = sparse.eye(count) * 4.0 - sparse.coo_matrix((np.ones(len(at[0])), at), shape=(count, count))
    return float(spsolve(laplace.tocsc(), np.full(count, step**2)).max())


@pytest.mark.parametrize("name", CONVEX)
def test_a_strip_as_wide_as_the_largest_circle_is_the_hotter(name):
    """Evenly heated, u ≤ r²/2 wherever the outline does not bulge inwards (Payne's bound), within the grid's 2 %."""
    across, _x, _y = largest_circle(tuple((float(x), float(y)) for x, y in CONVEX[name]))
    assert hottest(CONVEX[name]) <= 1.02 * (across / 2) ** 2 / 2
    if name == "long rectangle":
        assert hottest(CONVEX[name]) == pytest.approx((across / 2) ** 2 / 2, rel=0.02)


@pytest.mark.parametrize("name", [*CONVEX, *HOLLOW])
def test_a_disc_of_the_same_area_is_hotter_than_any_outline(name):
    """Evenly heated, u ≤ A/4π, the disc's own (Talenti's comparison), within the grid's 2 %."""
    points = {**CONVEX, **HOLLOW}[name]
    assert hottest(points) <= 1.02 * Polygon(points).area / (4 * math.pi)
    assert hottest(ring(96, 1.0, 1.0)) == pytest.approx(0.25, rel=0.02)
