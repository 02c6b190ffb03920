"""From a mesh and its faces to the operators of one interval of a march."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats
from logger.cure.solver.boundary import Boundary, HeatLoss, HeatLosses
from logger.cure.solver.conduction import LineCells, LineEnds, LineOperators
from logger.cure.solver.march import FaceCoupling, Interval, Observer
from logger.cure.solver.mesh import Section
from logger.cure.solver.stencils import flow_matrix, value_weights, wall_weights

#: Coefficient on the bare inner face of a slab while a later layer is not yet poured, W/(m²·K), where the plan
#: gives no side coefficient: still air and radiation at a few kelvin. Common practice, no source.
INNER_W_M2K = 8.0


@dataclass(frozen=True)
class ProbePosition:
    """Where the core probe of each member sits: x from the centre line and z above the resin's bottom, m (M,)."""

    x: Floats
    z: Floats


@dataclass(frozen=True)
class Factors:
    """What multiplies the coefficients of each member, (M,) each."""

    top: Floats
    bottom: Floats
    side: Floats


def interval_of(
    section: Section,
    layers: int,
    losses: HeatLosses,
    factors: Factors,
    probe: ProbePosition,
    absorbed_w_m2: Floats | float,
    apart: bool = False,
) -> Interval:
    """Return the interval in which the first `layers` layers are poured. apart: the lines along x of each layer are a
    block of their own, for liquid over resin that has gelled."""
    active = section.layer_tops[layers - 1]
    top, bottom, side = _outer_faces(section, active, losses, factors)
    top.absorbed = absorbed_w_m2
    z_lines, couplings = _upright_lines(section, active, top, bottom)
    x_lines: list[LineOperators] = []
    inner = None
    if section.shape != "sheet":
        still = np.zeros(len(factors.top))
        tops = section.layer_tops[: layers - 1] if apart else ()
        x_lines, more = _level_lines(section, (section.panel_rows, *tops, active), still, side)
        couplings += more
        if active < section.rows and section.columns > section.resin_columns:
            loss = HeatLoss(INNER_W_M2K if losses.side.given is None else losses.side.given, losses.side.law)
            inner, lines, more = _bare_slab(section, active, loss, factors.side, side)
            x_lines.append(lines)
            couplings += more
    faces = [s for s in (top, bottom, side, inner) if s is not None]
    return Interval(
        z_lines, x_lines, top, bottom, side, inner, couplings, observer_of(section, layers, probe, faces)
    )


def _outer_faces(
    section: Section, active: int, losses: HeatLosses, factors: Factors
) -> tuple[Boundary, Boundary, Boundary]:
    """Top, bottom and side of what is poured up to row `active`, and of the slab beside it."""
    wet, rows, columns = section.resin_columns, section.rows, section.columns
    across = np.arange(columns)
    top_rows = np.where(across < wet, active - 1, rows - 1)
    ground = np.zeros(columns, dtype=np.intp)
    area = section.column_area
    top = _boundary(section, _FaceCells(top_rows, across, "z", area, -1), losses.top, factors.top)
    bottom = _boundary(section, _FaceCells(ground, across, "z", area, 1), losses.bottom, factors.bottom)
    # With no slab there is nothing beside a layer that is not poured yet.
    tall = rows if columns > wet else active
    up = np.arange(tall if section.shape != "sheet" else 0)
    rim = section.dz[up] * float(section.face_length[-1])
    last = np.full(len(up), columns - 1)
    side = _boundary(section, _FaceCells(up, last, "x", rim, -1), losses.side, factors.side)
    return top, bottom, side


def _upright_lines(
    section: Section, active: int, top: Boundary, bottom: Boundary
) -> tuple[list[LineOperators], list[FaceCoupling]]:
    """Lines along z through resin and slab, and what ends them."""
    nb, wet = section.panel_rows, section.resin_columns
    z_lines: list[LineOperators] = []
    couplings: list[FaceCoupling] = []
    for first, last, height in ((0, wet, active), (wet, section.columns, section.rows)):
        if first == last:
            continue
        k, c = section.conductivity[:height, first], section.capacity_m3[:height, first]
        dz = section.dz[:height]
        cells = slice(first, last)
        # A layer poured later may start at another temperature: no polynomial runs across its bottom.
        poured = [row for row in section.layer_tops if row < height] if first == 0 else []
        breaks = [*([0] if nb else []), nb, *poured, height]
        flow = flow_matrix(
            section.z_edges[: height + 1], k, breaks, np.ones(height + 1), ring=False, mirrored=False
        )
        ends = LineEnds(
            bottom.conductance(bottom.built_h)[:, first],
            top.conductance(top.built_h)[:, first],
            bottom.weights[:, first],
            top.weights[:, first],
        )
        lines = LineOperators("z", slice(0, height), cells, LineCells(c * dz, _links(dz, k), flow), ends)
        z_lines.append(lines)
        couplings += [
            FaceCoupling("bottom", lines, cells, "low", 1.0),
            FaceCoupling("top", lines, cells, "high", 1.0),
        ]
    return z_lines, couplings


