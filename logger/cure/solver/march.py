"""The solver: heat conduction and cure over a section, for M members at once, each with its own time and step.

Strang splitting (Strang 1968, SIAM J. Numer. Anal. 5:506): conduction along z and x by exact exponentials, the
reaction cell by cell, arranged symmetrically. Every step is done once whole and twice halved; the difference is
the error that chooses the next step, and Richardson's extrapolation of the two is kept. Members advance
independently: one that runs away takes steps of seconds while its neighbours take half hours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats, Indices
from logger.cure.model.kinetics import Chemistry
from logger.cure.solver.boundary import Boundary
from logger.cure.solver.conduction import EVERYONE, LineOperators
from logger.cure.solver.observe import (
    AROUND,
    CORE,
    CORE_CURE,
    HEAT_OUT,
    HOT_CELL,
    HOTTEST,
    MEAN,
    SURFACE,
    UNDERSIDE,
    History,
    Observer,
)
from logger.cure.solver.room import RoomSchedule
from logger.errors import DidNotConverge

__all__ = [
    "COARSE",
    "COARSE_FINENESS",
    "CORE",
    "CORE_CURE",
    "HEAT_OUT",
    "HOTTEST",
    "HOT_CELL",
    "MEAN",
    "SURFACE",
    "UNDERSIDE",
    "Accuracy",
    "Enough",
    "FaceCoupling",
    "Fields",
    "History",
    "Interval",
    "March",
    "Observer",
    "read",
]


#: A peak is past once the hottest point has cooled by so much, K.
FALLEN_K = 2.0


@dataclass(frozen=True)
class Accuracy:
    """Error allowed in one step: K (plus a part of the rise over the room) and conversion; longest step, s.

    rebuild_part: a computed coefficient is decomposed again once it is off by this part; until then what is off is
    carried as a source, so that no heat is lost.
    """

    kelvin: float = 0.04
    part_of_rise: float = 1.4e-3
    conversion: float = 4e-4
    longest_s: float = 5800.0
    shortest_s: float = 1e-4
    most_steps: int = 20_000
    rebuild_part: float = 0.05


@dataclass(frozen=True)
class Enough:
    """When a march has told what is asked of it, whatever would follow: for searches.

    beyond_k: its hottest point has passed this. cured: every cell is cured so far, and the hottest point has cooled by
    FALLEN_K: its peak is past. inf: neither ends it.
    """

    beyond_k: float = math.inf
    cured: float = math.inf

    def of(self, hottest_k: Floats, top_k: Floats, cure: Floats) -> NDArray[np.bool_]:
        """Which members are done: their hottest point now and at most (M,), the conversion of what was poured."""
        past = (hottest_k < top_k - FALLEN_K) & (cure.min(axis=(1, 2)) >= self.cured)
        return np.asarray((hottest_k > self.beyond_k) | past)


#: Long steps, and the part of the cells that goes with them: for fits and searches, in a quarter of the time. Peaks are
#: some tenths of a kelvin off; `predict` is run at full accuracy afterwards.
COARSE, COARSE_FINENESS = Accuracy(kelvin=0.1, part_of_rise=3e-3, conversion=1e-3), 0.6


@dataclass(frozen=True)
class FaceCoupling:
    """Which cells of a face ("top", "bottom", "side", "inner") end which block of lines, at its low or high
    end, over how much face for a line of unit size."""

    face: str
    lines: LineOperators
    cells: slice
    end: str
    size: float


@dataclass
class Interval:
    """One stretch of a march in which nothing about the section changes: its operators, faces and gauge."""

    z_lines: list[LineOperators]
    x_lines: list[LineOperators]
    top: Boundary
    bottom: Boundary
    side: Boundary
    inner: Boundary | None
    ties: list[FaceCoupling]
    gauge: Observer

    @cached_property
    def skins(self) -> list[Boundary]:
        """The faces there are."""
        return [s for s in (self.top, self.bottom, self.side, self.inner) if s is not None and s.area.size]

    @cached_property
    def lines(self) -> list[LineOperators]:
        """All blocks, along z before along x."""
        return self.z_lines + self.x_lines

    @cached_property
    def computed(self) -> bool:
        """Whether any coefficient follows the temperatures."""
        return any(skin.computed for skin in self.skins)

    def spread(self, delta: Floats, operator: str, *, outward: bool) -> None:
        """Apply an operator of every block in place: x before z outward, z before x inward."""
        for lines in reversed(self.lines) if outward else self.lines:
            lines.spread(delta, getattr(lines, operator))

    def settle(self, pull: Floats, trend: Floats, span: Floats, operator: str) -> tuple[Floats, Floats]:
        """Return what heating at `pull` + `trend` t (K/s) leaves once conducted over a span that begins at t = 0, and
        how much more over each later span of the same length.
        """
        first = pull * span
        self.spread(first, operator + "_mean", outward=True)
        slope = trend * (span * span)
        ramp = 0.5 * slope
        self.spread(slope, operator + "_mean", outward=True)
        self.spread(ramp, operator + "_ramp", outward=True)
        first += ramp
        return first, slope

    def take(self, members: Indices) -> Interval:
        """Return the same stage for the members that `members` picks."""
        new = {id(b): b.take(members) for b in self.z_lines + self.x_lines}
        return Interval(
            [new[id(b)] for b in self.z_lines],
            [new[id(b)] for b in self.x_lines],
            self.top.take(members),
            self.bottom.take(members),
            self.side.take(members),
            None if self.inner is None else self.inner.take(members),
            [replace(tie, lines=new[id(tie.lines)]) for tie in self.ties],
            self.gauge.take(members),
        )


@dataclass
class Fields:
    """State of M members: time s (M,), temperature K (M, rows, columns), conversion (M, resin rows, columns)."""

    time_s: Floats
    t_k: Floats
    alpha: Floats
    step_s: Floats
    heat_out_j: Floats
    steps: int = 0
    refused: int = 0


def read(stage: Interval, t_k: Floats, alpha: Floats, room_k: Floats) -> Floats:
    """Return the readings of a state, shape (m, 8); temperatures in K, HEAT_OUT in W."""
    gauge = stage.gauge
    members = len(t_k)
    out = np.empty((members, 12))
    block = t_k[:, gauge.resin_rows, gauge.resin_columns]
    flat = block.reshape(members, -1)
    hot = flat.argmax(axis=1)
    who = np.arange(members)
    out[:, HOTTEST] = flat[who, hot]
    out[:, HOT_CELL] = hot
    near = hot[:, None] + gauge.around
    out[:, AROUND] = flat[who[:, None], np.minimum(np.maximum(near, 0), flat.shape[1] - 1)]
    warm = (gauge.warm @ t_k.reshape(members, -1, 1))[:, :, 0]
    warm += gauge.of_room * room_k[:, None] + gauge.fixed
    out[:, CORE] = warm[:, 0]
    cure = alpha[:, : gauge.poured_rows].reshape(members, -1, 1)
    out[:, MEAN : CORE_CURE + 1] = (gauge.cure @ cure)[:, :, 0]
    if not stage.computed:
        out[:, SURFACE], out[:, UNDERSIDE], out[:, HEAT_OUT] = warm[:, 1], warm[:, 2], warm[:, 3]
        return out
    span = len(gauge.centre)
    out[:, SURFACE] = stage.top.face_k(t_k, room_k)[:, :span] @ gauge.centre
    out[:, UNDERSIDE] = stage.bottom.face_k(t_k, room_k)[:, :span] @ gauge.centre
    total = np.zeros(members)
    for skin in stage.skins:
        total += skin.heat_out(t_k, room_k)
    out[:, HEAT_OUT] = total
    return out


@dataclass(frozen=True)
class _Start:
    """Where a step starts: temperature K, conversion, time s, which members (M,), and their readings (M, 12)."""

    t_k: Floats
    alpha: Floats
    time_s: Floats
    who: Indices
    reading: Floats


@dataclass(frozen=True)
class _Attempt:
    """A step that was tried: its end, the times and readings of its middle and end, heat lost J and error (M,)."""

    t_k: Floats
    alpha: Floats
    middle_s: Floats
    end_s: Floats
    at_middle: Floats
    at_end: Floats
    heat_out_j: Floats
    error: Floats


class March:
    """Carries M members through one stage."""

    def __init__(
        self,
        stage: Interval,
        chem: Chemistry,
        room: RoomSchedule,
        accuracy: Accuracy,
        enough: Enough | None = None,
    ) -> None:
        self.stage, self.chem, self.room, self.accuracy, self.enough = stage, chem, room, accuracy, enough

    def run(self, state: Fields, until_s: float, track: History) -> None:
        """Advance every member of `state` to until_s seconds, or until it is enough, in place; readings go into
        `track`.

        Raises DidNotConverge when a member's step falls below the shortest, or there are too many.
        """
        stage, chem, acc = self.stage, self.chem, self.accuracy
        who = np.arange(len(state.time_s))
        time_s, step_s = state.time_s.copy(), state.step_s.copy()
        t_k, alpha = state.t_k, state.alpha
        built = np.zeros(len(who))
        before = read(stage, t_k, alpha, self.room.at(time_s, who))
        entries = len(track.who)
        for skin in stage.skins:
            skin.restart()
        track.add(who, time_s.copy(), before)
        top_k = before[:, HOTTEST].copy()
        for _count in range(acc.most_steps):
            left = until_s - time_s
            pieces = np.ceil(left / step_s - 0.02)
            dt = np.where(pieces >= 3.0, step_s, left / np.maximum(pieces, 1.0))
            self._refresh(stage, t_k, time_s, who, built)
            self._build(stage, dt, built)
            tried = self._attempt(stage, chem, _Start(t_k, alpha, time_s, who, before), dt)
            good = tried.error <= 1.0
            for skin in stage.skins:
                skin.settle(good)
            state.steps += int(good.sum())
            state.refused += int(len(good) - good.sum())
            step_s = _laddered(step_s, dt, _step_scale(tried.error), good, acc.longest_s)
            self._not_too_short(dt, time_s, good)
            self._noted(state, track, who, tried, good)
            if good.all():
                t_k, alpha, time_s, before = tried.t_k, tried.alpha, tried.end_s, tried.at_end
            elif good.any():
                pick = good[:, None, None]
                t_k = np.where(pick, tried.t_k, t_k)
                alpha = np.where(pick, tried.alpha, alpha)
                time_s = np.where(good, tried.end_s, time_s)
                before = np.where(good[:, None], tried.at_end, before)
            done = time_s >= until_s - 1e-6
            if self.enough is not None:
                top_k = np.maximum(top_k, before[:, HOTTEST])
                done |= self.enough.of(before[:, HOTTEST], top_k, alpha[:, : stage.gauge.poured_rows])
            if done.any():
                state.t_k[who[done]], state.alpha[who[done]] = t_k[done], alpha[done]
                state.time_s[who[done]] = np.where(time_s >= until_s - 1e-6, until_s, time_s)[done]
                state.step_s[who[done]] = step_s[done]
                going = np.flatnonzero(~done)
                if not len(going):
                    gauge = stage.gauge
                    track.finish(entries, gauge.poured_rows, gauge.resin_columns.stop)
                    return
                stage, chem = stage.take(going), chem.take(going)
                who, time_s, step_s, built = who[going], time_s[going], step_s[going], built[going]
                t_k, alpha, before, top_k = t_k[going], alpha[going], before[going], top_k[going]
        raise DidNotConverge(
            f"{acc.most_steps} steps did not reach {until_s / 3600:.2f} h; check the rate constants"
        )

    @staticmethod
    def _noted(state: Fields, track: History, who: Indices, tried: _Attempt, good: NDArray[np.bool_]) -> None:
        """Note the heat lost and the readings of the members whose step is good."""
        if good.all():
            state.heat_out_j[who] += tried.heat_out_j
            track.add(who, tried.middle_s, tried.at_middle)
            track.add(who, tried.end_s, tried.at_end)
        elif good.any():
            state.heat_out_j[who[good]] += tried.heat_out_j[good]
            track.add(who[good], tried.middle_s[good], tried.at_middle[good])
            track.add(who[good], tried.end_s[good], tried.at_end[good])

    def _not_too_short(self, dt: Floats, time_s: Floats, good: NDArray[np.bool_]) -> None:
        """Raise DidNotConverge where a member is refused at the shortest step."""
        shortest_s = self.accuracy.shortest_s
        if np.any(~good & (dt < shortest_s)):
            raise DidNotConverge(
                f"the step fell below {shortest_s} s at {float(time_s[~good][0]) / 3600:.3f} h without "
                "reaching the accuracy; check the rate constants and the heat of cure"
            )

    def _attempt(self, stage: Interval, chem: Chemistry, start: _Start, dt: Floats) -> _Attempt:
        """Try a step of dt s (M,): the extrapolated state, its readings, and the error over what is allowed."""
        acc, before = self.accuracy, start.reading
        coarse, middle, fine = self._step(stage, chem, start, dt)
        t_gap, a_gap = fine[0] - coarse[0], fine[1] - coarse[1]
        t_gap *= 1.0 / 3.0
        a_gap *= 1.0 / 3.0
        rise = np.abs(before[:, HOTTEST] - before[:, SURFACE])
        allowed = acc.kelvin + acc.part_of_rise * rise
        error = np.maximum(
            np.maximum(t_gap.max(axis=(1, 2)), -t_gap.min(axis=(1, 2))) / allowed,
            np.maximum(a_gap.max(axis=(1, 2)), -a_gap.min(axis=(1, 2))) / acc.conversion,
        )
        fine[0] += t_gap
        fine[1] += a_gap
        np.clip(fine[1], 0.0, 1.0 - 1e-9, out=fine[1])
        middle[0] += 0.5 * t_gap
        middle[1] += 0.5 * a_gap
        middle_s, end_s = start.time_s + 0.5 * dt, start.time_s + dt
        at_middle = read(stage, middle[0], middle[1], self.room.at(middle_s, start.who))
        end_room = self.room.at(end_s, start.who)
        at_end = read(stage, fine[0], fine[1], end_room)
        if stage.computed:
            missed = sum(skin.missed_w_m2(end_room) for skin in stage.skins)
            error = np.maximum(error, missed * dt / (stage.gauge.heat_capacity_m2 * allowed))
        heat = dt / 6.0 * (before[:, HEAT_OUT] + 4.0 * at_middle[:, HEAT_OUT] + at_end[:, HEAT_OUT])
        return _Attempt(fine[0], fine[1], middle_s, end_s, at_middle, at_end, heat, error)

    def _refresh(self, stage: Interval, t_k: Floats, time_s: Floats, who: Indices, built: Floats) -> None:
        """Decompose again where a computed coefficient has left the one that the propagators hold."""
        if not stage.computed:
            return
        room_k = self.room.at(time_s, who)
        for skin in stage.skins:
            if skin.computed:
                skin.refresh(t_k, room_k)
        for tie in stage.ties:
            skin = getattr(stage, tie.face)
            if not skin.computed:
                continue
            mean = skin.h[:, tie.cells].mean(axis=1)
            part = self.accuracy.rebuild_part
            off = np.flatnonzero(np.abs(mean - skin.built_h[:, tie.cells.start]) > part * mean)
            if len(off):
                skin.built_h[off, tie.cells] = mean[off, None]
                hold = mean[off] / (1.0 + mean[off] * skin.resistance[tie.cells.start])
                tie.lines.set_ends(off, **{tie.end: hold * tie.size})
                built[off] = 0.0

    @staticmethod
    def _build(stage: Interval, dt: Floats, built: Floats) -> None:
        stale = dt != built
        if not stale.any():
            return
        pick = EVERYONE if stale.all() else np.flatnonzero(stale)
        for lines in stage.lines:
            lines.build(pick, 0.25 * dt[pick])
        built[pick] = dt[pick]

    def _step(
        self, stage: Interval, chem: Chemistry, start: _Start, dt: Floats
    ) -> tuple[list[Floats], list[Floats], list[Floats]]:
        """One whole step and two half ones from the same start: (T, α) of the whole, of the middle, of the end.

        The parts work on the change δ since the start. All heating at the start, `pull`, and the trend of the
        reaction's share stay in the conduction parts and are taken off the reaction part, so that near a balance
        of the two neither runs off during the other's turn (balanced splitting: Speth, Green, MacNamara &
        Strang 2013, SIAM J. Numer. Anal. 51:3084, from memory).
        """
        gauge, t_k, alpha = stage.gauge, start.t_k, start.alpha
        wet = (slice(None), gauge.resin_rows, gauge.resin_columns)
        cure, resin = alpha[:, : gauge.poured_rows], t_k[wet]
        whole, half = dt[:, None, None], 0.5 * dt[:, None, None]
        pull, trend, means = self._conducted(stage, start, dt)
        drive = chem.drive(cure, resin)
        heating = chem.rise_k * chem.rate(cure, drive)
        pull[wet] += heating
        growth = _trend(chem, cure, drive, resin, heating, pull[wet], half)
        trend[wet] += growth
        pulls = self._pulls(stage, pull, means)

        def turn(delta: Floats, from_alpha: Floats, start: Floats | float, span: Floats) -> Floats:
            """Return the reaction over a span that begins `start` after the step, less what conduction already
            holds.
            """
            held = heating + growth * (start + 0.5 * span)
            cured = chem.react(from_alpha, resin + delta[wet], -held, span)
            delta[wet] += chem.rise_k * (cured - from_alpha) - held * span
            return cured

        # Half a step of conduction is a half of the whole step, a quarter for the halved one.
        first, slope = stage.settle(pull, trend, half, "half")
        coarse = first.copy()
        coarse_cure = turn(coarse, cure, 0.0, whole)
        stage.spread(coarse, "half", outward=True)
        coarse += first
        coarse += slope
        quarter = 0.5 * half
        first, slope = stage.settle(pulls[0], trend, quarter, "quarter")
        fine = first.copy()
        middle_cure = turn(fine, cure, 0.0, half)
        stage.spread(fine, "quarter", outward=True)
        fine += first
        fine += slope
        middle = t_k + fine
        stage.spread(fine, "quarter", outward=False)
        if pulls[1] is not pulls[0]:
            first, slope = stage.settle(pulls[1], trend, quarter, "quarter")
        fine += first
        fine += 2.0 * slope
        fine_cure = turn(fine, middle_cure, half, half)
        stage.spread(fine, "quarter", outward=True)
        fine += first
        fine += 3.0 * slope
        coarse += t_k
        fine += t_k
        return (
            [coarse, _with_dry(coarse_cure, alpha)],
            [middle, _with_dry(middle_cure, alpha)],
            [fine, _with_dry(fine_cure, alpha)],
        )

    def _conducted(
        self, stage: Interval, start: _Start, dt: Floats
    ) -> tuple[Floats, Floats, tuple[Floats, Floats, Floats]]:
        """Heating by conduction and by the faces, K/s, and its trend, K/s²; the room's mean early, late and in all."""
        t_k, time_s = start.t_k, start.time_s
        pull, trend = np.zeros_like(t_k), np.zeros_like(t_k)
        early, late, mean = self.room.means((time_s, time_s + 0.5 * dt, time_s + dt), start.who)
        over = t_k - mean[:, None, None]
        for lines in stage.lines:
            lines.add_rate(over, pull)
        if stage.computed or stage.top.heated:
            for skin in stage.skins:
                if skin.computed or skin.heated:
                    flux, growing = skin.influx(t_k, mean, time_s, dt)
                    pull[:, skin.rows, skin.columns] += flux * skin.per_capacity
                    trend[:, skin.rows, skin.columns] += growing * skin.per_capacity
        return pull, trend, (early, late, mean)

    def _pulls(
        self, stage: Interval, pull: Floats, means: tuple[Floats, Floats, Floats]
    ) -> tuple[Floats, Floats]:
        """Return the heating in each half of the step: the same array twice where the room does not change."""
        if self.room.constant:
            return pull, pull
        early, late, mean = means
        pulls = (pull.copy(), pull.copy())
        for one, part in zip(pulls, (early, late), strict=True):
            more = (part - mean)[:, None]
            for skin in stage.skins:
                one[:, skin.rows, skin.columns] += skin.tie(skin.h) * more * skin.per_capacity
        return pulls


