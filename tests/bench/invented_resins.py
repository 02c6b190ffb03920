"""Invented resins, the datasheet that the maker of each would print, and the river that is poured by it: a simulator of
its own to judge bands that are made from a datasheet.

No line of the solver under test is used. Cells of even width, one direction after the other by implicit Euler (locally
one-dimensional splitting, Marchuk and Yanenko; from memory), the reaction of each cell exactly in small steps between.
Coefficients are constants, drawn for each pour; kinetics are Kamal–Sourour with exponents of each resin's own. All
numbers are invented: wide distributions over the usual classes (common practice, no source).
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass

import numpy as np

GAS = 8.31446261815324
#: Hours at 25 °C until too thick, without self-heating: middle and spread of the logarithm; heat of cure, J/g.
CLASSES = {"slow": (16.0, 0.6, 380.0), "medium": (5.0, 0.6, 410.0), "quick": (1.8, 0.6, 440.0)}
#: Depths and minutes that datasheets print.
ROUND_MM = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 75, 100)
LIMIT_C = 60.0
#: Panel of the form and wood beside the river: conductivity W/mK, ρ·cp J/m³K.
PANEL, WOOD = (0.15, 700 * 1650.0), (0.16, 650 * 1700.0)
PANEL_M, WOOD_M = 0.019, 0.12


@dataclass(frozen=True)
class TrueResin:
    """A resin as it is: k1, k2 at 25 °C in 1/s, E in J/mol, exponents, heat J/g, ρ kg/m³, cp J/kgK, k W/mK."""

    system: str
    k1: float
    k2: float
    energy: float
    m: float
    n: float
    heat: float
    density: float
    specific: float
    conductivity: float

    def rate(self, alpha, kelvin):
        """dα/dt, 1/s."""
        warm = np.exp(self.energy / GAS * (1 / 298.15 - 1 / kelvin))
        return warm * (self.k1 + self.k2 * alpha**self.m) * (1 - alpha) ** self.n

    def react(self, alpha, kelvin, dt):
        """Conversion and temperature of cells by themselves after dt s (Heun, four small steps)."""
        rise = self.heat * 1000 / self.specific
        for _ in range(4):
            h = dt / 4
            slope = self.rate(alpha, kelvin)
            there = np.minimum(alpha + h * slope, 1 - 1e-9)
            again = self.rate(there, kelvin + rise * (there - alpha))
            new = np.minimum(alpha + h * 0.5 * (slope + again), 1 - 1e-9)
            kelvin, alpha = kelvin + rise * (new - alpha), new
        return alpha, kelvin


def isothermal_h(resin, level, celsius=25.0):
    """Hours to a conversion at one temperature."""
    edges = np.linspace(0, level ** (1 / 3), 400)
    at = (0.5 * (edges[1:] + edges[:-1])) ** 3
    return float(np.sum(np.diff(edges**3) / resin.rate(at, celsius + 273.15)) / 3600)


def draw_resin(rng):
    """A resin of a random class."""
    system = str(rng.choice(list(CLASSES)))
    hours, spread, heat = CLASSES[system]
    ratio = 50 * np.exp(rng.normal(0, 0.9))
    shape = TrueResin(
        system, 1 / ratio, 1.0, rng.normal(58e3, 6e3), rng.uniform(0.85, 1.15), rng.uniform(1.75, 2.25),
        heat * np.exp(rng.normal(0, 0.12)), rng.uniform(1070, 1150), rng.uniform(1750, 2050), rng.uniform(0.18, 0.22),
    )  # fmt: skip
    k2 = isothermal_h(shape, 0.25) / (hours * np.exp(rng.normal(0, spread)))
    return TrueResin(system, shape.k1 * k2, k2, *(getattr(shape, f) for f in
                 ("energy", "m", "n", "heat", "density", "specific", "conductivity")))  # fmt: skip


def _inverse(widths, conductivity, capacity, films, dt):
    """Dense matrix of one implicit step along a line of cells: films are W/m²K at its two ends (0: no heat passes)."""
    n = len(widths)
    half = widths / (2 * conductivity)
    through = np.zeros(n + 1)
    through[1:-1] = 1 / (half[:-1] + half[1:])
    ends = [
        0.0 if film == 0 else 1 / (1 / film + end)
        for film, end in zip(films, (half[0], half[-1]), strict=True)
    ]
    through[0], through[-1] = ends
    a = np.diag(1 + dt * (through[:-1] + through[1:]) / (widths * capacity))
    a -= np.diag(dt * through[1:-1] / (widths * capacity)[1:], -1)
    a -= np.diag(dt * through[1:-1] / (widths * capacity)[:-1], 1)
    source = np.zeros(n)
    source[0] += dt * through[0] / (widths * capacity)[0]
    source[-1] += dt * through[-1] / (widths * capacity)[-1]
    inverse = np.linalg.inv(a)
    return inverse, inverse @ source


def pour_peak(resin, depth_mm, room_c, films, width_mm=None, cells=14, per_cure=500):
    """Highest temperature at the core and anywhere in the resin, °C. films: top, underside, outer side, W/m²K.

    width_mm None: a wide pour, solved through its depth alone.
    """
    depth = depth_mm / 1000
    dz = np.r_[np.full(5, PANEL_M / 5), np.full(cells, depth / cells)]
    in_z = np.arange(len(dz)) >= 5
    if width_mm is None:
        dx, in_x = np.ones(1), np.ones(1, dtype=bool)
    else:
        across = max(cells, 8)
        dx = np.r_[np.full(across, width_mm / 2000 / across), np.full(8, WOOD_M / 8)]
        in_x = np.arange(len(dx)) < across
    dt = 3600 * isothermal_h(resin, 0.25, room_c) / per_cure
    mix = (resin.conductivity, resin.density * resin.specific)

    def line(widths, resin_there, around, ends):
        k = np.where(resin_there, mix[0], around[0])
        c = np.where(resin_there, mix[1], around[1])
        return _inverse(widths, k, c, ends, dt)

    # Along z: columns of resin over panel, and of wood over panel. Along x: rows of the panel, and resin beside wood.
    z_resin = line(dz, in_z, PANEL, (films[1], films[0]))
    k = np.where(in_z, WOOD[0], PANEL[0])
    c = np.where(in_z, WOOD[1], PANEL[1])
    z_wood = _inverse(dz, k, c, (films[1], films[0]), dt)
    rows_panel = _inverse(dx, np.full(len(dx), PANEL[0]), np.full(len(dx), PANEL[1]), (0.0, films[2]), dt)
    rows_resin = line(dx, in_x, WOOD, (0.0, films[2]))
    room = room_c + 273.15
    t = np.full((len(dz), len(dx)), room)
    alpha = np.zeros((cells, int(in_x.sum())))
    top, core = room, room
    at = 5 + cells // 2
    for _ in range(60 * per_cure):
        alpha, t[5:, in_x] = resin.react(alpha, t[5:, in_x], dt)
        t[:, in_x] = z_resin[0] @ t[:, in_x] + z_resin[1][:, None] * room
        if width_mm is not None:
            t[:, ~in_x] = z_wood[0] @ t[:, ~in_x] + z_wood[1][:, None] * room
            t[:5] = t[:5] @ rows_panel[0].T + rows_panel[1] * room
            t[5:] = t[5:] @ rows_resin[0].T + rows_resin[1] * room
        hottest = t[5:, in_x].max()
        top, core = max(top, hottest), max(core, 0.5 * (t[at - 1, 0] + t[at, 0]))
        if alpha.min() > 0.6 and hottest < top - 2:
            break
        if hottest > 470:
            break
    return core - 273.15, top - 273.15


def cup_min(resin, mass_kg, room_c, film, level):
    """Minutes until a mass in a cup as wide as it is deep is too thick: a sphere's shells, the same loss of heat."""
    radius = (mass_kg / resin.density * 3 / 4 / np.pi) ** (1 / 3)
    n = 8
    edges = np.linspace(0, radius, n + 1)
    volume, area = 4 / 3 * np.pi * np.diff(edges**3), 4 * np.pi * edges**2
    # A cylinder as wide as deep has 1.145 times a sphere's surface (closed form).
    film = 1.145 * film
    dt = 3600 * isothermal_h(resin, level, room_c) / 400
    capacity = resin.density * resin.specific * volume
    step = edges[1] - edges[0]
    through = area[1:].copy()
    through[:-1] *= resin.conductivity / step
    through[-1] *= 1 / (1 / film + step / 2 / resin.conductivity)
    a = np.eye(n)
    a += np.diag(dt * through / capacity)
    a += np.diag(np.r_[0, dt * through[:-1] / capacity[1:]])
    a -= np.diag(dt * through[:-1] / capacity[:-1], 1) + np.diag(dt * through[:-1] / capacity[1:], -1)
    inverse = np.linalg.inv(a)
    source = np.zeros(n)
    source[-1] = dt * through[-1] / capacity[-1]
    t, alpha, seconds, room = np.full(n, room_c + 273.15), np.zeros(n), 0.0, room_c + 273.15
    share, before = volume / volume.sum(), 0.0
    while share @ alpha < level:
        before = share @ alpha
        alpha, t = resin.react(alpha, t, dt)
        t = inverse @ (t + 0 * source) + inverse @ source * room
        seconds += dt
    return (seconds - dt * (share @ alpha - level) / (share @ alpha - before)) / 60