def _level_lines(
    section: Section, cuts: tuple[int, ...], still: Floats, side: Boundary
) -> tuple[list[LineOperators], list[FaceCoupling]]:
    """Lines along x through the panel and through the poured layers, one block between two `cuts` (rows); still: no
    flow through the centre line."""
    x_lines: list[LineOperators] = []
    couplings: list[FaceCoupling] = []
    columns, rim = slice(0, section.columns), float(section.face_length[-1])
    for low, high in itertools.pairwise((0, *cuts)):
        if low == high:
            continue
        ends = LineEnds(still, side.conductance(side.built_h)[:, low], np.zeros(2), side.weights[:, low])
        lines = _across(section, slice(low, high), columns, ends)
        x_lines.append(lines)
        couplings.append(FaceCoupling("side", lines, slice(low, high), "high", rim))
    return x_lines, couplings


def _bare_slab(
    section: Section, active: int, loss: HeatLoss, factor: Floats, side: Boundary
) -> tuple[Boundary, LineOperators, list[FaceCoupling]]:
    """Return the slab's bare inner face above the poured layers, the lines along x behind it, and what ends them."""
    wet, rows = section.resin_columns, section.rows
    bare = np.arange(active, rows)
    edge, rim = float(section.face_length[wet]), float(section.face_length[-1])
    first = np.full(len(bare), wet)
    inner = _boundary(section, _FaceCells(bare, first, "x", section.dz[bare] * edge, 1), loss, factor)
    ends = LineEnds(
        inner.conductance(inner.built_h)[:, 0],
        side.conductance(side.built_h)[:, active],
        inner.weights[:, 0],
        side.weights[:, active],
    )
    lines = _across(section, slice(active, rows), slice(wet, section.columns), ends)
    couplings = [
        FaceCoupling("side", lines, slice(active, rows), "high", rim),
        FaceCoupling("inner", lines, slice(0, len(bare)), "low", edge),
    ]
    return inner, lines, couplings


def absorbing(interval: Interval, absorbed_w_m2: Floats | float) -> Interval:
    """Return the same interval with another heat absorbed at the top: nothing else need be built again."""
    old, observer = interval.top, interval.observer
    top = replace(old, absorbed=absorbed_w_m2)
    ratio = 1.0 / (1.0 + old.h * old.resistance)
    more = (absorbed_w_m2 - old.absorbed) * ratio
    along = np.zeros(len(old.area))
    along[: len(observer.centre)] = observer.centre
    fixed = observer.fixed.copy()
    fixed[:, 3] -= (more * old.area).sum(axis=1)
    fixed[:, 1] += (more * old.resistance * along).sum(axis=1)
    return replace(interval, top=top, observer=replace(observer, fixed=fixed))


def _across(section: Section, rows: slice, columns: slice, ends: LineEnds) -> LineOperators:
    """Return the lines along x through rows of one kind, per metre of height; ends: per square metre of face."""
    k = section.conductivity[rows.start, columns]
    c = section.capacity_m3[rows.start, columns]
    lengths = section.face_length[columns.start : columns.stop + 1]
    links = _links(section.dx[columns], k) * lengths[1:-1]
    begin, wet = columns.start, section.resin_columns
    same = rows.start < section.panel_rows or begin >= wet or section.columns == wet
    breaks = [0, len(k)] if same else [0, wet, len(k)]
    flow = flow_matrix(
        section.x_edges[begin : columns.stop + 1],
        k,
        breaks,
        lengths,
        ring=section.shape == "round",
        mirrored=begin == 0,
    )
    whole = LineEnds(ends.low * lengths[0], ends.high * lengths[-1], ends.low_weights, ends.high_weights)
    return LineOperators("x", rows, columns, LineCells(c * section.column_area[columns], links, flow), whole)


def _links(width: Floats, k: Floats) -> Floats:
    """Conductance per area between neighbours: half a cell each way, in series."""
    half = 0.5 * width / k
    return 1.0 / (half[:-1] + half[1:])


@dataclass(frozen=True)
class _FaceCells:
    """Where a face lies: its cells' rows and columns, whether it is normal to z or x, their area, m², and which way (+1
    or −1) the inside lies."""

    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    along: str
    area: Floats
    inward: int


