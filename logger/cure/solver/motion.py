"""Liquid resin in motion, as the solver sees it: how much better each link conducts, and conversion stirred alike.

The layer on top that has not gelled moves (logger.cure.model.convection). Its state at the start of a step sets its
stirring for that step; links are decomposed again once they have changed by more than the correlations are worth.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats, Indices
from logger.cure.model.convection import Layer, Stirring, buoyant_part, stirring
from logger.cure.model.materials import Material
from logger.cure.model.viscosity import viscosity_pa_s
from logger.cure.solver.boundary import Boundary
from logger.cure.solver.conduction import LineOperators
from logger.cure.solver.mesh import Section
from logger.plan.file import Flow

#: Stirring is built again once a sheet has changed by this part of itself, or the core's conductivity by twice it.
_CHANGED = 0.05
#: A core that conducts hardly better than resin at rest is at rest.
_AT_REST = 1.02
#: A step is at most this part of the time that is left until the gel at the rate of now: the liquid thickens with it.
_PART_OF_LEFT = 0.12
#: Longest and shortest of these steps, s: they stand on the ladder of steps, factors of √2.
_LONGEST_S, _SHORTEST_S = 2048.0, 32.0


@dataclass(frozen=True)
class Place:
    """Where liquid may be: rows of resin that are poured, and columns; heights and areas as in the mesh.

    z_edges (rows + 1,) and x_edges (columns + 1,) m; area (columns,) m²; below: rows of panel under them;
    layer: the first row of the layer poured last, among these rows.
    """

    z_edges: Floats
    x_edges: Floats
    area: Floats
    below: int
    layer: int
    resin: Material
    panel: Material

    @property
    def rows(self) -> int:
        """Number of rows of resin."""
        return len(self.z_edges) - 1


@dataclass
class _Stirred:
    """What the links hold of each member: sheets m, core, and the row at which the liquid begins (m,)."""

    top_m: Floats
    bottom_m: Floats
    core: Floats
    first: Indices

    def take(self, members: NDArray[np.intp]) -> _Stirred:
        return _Stirred(*(getattr(self, each.name)[members] for each in fields(self)))


@dataclass
class Motion:
    """The liquid of M members: which links it stirs, and how now. factor (M,): see Members.flow_factor."""

    place: Place
    flow: Flow
    factor: Floats
    upright: LineOperators
    level: LineOperators | None
    held: _Stirred
    #: Part of each row of resin that the motion mixes (M, rows), and how fast, 1/s (M,).
    mixed: Floats
    pace_per_s: Floats

    def take(self, members: NDArray[np.intp], blocks: dict[int, LineOperators]) -> Motion:
        """Return the motion of the members that `members` picks; blocks: what replaces each block of lines, by id."""
        return Motion(
            self.place,
            self.flow,
            self.factor[members],
            blocks[id(self.upright)],
            None if self.level is None else blocks[id(self.level)],
            self.held.take(members),
            self.mixed[members],
            self.pace_per_s[members],
        )

    def stir(
        self, t_k: Floats, alpha: Floats, room_k: Floats, top: Boundary, bottom: Boundary
    ) -> NDArray[np.intp]:
        """Set the links for the state (M, rows, columns) and return the members whose links have changed."""
        place, wet = self.place, len(self.place.area)
        cure = alpha[:, : place.rows]
        warm = t_k[:, place.below : place.below + place.rows, :wet]
        part = place.area / place.area.sum()
        cure_of_row, warm_of_row = cure @ part, warm @ part
        liquid = np.cumprod((cure_of_row < self.flow.gel_conversion)[:, ::-1], axis=1)[:, ::-1]
        first = place.rows - liquid.sum(axis=1).astype(np.intp)
        height = np.diff(place.z_edges) * liquid
        depth = height.sum(axis=1)
        share = height / np.maximum(depth, 1e-9)[:, None]
        core_k, core_cure = (share * warm_of_row).sum(axis=1), (share * cure_of_row).sum(axis=1)
        up, surface_k = self._through_top(t_k, room_k, top)
        down = self._through_bottom(t_k, warm_of_row, first, room_k, bottom)
        layer = Layer(
            depth,
            up,
            down,
            viscosity_pa_s(0.5 * (core_k + surface_k), core_cure, self.flow),
            self.flow.expansion_per_k
            * buoyant_part(core_k - surface_k, core_cure - cure_of_row[:, -1], self.flow),
        )
        now = stirring(layer, place.resin, self.factor)
        core = np.where((now.core > _AT_REST) & (up > 0.0), now.core, 1.0)
        self._set_mixing(now, core, first, depth)
        return self._set_links(_Stirred(now.top_m, now.bottom_m, core, first))

    def _through_top(self, t_k: Floats, room_k: Floats, top: Boundary) -> tuple[Floats, Floats]:
        """Return the heat that leaves the resin through its top, W/m², and its surface, K, on average (M,)."""
        wet = len(self.place.area)
        part = self.place.area / self.place.area.sum()
        face = top.face_k(t_k, room_k)[:, :wet]
        # What the face gives to the air less what it absorbs is what comes from below.
        out = (top.cells(t_k)[:, :wet] - face) / top.resistance[:wet]
        return out @ part, face @ part

    def _through_bottom(
        self, t_k: Floats, warm_of_row: Floats, first: Indices, room_k: Floats, bottom: Boundary
    ) -> Floats:
        """Return the heat that leaves the liquid downwards, W/m² (M,)."""
        place, wet, who = self.place, len(self.place.area), np.arange(len(t_k))
        part = place.area / place.area.sum()
        half = 0.5 * np.diff(place.z_edges) / place.resin.conductivity
        at = np.minimum(first, place.rows - 1)
        under = np.maximum(at - 1, 0)
        through = (warm_of_row[who, at] - warm_of_row[who, under]) / (half[at] + half[under])
        if place.below:
            beneath = t_k[:, place.below - 1, :wet] @ part
            # Half of the panel's uppermost cell.
            panel = self._panel_m2k_w
            ground = (warm_of_row[:, 0] - beneath) / (half[0] + panel)
        else:
            face = bottom.face_k(t_k, room_k)[:, :wet]
            ground = ((bottom.cells(t_k)[:, :wet] - face) / bottom.resistance[:wet]) @ part
        return np.asarray(np.where(first > 0, through, ground))

    @property
    def _panel_m2k_w(self) -> float:
        """Resistance of half the panel's uppermost cell, m²·K/W."""
        capacity = self.upright.capacity[self.place.below - 1] / self.place.panel.heat_capacity
        return float(0.5 * capacity / self.place.panel.conductivity)

    def _set_mixing(self, now: Stirring, core: Floats, first: Indices, depth: Floats) -> None:
        """Set which part of each row is mixed, and how fast: once while the resin passes the depth at w = core κ/L.

        Conversion is carried, never conducted: it is mixed no sooner than the resin has turned over.
        """
        edges = self.place.z_edges
        foot = edges[first] + np.minimum(now.bottom_m, depth)
        low, high = edges[:-1], edges[1:]
        over = np.clip((high - np.maximum(low, foot[:, None])) / (high - low), 0.0, 1.0)
        self.mixed = np.where(core[:, None] > 1.0, over, 0.0)
        self.pace_per_s = (core - 1.0) * self.place.resin.diffusivity / np.maximum(depth, 1e-4) ** 2

    def _set_links(self, now: _Stirred) -> NDArray[np.intp]:
        """Give the links of members that have changed enough what they hold now; return those members."""
        held = self.held
        moving = (now.core > 1.0) | (held.core > 1.0)
        off = np.abs(np.log(now.top_m / held.top_m)) > _CHANGED
        off |= np.abs(now.bottom_m - held.bottom_m) > _CHANGED * (now.top_m + now.bottom_m)
        off |= np.abs(np.log(now.core / held.core)) > 2.0 * _CHANGED
        off |= (now.core > 1.0) != (held.core > 1.0)
        off |= now.first != held.first
        who = np.flatnonzero(moving & off)
        if len(who):
            for name in ("top_m", "bottom_m", "core", "first"):
                getattr(held, name)[who] = getattr(now, name)[who]
            self.upright.stir(who, self._upright_links(who))
            if self.level is not None:
                self.level.stir(who, self._level_links(who))
        return who

    def _upright_links(self, who: NDArray[np.intp]) -> Floats:
        """Return what motion adds to the links along z, W/(m²·K), of the members `who`."""
        place, held = self.place, self.held
        k = place.resin.conductivity
        centre = 0.5 * (place.z_edges[1:] + place.z_edges[:-1])
        low, high = centre[:-1], centre[1:]
        foot = place.z_edges[held.first[who]] + held.bottom_m[who]
        head = place.z_edges[-1] - held.top_m[who]
        core = np.minimum(high, head[:, None]) - np.maximum(low, foot[:, None])
        more = _link_more(high - low, np.maximum(core, 0.0), held.core[who], k)
        more[np.arange(1, place.rows) <= held.first[who][:, None]] = 0.0
        links = np.zeros((len(who), len(self.upright.links)))
        links[:, place.below : place.below + place.rows - 1] = more
        return links

    def _level_links(self, who: NDArray[np.intp]) -> Floats:
        """Return what motion adds to the links along x, W/K of a line of unit height, of the members `who`."""
        assert self.level is not None
        place, held = self.place, self.held
        centre = 0.5 * (place.x_edges[1:] + place.x_edges[:-1])
        near, far = centre[:-1], centre[1:]
        # Beside the wood lies a sheet as under the top; the sheet over the bottom hardly moves sideways.
        edge = place.x_edges[-1] - held.top_m[who]
        core = np.maximum(np.minimum(far, edge[:, None]) - near, 0.0)
        tall = place.z_edges[-1] - place.z_edges[place.layer]
        liquid = np.clip(
            (place.z_edges[-1] - place.z_edges[held.first[who]] - held.bottom_m[who]) / tall, 0.0, 1.0
        )
        better = 1.0 + (held.core[who] - 1.0) * liquid
        links = np.zeros((len(who), len(self.level.links)))
        ring = self.level.links[: len(near)] * (far - near) / place.resin.conductivity
        links[:, : len(near)] = ring * _link_more(far - near, core, better, place.resin.conductivity)
        return links

    def longest_s(self, alpha: Floats, rate_per_s: Floats) -> Floats:
        """Return the longest step that the thickening allows, s (M,); inf where nothing moves. rate_per_s: of cure, of
        each cell."""
        place = self.place
        part = place.area / place.area.sum()
        weight = self.mixed / np.maximum(self.mixed.sum(axis=1), 1e-12)[:, None]
        cure = (weight * (alpha[:, : place.rows] @ part)).sum(axis=1)
        rate = (weight * (rate_per_s @ part)).sum(axis=1)
        left = np.maximum(self.flow.gel_conversion - cure, 0.0) / np.maximum(rate, 1e-12)
        step = np.clip(_PART_OF_LEFT * left, _SHORTEST_S, _LONGEST_S)
        return np.where(self.held.core > 1.0, np.exp2(np.floor(2.0 * np.log2(step)) / 2.0), np.inf)

    def mix(self, alpha: Floats, span_s: Floats) -> None:
        """Bring the conversion of the mixed rows together for a span, s (M,), in place; none is made or lost."""
        if not self.mixed.any():
            return
        place = self.place
        cure = alpha[:, : place.rows]
        weight = (self.mixed * np.diff(place.z_edges))[:, :, None] * place.area
        total = weight.sum(axis=(1, 2))
        mean = (weight * cure).sum(axis=(1, 2)) / np.maximum(total, 1e-30)
        gone = -np.expm1(-self.pace_per_s * span_s)
        cure += (gone[:, None] * self.mixed)[:, :, None] * (mean[:, None, None] - cure)


