"""The outer faces of a section: how strongly each cell there is tied to the air, given or computed.

A face cell's centre reaches the air through half its own thickness and the face's coefficient:
U = 1 / (1/h + d/2k). Where the plan gives no coefficient, h follows the face's own temperature.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats
from logger.cure.model import heat_transfer
from logger.cure.solver.assumptions import underside_is_closed
from logger.cure.solver.mesh import Section
from logger.plan.file import Plan
from logger.units import ZERO_CELSIUS_K

#: Coefficient of a face from its temperature and the room's, both °C.
Law = Callable[[Floats, Floats], Floats]


@dataclass(frozen=True)
class HeatLoss:
    """How one face losses heat: a given coefficient in W/(m²·K), or a law of the temperatures (given is None)."""

    given: float | None
    law: Law


@dataclass(frozen=True)
class HeatLosses:
    """The three faces of a plan."""

    top: HeatLoss
    bottom: HeatLoss
    side: HeatLoss


def heat_losses_of(plan: Plan, section: Section, *, top_air_m_s: float | None = None) -> HeatLosses:
    """Return the faces as the plan has them; top_air_m_s replaces the plan's fan."""
    air = plan.air
    speed = air.top_air_m_s if top_air_m_s is None else top_air_m_s
    height = float(section.z_edges[-1] - section.z_edges[0])
    size, run, shine = section.plate_size_m, section.plate_run_m, air.emissivity
    closed = underside_is_closed(plan)
    return HeatLosses(
        HeatLoss(
            air.top_w_m2k,
            lambda s, r: heat_transfer.top_w_m2k(
                s, r, size_m=size, run_m=run, air_m_s=speed, emissivity=shine
            ),
        ),
        HeatLoss(
            air.bottom_w_m2k,
            lambda s, r: heat_transfer.underside_w_m2k(s, r, size_m=size, emissivity=shine, closed=closed),
        ),
        HeatLoss(
            air.side_w_m2k, lambda s, r: heat_transfer.side_w_m2k(s, r, height_m=height, emissivity=shine)
        ),
    )


