"""From a mesh and its faces to the operators of one stage of a march."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.cure.conduction import Lines
from logger.cure.faces import Shedding, Sheddings, Skin
from logger.cure.section import Section
from logger.cure.solve import Gauge, Stage, Tie

Floats = NDArray[np.float64]

#: Coefficient on the bare inner face of a slab while a later layer is not yet poured, W/(m²·K), where the plan
#: gives no side coefficient: still air and radiation at a few kelvin. Common practice, no source.
INNER_W_M2K = 8.0


@dataclass(frozen=True)
class Probe:
    """Where the core probe of each member sits: x from the centre line and z above the resin's bottom, m (M,)."""

    x: Floats
    z: Floats


@dataclass(frozen=True)
class Factors:
    """What multiplies the coefficients of each member, (M,) each."""

    top: Floats
    bottom: Floats
    side: Floats


def stage_of(
    section: Section, layers: int, sheds: Sheddings, factors: Factors, probe: Probe, absorbed_w_m2: float
) -> Stage:
    """The stage in which the first `layers` layers are poured."""
    active = section.layer_tops[layers - 1]
    wet = section.resin_columns
    nb, rows, columns = section.panel_rows, section.rows, section.columns
    across = np.arange(columns)
    top_rows = np.where(across < wet, active - 1, rows - 1)
    top = _skin(section, sheds.top, factors.top, top_rows, across, along="z", area=section.column_area)
    top.absorbed = absorbed_w_m2
    bottom = _skin(section, sheds.bottom, factors.bottom, np.zeros(columns, dtype=np.intp), across,
                   along="z", area=section.column_area)  # fmt: skip
    # With no slab there is nothing beside a layer that is not poured yet.
    tall = rows if columns > wet else active
    up = np.arange(tall if section.shape != "sheet" else 0)
    rim = float(section.face_length[-1])
    side = _skin(section, sheds.side, factors.side, up, np.full(len(up), columns - 1), along="x",
                 area=section.dz[up] * rim)  # fmt: skip
    z_lines: list[Lines] = []
    x_lines: list[Lines] = []
    ties: list[Tie] = []
    for first, last, height in ((0, wet, active), (wet, columns, rows)):
        if first == last:
            continue
        k, c = section.conductivity[:height, first], section.capacity_m3[:height, first]
        dz = section.dz[:height]
        cells = slice(first, last)
        lines = Lines("z", slice(0, height), cells, c * dz, _links(dz, k),
                      bottom.tie(bottom.built_h)[:, first], top.tie(top.built_h)[:, first])  # fmt: skip
        z_lines.append(lines)
        ties += [Tie("bottom", lines, cells, "low", 1.0), Tie("top", lines, cells, "high", 1.0)]
    inner = None
    if section.shape != "sheet":
        still = np.zeros(len(factors.top))
        for low, high in ((0, nb), (nb, active)):
            if low == high:
                continue
            lines = _across(
                section, slice(low, high), slice(0, columns), still, side.tie(side.built_h)[:, low]
            )
            x_lines.append(lines)
            ties.append(Tie("side", lines, slice(low, high), "high", rim))
        if active < rows and columns > wet:
            bare = np.arange(active, rows)
            edge = float(section.face_length[wet])
            shed = Shedding(INNER_W_M2K if sheds.side.given is None else sheds.side.given, sheds.side.law)
            inner = _skin(section, shed, factors.side, bare, np.full(len(bare), wet), along="x",
                          area=section.dz[bare] * edge)  # fmt: skip
            lines = _across(section, slice(active, rows), slice(wet, columns),
                            inner.tie(inner.built_h)[:, 0], side.tie(side.built_h)[:, active])  # fmt: skip
            x_lines.append(lines)
            ties += [Tie("side", lines, slice(active, rows), "high", rim),
                     Tie("inner", lines, slice(0, len(bare)), "low", edge)]  # fmt: skip
    return Stage(z_lines, x_lines, top, bottom, side, inner, ties, gauge_of(section, layers, probe))


def _across(section: Section, rows: slice, columns: slice, low: Floats, high: Floats) -> Lines:
    """Lines along x through rows of one kind, per metre of height; low and high in W/(m²·K)."""
    k = section.conductivity[rows.start, columns]
    c = section.capacity_m3[rows.start, columns]
    lengths = section.face_length[columns.start : columns.stop + 1]
    links = _links(section.dx[columns], k) * lengths[1:-1]
    return Lines("x", rows, columns, c * section.column_area[columns], links,
                 low * lengths[0], high * lengths[-1])  # fmt: skip


def _links(width: Floats, k: Floats) -> Floats:
    """Conductance per area between neighbours: half a cell each way, in series."""
    half = 0.5 * width / k
    return 1.0 / (half[:-1] + half[1:])


def _skin(
    section: Section, shed: Shedding, factor: Floats, rows: NDArray[np.intp], columns: NDArray[np.intp],
    *, along: str, area: Floats,
) -> Skin:  # fmt: skip
    thickness = section.dz[rows] if along == "z" else section.dx[columns]
    half = 0.5 * thickness / section.conductivity[rows, columns]
    # A computed coefficient starts from that of a face 5 K over the room; the march refreshes it at once.
    if shed.given is not None:
        start = float(shed.given)
    else:
        start = float(shed.law(np.array([28.0]), np.array([23.0]))[0])
    h = np.repeat(start * factor[:, None], len(rows), axis=1)
    per_capacity = 1.0 / (thickness * section.capacity_m3[rows, columns])
    if along == "x":
        # The outer face of a ring is longer than the ring's mean.
        per_capacity = area / section.capacity[rows, columns]
    return Skin(shed, rows, columns, area, half, factor, h, h.copy(), per_capacity)


def gauge_of(section: Section, layers: int, probe: Probe) -> Gauge:
    """Where to read: the core probe stays in the first layer; the centre line is x = 0."""
    active, wet, nb = section.layer_tops[layers - 1], section.resin_columns, section.panel_rows
    first = section.layer_tops[0]
    members = len(probe.x)
    core_rows = np.zeros((members, section.rows))
    core_columns = np.zeros((members, section.columns))
    for i in range(members):
        core_rows[i, nb:first] = _through(section.z[nb:first], float(probe.z[i]))
        core_columns[i, :wet] = _through_mirrored(section.x[:wet], float(probe.x[i]))
    volume = section.resin_volume[: active - nb]
    if section.shape == "sheet":
        core_columns[:] = 1.0
        centre = np.ones(1)
    else:
        centre = _through_mirrored(section.x[:wet], 0.0)
    return Gauge(core_rows, core_columns, centre, slice(nb, active), slice(0, wet), volume / volume.sum())


def _through(points: Floats, at: float) -> Floats:
    """Weights of the cubic through the four points nearest to `at` (Lagrange)."""
    count = min(4, len(points))
    first = int(np.clip(np.searchsorted(points, at) - count // 2, 0, len(points) - count))
    near = points[first : first + count]
    weights = np.zeros(len(points))
    for i in range(count):
        others = np.delete(near, i)
        weights[first + i] = np.prod((at - others) / (near[i] - others))
    return weights


def _through_mirrored(points: Floats, at: float) -> Floats:
    """The same on points x > 0 of a field that is even in x."""
    both = np.concatenate([-points[::-1], points])
    weights = _through(both, abs(at))
    return weights[len(points) :] + weights[: len(points)][::-1]