@dataclass(frozen=True)
class Case:
    """A true resin, the two numbers that its datasheet prints, and the river that is poured by them."""

    resin: TrueResin
    working_min: float
    depth_mm: float
    room_c: float
    width_mm: float
    films: tuple[float, float, float]


def _films(rng):
    """Still air over the top, under a form on trestles, beside the slab, W/m²K; ordinary shops differ."""
    return float(rng.uniform(8, 12)), float(rng.uniform(6, 9)), float(rng.uniform(6, 9))


def _deepest(resin, room_c, films, under_c):
    """The deepest round number, mm, that stays under a temperature; None where not even the shallowest does."""
    held = bisect.bisect_left(
        ROUND_MM, True,
        key=lambda mm: pour_peak(resin, mm, room_c, films, cells=8, per_cure=80)[1] > under_c,
    )  # fmt: skip
    return ROUND_MM[held - 1] if held else None


def draw_case(rng):
    """A resin whose deepest pour is at least 1 mm, with the datasheet that its maker prints."""
    while True:
        resin = draw_resin(rng)
        lab_c, films, margin_k = (
            float(rng.choice([20.0, 22.0, 23.0, 25.0])),
            _films(rng),
            rng.uniform(2.0, 20.0),
        )
        deepest = _deepest(resin, lab_c, films, LIMIT_C - margin_k)
        if deepest is not None:
            break
    minutes = cup_min(resin, 0.1, 25.0, float(rng.uniform(7, 11)), float(rng.uniform(0.18, 0.32)))
    digit = 10.0 ** (np.floor(np.log10(minutes)) - 1) * 5
    return Case(
        resin, max(digit, round(minutes / digit) * digit), float(deepest),
        float(rng.uniform(19, 25)), float(max(60.0, deepest * rng.uniform(2.0, 8.0))), _films(rng),
    )  # fmt: skip