@dataclass
class Boundary:
    """One face during a march: its cells, their area, and the coefficient now, shape (M, cells)."""

    heat_loss: HeatLoss
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    area: Floats
    #: Flat numbers of the face's cells and of those behind them, and the weights (2, cells) of both means in the
    #: temperature that meets the face through `resistance` (m²·K/W): a parabola, see stencils.wall_weights.
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    weights: Floats
    resistance: Floats
    factor: Floats
    h: Floats
    #: Coefficient that the propagators hold.
    built_h: Floats
    #: Area of each cell's face over the cell's heat capacity, m²·K/J: turns W/m² into K/s.
    per_capacity: Floats
    #: Heat absorbed at the face, W/m²: a number, or of each member (M, 1).
    absorbed: Floats | float = 0.0
    _before: tuple[Floats, Floats, Floats] | None = None
    _pending: tuple[Floats, Floats, Floats] | None = None
    #: The coefficient that the trend gave for the end of the step; the one last seen, and what met the face then.
    _ahead: Floats | None = None
    _seen: tuple[Floats, Floats] | None = None
    _fresh: bool = False

    @property
    def computed(self) -> bool:
        """Whether the coefficient follows the temperatures."""
        return self.heat_loss.given is None

    @property
    def heated(self) -> bool:
        """Whether any member's face absorbs heat."""
        return bool(np.any(self.absorbed))

    def take(self, members: NDArray[np.intp]) -> Boundary:
        """Return the same face for the members that `members` picks."""
        before = self._before
        return replace(
            self,
            absorbed=self.absorbed[members] if isinstance(self.absorbed, np.ndarray) else self.absorbed,
            factor=self.factor[members],
            h=self.h[members],
            built_h=self.built_h[members],
            _before=None if before is None else (before[0][members], before[1][members], before[2][members]),
            _pending=None,
        )

    def conductance(self, h: Floats) -> Floats:
        """U of each cell as the propagators hold it, W/(m²·K), from a coefficient of shape (M, cells)."""
        return np.asarray(h / (1.0 + h * self.resistance))

    def cells(self, t_k: Floats) -> Floats:
        """Return what meets the face through `resistance`, from a field (M, rows, columns), shape (M, cells)."""
        flat = t_k.reshape(len(t_k), -1)
        near, far = self.weights
        return np.asarray(near * flat.take(self.first, axis=1) + far * flat.take(self.second, axis=1))

    def face_k(self, t_k: Floats, room_k: Floats) -> Floats:
        """Temperature of the face itself, K, shape (M, cells)."""
        ratio = 1.0 / (1.0 + self.h * self.resistance)
        room = room_k[:, None]
        gained = self.absorbed * self.resistance * ratio
        return np.asarray(room + ratio * (self.cells(t_k) - room) + gained)

    def heat_out(self, t_k: Floats, room_k: Floats) -> Floats:
        """Heat (W) that leaves through this face, absorbed heat taken off, shape (M,)."""
        cell, room = self.cells(t_k), room_k[:, None]
        h = self._coefficient(cell, room) if self.computed else self.h
        self._seen = h, cell
        ratio = 1.0 / (1.0 + h * self.resistance)
        flux = ratio * (h * (cell - room) - self.absorbed)
        return np.asarray(flux @ self.area)

    def _coefficient(self, cell: Floats, room: Floats) -> Floats:
        """Return what the law asks for, (M, cells), from what meets the face, (M, cells), and the room, (M, 1)."""
        # The face's temperature hangs on the coefficient that hangs on it, but weakly: the last one will do.
        face = room + (cell - room + self.absorbed * self.resistance) / (1.0 + self.h * self.resistance)
        return np.asarray(
            self.factor[:, None] * self.heat_loss.law(face - ZERO_CELSIUS_K, room - ZERO_CELSIUS_K)
        )

    def restart(self) -> None:
        """Forget the trend: the state may be another one."""
        self._before = self._pending = None
        self._fresh = False

    def refresh(self, t_k: Floats, room_k: Floats) -> None:
        """Set h for the state at the start of a step, unless it was seen at the end of the last one."""
        if not self._fresh:
            self.h = self._coefficient(self.cells(t_k), room_k[:, None])
            self._fresh = True

    def influx(self, t_k: Floats, mean_k: Floats, now_s: Floats, dt_s: Floats) -> tuple[Floats, Floats]:
        """Heat (W/m²) into each face cell beyond what the operators hold, (M, cells): at the step's start, and its
        growth per second.

        mean_k: the room's mean over the step, K (M,); `refresh` comes first. The operators hold −U (T − T_room) with
        the U that was built. A computed coefficient goes on by its trend, so that the flux stays second order.
        """
        if not self.computed:
            flux = self.absorbed / (1.0 + self.h * self.resistance)
            return flux, np.zeros_like(flux)
        cell = self.cells(t_k)
        room = mean_k[:, None]
        h = self.h
        self._pending = (now_s.copy(), h, cell)
        self._ahead = h
        flux = self._beyond(h, cell, room)
        if self._before is None:
            return flux, np.zeros_like(flux)
        was, h_was, cell_was = self._before
        span = (now_s - was)[:, None]
        ahead = np.where(span > 0, np.minimum(0.5 * dt_s[:, None] / np.maximum(span, 1e-9), 1.5), 0.0)
        h_middle = np.clip(h + ahead * (h - h_was), 0.7 * h, 1.4 * h)
        self._ahead = 2.0 * h_middle - h
        later = self._beyond(h_middle, cell + ahead * (cell - cell_was), room)
        return flux, (later - flux) / (0.5 * dt_s[:, None])

    def _beyond(self, h: Floats, cell: Floats, room: Floats) -> Floats:
        ratio = 1.0 / (1.0 + h * self.resistance)
        flux = ratio * (h * (room - cell) + self.absorbed)
        return np.asarray(flux + self.conductance(self.built_h) * (cell - room))

    def missed_w_m2(self, room_k: Floats) -> Floats:
        """How far (W/m², (M,)) the flow in mid-step was off, by what `heat_out` saw at the step's end."""
        if self._ahead is None or self._seen is None:
            return np.zeros(len(room_k))
        h, cell = self._seen
        ratio = 1.0 / (1.0 + h * self.resistance)
        off = 0.5 * np.abs(h - self._ahead) * ratio * ratio
        return np.asarray((off * np.abs(cell - room_k[:, None])).max(axis=1))

    def settle(self, good: NDArray[np.bool_]) -> None:
        """Remember this step's start for the trend, for the members whose step was accepted."""
        if self._pending is None:
            return
        everyone = bool(good.all())
        self._fresh = everyone and self._seen is not None
        if everyone and self._seen is not None:
            self.h = self._seen[0]
        if self._before is None or everyone:
            self._before = self._pending
        else:
            pick = good[:, None]
            (t, h, c), (t0, h0, c0) = self._pending, self._before
            self._before = (np.where(good, t, t0), np.where(pick, h, h0), np.where(pick, c, c0))
        self._pending = None