def _trend(
    chem: Chemistry, cure: Floats, drive: Floats, resin: Floats, heating: Floats, pull: Floats, half: Floats
) -> Floats:
    """How fast the heating changes, K/s², from an estimate at the middle of the step; held within a factor of two."""
    warmed = resin + np.clip(pull * half, -3.0, 3.0)
    later = chem.ahead(cure, drive, half)
    then = chem.rise_k * chem.rate(later, chem.drive(later, warmed))
    return np.asarray((np.minimum(then, 2.0 * heating) - heating) / half)


def _step_scale(error: Floats) -> Floats:
    """By what the step may change after that error, over what is allowed, of a method of third order."""
    # A state that is not a number is never good, and halves until the step is too short.
    scale = np.where(np.isfinite(error), 0.85 * np.maximum(error, 1e-3) ** (-1.0 / 3.0), 0.25)
    return np.asarray(np.clip(scale, 0.2, 3.0))


def _with_dry(cure: Floats, alpha: Floats) -> Floats:
    """Conversion of the poured rows, and of those not yet poured as they were."""
    poured = cure.shape[1]
    return cure if poured == alpha.shape[1] else np.concatenate([cure, alpha[:, poured:]], axis=1)


def _laddered(step_s: Floats, dt: Floats, scale: Floats, good: NDArray[np.bool_], longest_s: float) -> Floats:
    """Return the next steps: changed by factors of √2 only, so that propagators last; a refused one always shrinks.

    A step cut short by the end of a stage says nothing against the longer one that was meant.
    """
    rung = np.exp2(np.floor(2.0 * np.log2(np.minimum(dt * scale, longest_s))) / 2.0)
    rising = np.where((scale >= 1.0) & (dt < step_s), np.maximum(rung, step_s), rung)
    return np.where(good, rising, np.minimum(rung, dt / 2.0**0.5))
