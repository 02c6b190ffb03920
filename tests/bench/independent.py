"""A second solver of the plan file's physics, written another way, to judge the first; for tests and benchmarks.

Nodes sit on the faces and on the borders between materials (the solver under test has cells between them), spacing is
even within each material, and time is scipy's BDF with a sparse Jacobian. Constant given coefficients only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.sparse import block_array, coo_array, csr_array, diags_array

from logger.plan.file import plan_from_table

GAS = 8.31446261815324


@dataclass(frozen=True)
class Answer:
    """Peak °C of the hottest node and its hour, peak of the core node, final mean conversion, evaluations."""

    peak_c: float
    peak_at_h: float
    core_peak_c: float
    mean_conversion: float
    unknowns: int


#: Invented resin systems, slow to quick: k1, k2 (1/s at 25 °C), deepest usual pour mm.
SYSTEMS = [(4e-7, 9e-6, 60.0), (8e-7, 2.2e-5, 45.0), (1.5e-6, 4.5e-5, 28.0), (4e-6, 1.2e-4, 12.0)]


def draw_plan(seed):
    """A random plan with given coefficients: shapes in turn, from harmless to running away. Invented."""
    draw = np.random.default_rng(seed)
    shape = ("river", "round", "sheet")[seed % 3]
    k1, k2, deep = SYSTEMS[(seed // 3) % 4]
    depth = float(draw.uniform(0.45, 1.25) * deep)
    pour = {"shape": shape, "depth_mm": depth, "start_c": float(draw.uniform(18, 30))}
    if shape != "sheet":
        pour["width_mm"] = float(draw.uniform(2.5, 9.0) * depth)
    spread = float(np.exp(draw.normal(0, 0.2)))
    return plan_from_table({
        "title": f"random plan {seed}",
        "resin": {"name": "invented", "heat_of_cure_j_g": float(draw.uniform(300, 420)),
                  "rate": {"k1_per_s": k1 * spread, "k2_per_s": k2 * spread,
                           "e1_j_mol": float(draw.uniform(50e3, 65e3)), "e2_j_mol": float(draw.uniform(48e3, 62e3)),
                           "m": float(draw.uniform(0.4, 1.1)),
                           "n": float(draw.uniform(1.3, 2.1))}},
        "pour": pour,
        "form": {"bottom": {"thickness_mm": float(draw.choice([0.0, 12.0, 19.0]))},
                 "side": {"thickness_mm": float(draw.choice([0.0, 20.0, 150.0]))}},
        "air": {"room_c": float(draw.uniform(17, 28)), "top_w_m2k": float(draw.uniform(6, 20)),
                "bottom_w_m2k": float(draw.uniform(0, 9)), "side_w_m2k": float(draw.uniform(3, 9))},
        "run": {"hours": 60.0 if deep > 30 else 30.0},
    })  # fmt: skip


def _axis(pieces):
    """Nodes of an axis and, per interval, which piece it belongs to. pieces: (length, intervals), none if empty."""
    nodes, owner = [0.0], []
    for number, (length, count) in enumerate(pieces):
        if length <= 0:
            continue
        start = nodes[-1]
        nodes += [start + length * (i + 1) / count for i in range(count)]
        owner += [number] * count
    return np.array(nodes), np.array(owner)


def solve(plan, *, fine=1.0, rtol=1e-6, atol_k=1e-5, hours=None):
    """Solve a plan with given coefficients on a mesh of its own. Returns an Answer."""
    resin, rate, air = plan.resin, plan.resin.rate, plan.air
    depth = plan.pour.depth_mm / 1e3
    flat = plan.pour.shape == "sheet"
    nz = max(6, round(16 * fine))
    z, zone_z = _axis([(plan.form.bottom.thickness_mm / 1e3, max(3, round(5 * fine))), (depth, nz)])
    if flat:
        x, zone_x = np.array([0.0, 1.0]), np.array([0])
    else:
        half = plan.pour.width_mm / 2e3
        wall = plan.form.side.thickness_mm / 1e3
        nx = max(8, round(min(30, 10 + 4 * half / depth) * fine))
        x, zone_x = _axis([(half, nx), (wall, max(3, round((4 + 60 * wall) * fine)))])
    props = {
        "resin": (resin.conductivity_w_mk, resin.density_kg_m3 * resin.specific_heat_j_kgk),
        "panel": (
            plan.form.bottom.conductivity_w_mk,
            plan.form.bottom.density_kg_m3 * plan.form.bottom.specific_heat_j_kgk,
        ),
        "slab": (
            plan.form.side.conductivity_w_mk,
            plan.form.side.density_kg_m3 * plan.form.side.specific_heat_j_kgk,
        ),
    }
    columns = 1 if flat else len(x)
    n = len(z) * columns
    capacity, resin_volume = np.zeros((len(z), columns)), np.zeros((len(z), columns))
    rows, cols, vals = [], [], []

    def join(a, b, g):
        rows.extend([a, b, a, b])
        cols.extend([b, a, a, b])
        vals.extend([g, g, -g, -g])

    # Each rectangle between four nodes gives a quarter of itself to each, and half of its edges' conductance.
    for i, zi in enumerate(zone_z):
        for j, xj in enumerate(zone_x):
            name = "panel" if zi == 0 else ("resin" if xj == 0 else "slab")
            k, c = props[name]
            dz = z[i + 1] - z[i]
            if flat:
                for di in (0, 1):
                    capacity[i + di, 0] += c * dz / 2
                    resin_volume[i + di, 0] += dz / 2 if name == "resin" else 0.0
                join(i, i + 1, k / dz)
                continue
            dx, middle = x[j + 1] - x[j], 0.5 * (x[j + 1] + x[j])
            ring = plan.pour.shape == "round"
            inner = np.pi * (middle**2 - x[j] ** 2) if ring else dx / 2
            outer = np.pi * (x[j + 1] ** 2 - middle**2) if ring else dx / 2
            around = 2 * np.pi * middle if ring else 1.0
            for di in (0, 1):
                for dj, area in ((0, inner), (1, outer)):
                    capacity[i + di, j + dj] += c * dz / 2 * area
                    resin_volume[i + di, j + dj] += dz / 2 * area if name == "resin" else 0.0
                join((i + di) * columns + j, (i + di) * columns + j + 1, k * dz / 2 * around / dx)
            for dj, area in ((0, inner), (1, outer)):
                join(i * columns + j + dj, (i + 1) * columns + j + dj, k * area / dz)
    loss = np.zeros((len(z), columns))
    if flat:
        loss[0, 0] += air.bottom_w_m2k
        loss[-1, 0] += air.top_w_m2k
    else:
        edges = np.concatenate([[0.0], 0.5 * (x[1:] + x[:-1]), [x[-1]]])
        area = np.pi * np.diff(edges**2) if plan.pour.shape == "round" else np.diff(edges)
        loss[0] += air.bottom_w_m2k * area
        loss[-1] += air.top_w_m2k * area
        high = np.diff(np.concatenate([[z[0]], 0.5 * (z[1:] + z[:-1]), [z[-1]]]))
        loss[:, -1] += air.side_w_m2k * high * (2 * np.pi * x[-1] if plan.pour.shape == "round" else 1.0)
    links = coo_array((vals, (rows, cols)), shape=(n, n)).tocsr()
    capacity, loss = capacity.ravel(), loss.ravel()
    wet = np.flatnonzero(resin_volume.ravel() > 0)
    volume = resin_volume.ravel()[wet]
    heat = resin.density_kg_m3 * 1e3 * resin.heat_of_cure_j_g * volume / capacity[wet]
    schedule = plan.room_schedule()
    at, room = np.array([h for h, _ in schedule]) * 3600, np.array([c for _, c in schedule])
    b1, b2 = rate.e1_j_mol / GAS, rate.e2_j_mol / GAS

    def speeds(t_c, a):
        inverse = 1 / 298.15 - 1 / (t_c + 273.15)
        a = np.clip(a, 0.0, 1.0)
        slow, fast = rate.k1_per_s * np.exp(b1 * inverse), rate.k2_per_s * np.exp(b2 * inverse)
        left = (1 - a) ** rate.n
        power = a**rate.m
        value = (slow + fast * power) * left
        kelvin = (t_c + 273.15) ** 2
        by_t = (slow * b1 + fast * power * b2) / kelvin * left
        safe = np.maximum(a, 1e-6)
        rest = np.maximum(1 - a, 1e-12)
        by_a = fast * rate.m * safe ** (rate.m - 1) * left - rate.n * value / rest
        return value, by_t, by_a

    over = 1.0 / capacity

    def change(t, y):
        temperature, a = y[:n], y[n:]
        out = np.empty_like(y)
        out[:n] = (links @ temperature - loss * (temperature - np.interp(t, at, room))) * over
        value, _, _ = speeds(temperature[wet], a)
        out[:n][wet] += heat * value
        out[n:] = value
        return out

    conduction = (diags_array(over) @ (links - diags_array(loss))).tocsr()
    m = len(wet)
    pick = csr_array((np.ones(m), (wet, np.arange(m))), shape=(n, m))

    def jacobian(t, y):
        _, by_t, by_a = speeds(y[:n][wet], y[n:])
        return block_array(
            [
                [conduction + pick @ diags_array(heat * by_t) @ pick.T, pick @ diags_array(heat * by_a)],
                [diags_array(by_t) @ pick.T, diags_array(by_a)],
            ]
        ).tocsc()

    start = np.full(n + m, room[0])
    start[n:] = 0.0
    # A node on a border holds two materials at two temperatures: it begins at what their heat makes together.
    mix = room[0] if plan.pour.start_c is None else plan.pour.start_c
    share = props["resin"][1] * volume / capacity[wet]
    start[wet] = room[0] + share * (mix - room[0])
    until = (plan.run.hours if hours is None else hours) * 3600
    tolerance = np.concatenate([np.full(n, atol_k), np.full(m, atol_k * 1e-2)])
    found = solve_ivp(
        change, (0, until), start, method="BDF", rtol=rtol, atol=tolerance, jac=jacobian, first_step=1.0
    )
    assert found.success, found.message
    hot = found.y[wet].max(axis=0)
    i = int(hot.argmax())
    peak, when = float(hot[i]), float(found.t[i])
    if 0 < i < len(hot) - 1:
        a, b, _ = np.polyfit(found.t[i - 1 : i + 2] - when, hot[i - 1 : i + 2], 2)
        if a < 0:
            when, peak = when - b / (2 * a), peak - b * b / (4 * a)
    first = int(np.searchsorted(z, z[-1] - depth - 1e-12))
    middle = (first + nz // 2) * columns
    mean = float(found.y[n:, -1] @ volume / volume.sum())
    return Answer(peak, when / 3600, float(found.y[middle].max()), mean, n + m)