def _boundary(section: Section, cells: _FaceCells, loss: HeatLoss, factor: Floats) -> Boundary:
    """Return a face that sheds heat by `loss`, times each member's factor (M,)."""
    rows, columns, along, inward = cells.rows, cells.columns, cells.along, cells.inward
    # A computed coefficient starts from that of a face 5 K over the room; the march refreshes it at once.
    if loss.given is not None:
        start = float(loss.given)
    else:
        start = float(loss.law(np.array([28.0]), np.array([23.0]))[0])
    h = np.repeat(start * factor[:, None], len(rows), axis=1)
    weights = np.zeros((2, len(rows)))
    resistance = np.zeros(len(rows))
    k = section.conductivity[rows, columns]
    beyond = rows + inward if along == "z" else rows, columns + inward if along == "x" else columns
    for i, (row, column) in enumerate(zip(rows, columns, strict=True)):
        edges, at = (section.z_edges, int(row)) if along == "z" else (section.x_edges, int(column))
        inside = section.conductivity[:, column] if along == "z" else section.conductivity[row]
        second = at + inward
        alike = 0 <= second < len(inside) and inside[second] == k[i]
        reach = [at, at + 1, at + 2] if inward > 0 else [at + 1, at, at - 1]
        near = edges[reach] if alike else edges[reach[:2]]
        big_g, g = wall_weights(near, ring=along == "x" and section.shape == "round")
        resistance[i] = 1.0 / (k[i] * big_g)
        weights[: len(g), i] = g / big_g
    first = rows * section.columns + columns
    second_cell = np.where(weights[1] != 0.0, beyond[0] * section.columns + beyond[1], first)
    return Boundary(
        loss,
        rows,
        columns,
        cells.area,
        first,
        second_cell,
        weights,
        resistance,
        factor,
        h,
        h.copy(),
        cells.area / section.capacity[rows, columns],
    )


def observer_of(section: Section, layers: int, probe: ProbePosition, faces: list[Boundary]) -> Observer:
    """Where to read: the core probe stays in the first layer; the centre line is x = 0; faces: top, bottom, others."""
    active, wet, nb = section.layer_tops[layers - 1], section.resin_columns, section.panel_rows
    first = section.layer_tops[0]
    members = len(probe.x)
    across, ring = section.x_edges[: wet + 1], section.shape == "round"
    flat = section.shape == "sheet"
    centre = np.ones(1) if flat else value_weights(across, 0.0, ring=ring, mirrored=True)
    core = np.zeros((members, section.rows, section.columns))
    for at in set(zip(probe.x.tolist(), probe.z.tolist(), strict=True)):
        up = value_weights(section.z_edges[nb : first + 1], at[1])
        out = centre if flat else value_weights(across, at[0], ring=ring, mirrored=True)
        here = (probe.x == at[0]) & (probe.z == at[1])
        core[here, nb:first, :wet] = up[:, None] * out[None, :]
    volume = section.resin_volume[: active - nb]
    cure = np.empty((members, 2, volume.size))
    cure[:, 0] = (volume / volume.sum()).reshape(-1)
    cure[:, 1] = core[:, nb:active, :wet].reshape(members, -1)
    warm = np.zeros((members, 4, section.rows * section.columns))
    of_room, fixed = np.zeros((members, 4)), np.zeros((members, 4))
    warm[:, 0] = core.reshape(members, -1)
    along = np.zeros(section.columns)
    along[: len(centre)] = centre
    for number, face in enumerate(faces):
        ratio = 1.0 / (1.0 + face.h * face.resistance)
        flow = ratio * face.h * face.area
        jobs = [(3, flow, -flow.sum(axis=1), -(face.absorbed * ratio * face.area).sum(axis=1))]
        if number < 2:
            part = ratio * along
            gained = (face.absorbed * face.resistance * part).sum(axis=1)
            jobs.append((1 + number, part, (along - part).sum(axis=1), gained))
        for row, weight, room_part, heat in jobs:
            for cells, share in ((face.first, face.weights[0]), (face.second, face.weights[1])):
                # Two faces may share a cell, one face never has a cell twice in one list.
                warm[:, row, cells] += weight * share
            of_room[:, row] += room_part
            fixed[:, row] += heat
    return Observer(
        warm,
        of_room,
        fixed,
        cure,
        centre,
        slice(nb, active),
        slice(0, wet),
        active - nb,
        np.array([wet, -wet, 1, -1]),
        float((section.dz[nb:active] * section.capacity_m3[nb:active, 0]).sum()),
    )
