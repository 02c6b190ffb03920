"""A plan file's pour whose resin moves until it gels: an independent simulation in two dimensions, a judge for tests.

No line of the solver under test is used. Half a river with its slab and panel, or a piece of a sheet SHEET_DEPTHS wide.
Slow flow: inertia is left out, for Prandtl's number is some thousand; a runaway beyond 200 °C thins the resin so far
that it counts, and is rough here. Boussinesq: weight changes with temperature and with cure, volume does not. Heat and
conversion are carried by the motion; heat is conducted, conversion is not.
Viscosity: Castro & Macosko 1982, AIChE J. 28:250 (form from memory),
μ = μ₂₅ exp[E/R (1/T − 1/T₂₅)] · [α_gel / (α_gel − α)]^(A + B α), solid beyond gel.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass

import numpy as np

from tests.flow.carry import Conduction, carried
from tests.flow.stokes import Stokes

GAS, ZERO_K, GRAVITY = 8.31446261815324, 273.15, 9.80665
#: What counts as solid, Pa·s: it sinks less than a hundredth of a millimetre in an hour.
SOLID = 1e5
#: A sheet has no edge; the piece that is solved ends in mirrors. Its first disturbance, K, is invented.
SHEET_DEPTHS, SHEET_NOISE_K = 3.0, 0.02
#: Longest step, s; of a cell that the liquid may pass in one; heating by cure in one, K, and growth of conversion.
LONGEST_S, PASSED, HEATED_K, CURED = 180.0, 0.8, 1.0, 0.01


@dataclass(frozen=True)
class Flow:
    """How a mix flows: Pa·s at at_c, J/mol, conversion at gel, exponents, 1/K, per cent of density by full cure."""

    viscosity_pa_s: float
    at_c: float = 25.0
    e_j_mol: float = 50_000.0
    gel_conversion: float = 0.58
    exponent_a: float = 1.5
    exponent_b: float = 1.0
    expansion_per_k: float = 5e-4
    density_gain_pct: float = 4.0

    def viscosity(self, celsius, conversion):
        """Pa·s of each cell."""
        warm = np.exp(self.e_j_mol / GAS * (1 / (celsius + ZERO_K) - 1 / (self.at_c + ZERO_K)))
        room = np.maximum(1 - conversion / self.gel_conversion, 1e-9)
        grown = room ** -(self.exponent_a + self.exponent_b * conversion)
        return np.minimum(self.viscosity_pa_s * warm * grown, SOLID)


@dataclass(frozen=True)
class Course:
    """What a pour did. Hours (T,), °C of core and hottest point (T,), place of the peak (x, z) mm, J per metre."""

    hours: np.ndarray
    core_c: np.ndarray
    hottest_c: np.ndarray
    peak_c: float
    peak_at_h: float
    hottest_mm: tuple[float, float]
    mean_conversion: float
    fastest_mm_s: float
    #: Heat of cure that was given off; what is missing of it in the field and in what left, over it.
    heat_j_m: float
    balance_error: float
    steps: int
    temperature_c: np.ndarray
    conversion: np.ndarray


def _graded(length, count, first):
    """Widths of `count` cells that grow by a constant ratio from about `first`."""
    if length <= 0:
        return np.zeros(0)
    low, high = 1.0001, 4.0
    for _ in range(60):
        ratio = 0.5 * (low + high)
        low, high = (ratio, high) if first * (ratio**count - 1) / (ratio - 1) < length else (low, ratio)
    widths = ratio ** np.arange(count)
    return widths * length / widths.sum()


class Pour:
    """The cells and constants of a plan (TOML text), with nz cells through the resin's depth."""

    def __init__(self, plan_text, flow=None, nz=20, seed=0):
        plan = tomllib.loads(plan_text)
        resin, pour, air, form = plan["resin"], plan["pour"], plan["air"], plan.get("form", {})
        panel, slab = form.get("bottom", {}), form.get("side", {})
        self.flow, self.nz = flow, nz
        self.rate = {"e1_j_mol": 58e3, "e2_j_mol": 55e3, "m": 0.5, "n": 1.6, **resin["rate"]}
        depth = pour["depth_mm"] / 1e3
        self.sheet = pour["shape"] == "sheet"
        half = SHEET_DEPTHS * depth if self.sheet else pour["width_mm"] / 2e3
        self.dz = depth / nz
        self.nx = max(8, min(round(half / self.dz), max(24, round(half / self.dz / 1.5))))
        self.nx = 1 if self.sheet and flow is None else self.nx
        self.dx = half / self.nx
        wood = 0.0 if self.sheet else slab.get("thickness_mm", 200.0) / 1e3
        under = panel.get("thickness_mm", 19.0) / 1e3
        widths = np.r_[np.full(self.nx, self.dx), _graded(wood, 12, min(self.dx, wood / 12 or 1))]
        heights = np.r_[np.full(6 if under else 0, under / 6), np.full(nz, self.dz)]
        self.below = len(heights) - nz
        shape = (len(heights), len(widths))
        self.density = resin.get("density_kg_m3", 1100.0)
        capacity_resin = self.density * resin.get("specific_heat_j_kgk", 1900.0)
        k = np.full(shape, panel.get("conductivity_w_mk", 0.20))
        c = np.full(shape, panel.get("density_kg_m3", 750.0) * panel.get("specific_heat_j_kgk", 1700.0))
        k[self.below :] = slab.get("conductivity_w_mk", 0.16)
        c[self.below :] = slab.get("density_kg_m3", 620.0) * slab.get("specific_heat_j_kgk", 1700.0)
        self.wet = (slice(self.below, None), slice(0, self.nx))
        k[self.wet], c[self.wet] = resin.get("conductivity_w_mk", 0.20), capacity_resin
        films = {"top": air["top_w_m2k"], "bottom": air["bottom_w_m2k"]}
        films["side"] = 0.0 if self.sheet else air["side_w_m2k"]
        self.conduction = Conduction(widths, heights, k, c, films)
        room = air["room_c"]
        self.room = np.array(room if isinstance(room, list) else [[0.0, room]], dtype=float)
        self.heat = self.density * 1e3 * resin["heat_of_cure_j_g"]
        self.rise = self.heat / capacity_resin
        self.cell = self.dx * self.dz
        self.hours = plan.get("run", {}).get("hours", 72.0)
        self.start = np.full(shape, self.room[0, 1])
        self.start[self.wet] = pour.get("start_c", self.room[0, 1])
        if self.sheet and flow is not None:
            self.start[self.wet] += SHEET_NOISE_K * np.random.default_rng(seed).normal(size=(nz, self.nx))
        rigid = ("bottom",) if self.sheet else ("bottom", "right")
        self.stokes = None if flow is None else Stokes(self.nx, nz, self.dx, self.dz, rigid)

    def speed(self, celsius, conversion):
        """Kamal–Sourour's rate, 1/s."""
        r = self.rate
        inverse = (1 / 298.15 - 1 / (celsius + ZERO_K)) / GAS
        k1 = r["k1_per_s"] * np.exp(r["e1_j_mol"] * inverse)
        k2 = r["k2_per_s"] * np.exp(r["e2_j_mol"] * inverse)
        return (k1 + k2 * conversion ** r["m"]) * (1 - conversion) ** r["n"]

    def cure(self, celsius, conversion, dt):
        """Each cell by itself for dt s, its heat kept (the midpoint rule)."""
        middle = np.minimum(conversion + 0.5 * dt * self.speed(celsius, conversion), 1.0)
        rate = self.speed(celsius + self.rise * (middle - conversion), middle)
        new = np.minimum(conversion + dt * rate, 1.0)
        return celsius + self.rise * (new - conversion), new

    def motion(self, celsius, conversion):
        """Speeds through the cells' sides and floors, m/s, and the time, s, in which the quickest passes a cell."""
        flow = self.flow
        lighter = flow.expansion_per_k * (celsius - celsius.mean()) - flow.density_gain_pct / 100 * conversion
        u, w = self.stokes.move(flow.viscosity(celsius, conversion), GRAVITY * self.density * lighter)
        passing = np.maximum(abs(u[:, 1:]), abs(u[:, :-1])) / self.dx
        passing = passing + np.maximum(abs(w[1:]), abs(w[:-1])) / self.dz
        return u, w, 1 / max(passing.max(), 1e-12)

    def run(self, past_peak=False):
        """The course of the pour; past_peak: until nothing can warm it again, when its room does not change."""
        end = 3600 * self.hours
        field, alpha = self.start.copy(), np.zeros((self.nz, self.nx))
        moving = self.stokes is not None
        now, out, fastest, dt, before = 0.0, 0.0, 0.0, 1.0, self.conduction.heat @ field.ravel()
        track, peak, place, steps = [], -np.inf, (0, 0), 0
        middle = self.nz // 2
        while True:
            resin = field[self.wet]
            j, i = np.unravel_index(resin.argmax(), resin.shape)
            core = resin[middle, 0] if self.nz % 2 else 0.5 * (resin[middle, 0] + resin[middle - 1, 0])
            track.append((now / 3600, core, resin[j, i]))
            if resin[j, i] > peak:
                peak, place = resin[j, i], (1e3 * (i + 0.5) * self.dx, 1e3 * (j + 0.5) * self.dz)
            over = past_peak and resin[j, i] < peak - 2 and alpha.mean() > 0.5
            if now >= end - 1e-6 or over or (past_peak and alpha.min() > 0.7 and resin[j, i] < peak):
                break
            fastest_rate = self.speed(resin, alpha).max()
            allowed = min(LONGEST_S, 1.25 * dt, HEATED_K / self.rise / fastest_rate, CURED / fastest_rate)
            if moving:
                u, w, passing = self.motion(resin, alpha)
                fastest = max(fastest, abs(u).max(), abs(w).max())
                allowed = min(allowed, PASSED * passing)
                moving = alpha.min() < self.flow.gel_conversion
            # On a ladder, so that the factors of few steps serve them all.
            dt = min(1.2 ** np.floor(np.log(allowed) / np.log(1.2)), end - now)
            resin, alpha = self.cure(resin, alpha, 0.5 * dt)
            if moving and dt > 1e-3 * passing:
                resin, alpha = self.carry(np.array([resin, alpha]), u, w, dt)
            field[self.wet] = resin
            room = np.interp((now + 0.5 * dt) / 3600, self.room[:, 0], self.room[:, 1])
            flat, left = self.conduction.step(field.ravel(), room, dt)
            field = flat.reshape(field.shape)
            field[self.wet], alpha = self.cure(field[self.wet], alpha, 0.5 * dt)
            now, out, steps = now + dt, out + left, steps + 1
        hours, core, hottest = np.array(track).T
        given = self.heat * self.cell * alpha.sum()
        kept = self.conduction.heat @ field.ravel() - before
        return Course(
            hours, core, hottest, float(peak), float(hours[hottest.argmax()]), place, float(alpha.mean()),
            1e3 * fastest, given, float((given - kept - out) / given), steps, field[self.wet], alpha,
        )  # fmt: skip

    def carry(self, q, u, w, dt):
        """What the motion makes of q in dt s (Heun)."""
        there = q + dt * carried(q, u, w, self.dx, self.dz)
        return 0.5 * (q + there + dt * carried(there, u, w, self.dx, self.dz))