def _link_more(length_m: Floats, core_m: Floats, core: Floats, k: float) -> Floats:
    """Return what a link (n,) gains, W/(m²·K), when core_m (m, n) of its length conducts `core` (m,) times as well."""
    resistance = (length_m - core_m + core_m / core[:, None]) / k
    return np.asarray(1.0 / resistance - k / length_m)


def motion_of(
    section: Section,
    layers: int,
    flow: Flow,
    factor: Floats,
    z_lines: list[LineOperators],
    x_lines: list[LineOperators],
) -> Motion:
    """Return the motion of what is poured, at rest; z_lines, x_lines: of the interval, the layers' lines apart."""
    nb, active = section.panel_rows, section.layer_tops[layers - 1]
    first = section.layer_tops[layers - 2] if layers > 1 else nb
    place = Place(
        section.z_edges[nb : active + 1],
        section.x_edges[: section.resin_columns + 1],
        section.column_area[: section.resin_columns],
        nb,
        first - nb,
        section.resin,
        section.panel,
    )
    members = len(factor)
    upright = next(lines for lines in z_lines if lines.columns.start == 0)
    level = next((lines for lines in x_lines if lines.rows.start == first and lines.columns.start == 0), None)
    full = np.full(members, place.z_edges[-1] - place.z_edges[0])
    held = _Stirred(full, np.zeros(members), np.ones(members), np.zeros(members, dtype=np.intp))
    return Motion(
        place, flow, factor, upright, level, held, np.zeros((members, place.rows)), np.zeros(members)
    )
