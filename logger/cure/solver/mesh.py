"""The cross-section of a pour cut into cells: where resin, panel and slab lie, and what they weigh in heat.

Rows run up (z), columns run out from the centre line (x, or the radius of a round). z = 0 is the bottom of the
resin. A river is its half section at x ≥ 0 (symmetry), 1 m long; a round is the whole disc; a sheet is 1 m².
The slab is as high as all layers together from the start; until a layer is poured, its rows between the
slabs are air, and the slab's bare inner face meets the room.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from logger.arrays import Floats
from logger.cure.model.materials import Material, panel_material, resin_material
from logger.cure.solver.assumptions import widest
from logger.plan.file import Plan

#: Most rows of resin of a mesh that is not refined: many thin layers share them. One layer has 40 at most.
_MOST_ROWS = 160
#: Length of a plate whose length the plan does not give, relative to its width: long.
_LONG = 3.0
#: Size of a sheet without width or length, m.
_SHEET_M = 1.0


@dataclass(frozen=True)
class Section:
    """A mesh. Edges in m (rows + 1, columns + 1); row 0 is the lowest.

    panel_rows: rows of the bottom panel; layer_tops: row count up to the top of each layer, all of them below
    included; resin_columns: columns of resin. Arrays `conductivity` and `capacity_m3` have shape (rows, columns).
    """

    shape: str
    z_edges: Floats
    x_edges: Floats
    panel_rows: int
    layer_tops: tuple[int, ...]
    resin_columns: int
    resin: Material
    panel: Material
    slab: Material
    #: Area over perimeter of the whole plate seen from above, and the way of air over it, m.
    plate_size_m: float
    plate_run_m: float

    @property
    def rows(self) -> int:
        """Number of rows."""
        return len(self.z_edges) - 1

    @property
    def columns(self) -> int:
        """Number of columns."""
        return len(self.x_edges) - 1

    @property
    def work(self) -> float:
        """Multiplications of one application of the operators along z and x: what a step costs goes with it."""
        return float(self.rows * self.columns * (self.rows + self.columns))

    @cached_property
    def dz(self) -> Floats:
        """Heights of the rows, m."""
        return np.diff(self.z_edges)

    @cached_property
    def dx(self) -> Floats:
        """Widths of the columns, m."""
        return np.diff(self.x_edges)

    @cached_property
    def z(self) -> Floats:
        """Centres of the rows, m above the bottom of the resin."""
        return 0.5 * (self.z_edges[1:] + self.z_edges[:-1])

    @cached_property
    def x(self) -> Floats:
        """Centres of the columns, m from the centre line."""
        return 0.5 * (self.x_edges[1:] + self.x_edges[:-1])

    @cached_property
    def column_area(self) -> Floats:
        """Area of each column seen from above, m² (per m of a half river; whole ring; 1 m² of a sheet)."""
        if self.shape == "round":
            return np.asarray(math.pi * np.diff(self.x_edges**2))
        if self.shape == "sheet":
            return np.ones(1)
        return self.dx

    @cached_property
    def face_length(self) -> Floats:
        """Length of each upright face between columns seen from above, m (columns + 1)."""
        if self.shape == "round":
            return np.asarray(2.0 * math.pi * self.x_edges)
        if self.shape == "sheet":
            return np.zeros(2)
        return np.ones(self.columns + 1)

    def _by_material(self, resin: float, panel: float, slab: float) -> Floats:
        values = np.full((self.rows, self.columns), slab)
        values[:, : self.resin_columns] = resin
        values[: self.panel_rows] = panel
        return values

    @cached_property
    def conductivity(self) -> Floats:
        """W/(m·K), shape (rows, columns)."""
        return self._by_material(self.resin.conductivity, self.panel.conductivity, self.slab.conductivity)

    @cached_property
    def capacity_m3(self) -> Floats:
        """ρ cp, J/(m³·K), shape (rows, columns)."""
        return self._by_material(self.resin.heat_capacity, self.panel.heat_capacity, self.slab.heat_capacity)

    @cached_property
    def capacity(self) -> Floats:
        """Heat capacity of each cell, J/K, shape (rows, columns)."""
        return self.capacity_m3 * self.dz[:, None] * self.column_area[None, :]

    @cached_property
    def resin_volume(self) -> Floats:
        """Volume of each resin cell of all layers, m³, shape (resin rows, resin columns)."""
        return self.dz[self.panel_rows :, None] * self.column_area[None, : self.resin_columns]


def graded(length: float, cells: int, *, fine_start: float = 1.0, fine_end: float = 1.0) -> Floats:
    """Cell widths over a length, shape (cells,): `fine_start` < 1 shrinks the first cells to that part of the
    middle ones, `fine_end` the last ones; smooth in between, so that the scheme keeps its order."""
    s = (np.arange(cells) + 0.5) / cells
    width = np.ones(cells)
    if fine_start < 1.0:
        width *= 1.0 - (1.0 - fine_start) * (1.0 - s) ** 4
    if fine_end < 1.0:
        width *= 1.0 - (1.0 - fine_end) * s**4
    return np.asarray(width * (length / width.sum()))


def section_of(plan: Plan, fineness: float = 1.0) -> Section:
    """Return the mesh of a plan. `fineness` multiplies the number of cells in each direction."""
    bottom, side = plan.form.bottom, plan.form.side
    depths = [plan.pour.depth_mm / 1000.0] + [layer.depth_mm / 1000.0 for layer in plan.layer]
    pieces = []
    panel_rows = 0
    if bottom.thickness_mm > 0:
        panel_rows = _count(3.0 + bottom.thickness_mm / 10.0, fineness, 2, 12)
        pieces.append(graded(bottom.thickness_mm / 1000.0, panel_rows, fine_end=0.6))
    layer_tops: list[int] = []
    counts = [min(max(10.0 + 100.0 * depth, 6.0), 40.0) for depth in depths]
    share = min(1.0, _MOST_ROWS / sum(counts))
    for depth, cells in zip(depths, counts, strict=True):
        rows = _count(cells * share, fineness, 4, 40)
        pieces.append(graded(depth, rows, fine_start=0.5, fine_end=0.4))
        layer_tops.append(rows + (layer_tops[-1] if layer_tops else panel_rows))
    z_edges = np.concatenate([[0.0], np.cumsum(np.concatenate(pieces))])
    z_edges -= z_edges[panel_rows]
    if plan.pour.shape == "sheet":
        x_edges, resin_columns = np.array([0.0, 1.0]), 1
    else:
        x_edges, resin_columns = _columns(plan, depths, fineness)
    size, run = _plate(plan)
    return Section(
        shape=plan.pour.shape,
        z_edges=z_edges,
        x_edges=x_edges,
        panel_rows=panel_rows,
        layer_tops=tuple(layer_tops),
        resin_columns=resin_columns,
        resin=resin_material(plan.resin),
        panel=panel_material(bottom),
        slab=panel_material(side),
        plate_size_m=size,
        plate_run_m=run,
    )


def _count(cells: float, fineness: float, least: int, most: int) -> int:
    return max(2, round(min(max(cells, least), most) * fineness))


def _columns(plan: Plan, depths: list[float], fineness: float) -> tuple[Floats, int]:
    half = _width_mm(plan) / 2000.0
    thickness = plan.form.side.thickness_mm / 1000.0
    # Sideways the field changes only within about a depth of the slab: fine there, coarse at the middle.
    reach = half / sum(depths)
    count = _count(9.0 + 2.2 * reach, fineness, 6, 26)
    pieces = [graded(half, count, fine_end=min(1.0, max(0.1, 0.8 / max(reach, 1e-9))))]
    if thickness > 0:
        walls = _count(3.0 + 25.0 * thickness, fineness, 3, 10)
        pieces.append(graded(thickness, walls, fine_start=max(0.08, min(1.0, 0.012 / thickness))))
    return np.concatenate([[0.0], np.cumsum(np.concatenate(pieces))]), count


def _width_mm(plan: Plan) -> float:
    """Return the width of the widest section."""
    section = widest(plan)
    assert section is not None  # the plan's own check: what is no sheet has a width
    return section.width_mm


def _plate(plan: Plan) -> tuple[float, float]:
    if plan.pour.shape == "sheet":
        across = _SHEET_M if plan.pour.width_mm is None else plan.pour.width_mm / 1000.0
    else:
        across = (_width_mm(plan) + 2.0 * plan.form.side.thickness_mm) / 1000.0
    if plan.pour.shape == "round":
        return across / 4.0, across
    length = plan.pour.length_mm
    along = across * _LONG if length is None else length / 1000.0
    if plan.pour.shape == "sheet" and length is None:
        along = across
    return across * along / (2.0 * (across + along)), min(across, along)
