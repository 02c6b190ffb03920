"""The solver: heat conduction and cure over a section, for M members at once, each with its own time and step.

Strang splitting (Strang 1968, SIAM J. Numer. Anal. 5:506): conduction along z and x by exact exponentials, the
reaction cell by cell, arranged symmetrically. Every step is done once whole and twice halved; the difference is
the error that chooses the next step, and Richardson's extrapolation of the two is kept. Members advance
independently: one that runs away takes steps of seconds while its neighbours take half hours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats, Indices
from logger.cure.model.kinetics import Chemistry
from logger.cure.solver.boundary import Boundary
from logger.cure.solver.conduction import EVERYONE, LineOperators
from logger.cure.solver.motion import Motion
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
from logger.facts import fact
from logger.quantities import hours, hours_alone, quantity

__all__ = [
    "COARSE",
    "CORE",
    "CORE_CURE",
    "HEAT_OUT",
    "HOTTEST",
    "HOT_CELL",
    "MEAN",
    "SURFACE",
    "UNDERSIDE",
    "Accuracy",
    "FaceCoupling",
    "Fields",
    "History",
    "Interval",
    "March",
    "Observer",
    "Resolution",
    "StopRule",
    "read",
]


#: A member this close to the end of an interval has reached it, s.
_SAME_S = 1e-6
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
class StopRule:
    """When a search has its answer before the end of the run.

    beyond_k: stop once the hottest point has passed this. cured: stop once every cell is cured so far and the hottest
    point has cooled by FALLEN_K, so that the peak is past. reached: stop once it is cured so far on average, warming
    or not. inf: it does not stop the run.
    """

    beyond_k: float = math.inf
    cured: float = math.inf
    reached: float = math.inf

    def of(self, hottest_k: Floats, top_k: Floats, cure: Floats, mean: Floats) -> NDArray[np.bool_]:
        """Return which members may stop (M,): by their hottest point now and so far, K (M,), and their conversion, of
        each cell and on average.
        """
        past = (hottest_k < top_k - FALLEN_K) & (cure.min(axis=(1, 2)) >= self.cured)
        return np.asarray((hottest_k > self.beyond_k) | past | (mean >= self.reached))


@dataclass(frozen=True)
class Resolution:
    """How finely a plan is solved: a factor on the cells in each direction, and the error allowed in one step."""

    fineness: float
    accuracy: Accuracy = Accuracy()


#: The steps of a prediction.
FULL_ACCURACY = Accuracy()
#: Long steps on a coarse mesh: for fits and searches, in a quarter of the time. Peaks are some tenths of a kelvin off;
#: `predict` is run at full accuracy afterwards.
COARSE = Resolution(0.6, Accuracy(kelvin=0.1, part_of_rise=3e-3, conversion=1e-3))


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
    """A span of time in which nothing about the section changes: its operators, outer faces and observer."""

    z_lines: list[LineOperators]
    x_lines: list[LineOperators]
    top: Boundary
    bottom: Boundary
    side: Boundary
    inner: Boundary | None
    couplings: list[FaceCoupling]
    observer: Observer
    #: Of liquid that moves; None: heat is only conducted.
    motion: Motion | None = None

    @cached_property
    def faces(self) -> list[Boundary]:
        """The faces there are."""
        return [s for s in (self.top, self.bottom, self.side, self.inner) if s is not None and s.area.size]

    @cached_property
    def lines(self) -> list[LineOperators]:
        """All blocks, along z before along x."""
        return self.z_lines + self.x_lines

    @cached_property
    def computed(self) -> bool:
        """Whether any coefficient follows the temperatures."""
        return any(face.computed for face in self.faces)

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
        """Return this interval for the members that `members` picks."""
        new = {id(b): b.take(members) for b in self.z_lines + self.x_lines}
        return Interval(
            [new[id(b)] for b in self.z_lines],
            [new[id(b)] for b in self.x_lines],
            self.top.take(members),
            self.bottom.take(members),
            self.side.take(members),
            None if self.inner is None else self.inner.take(members),
            [replace(coupling, lines=new[id(coupling.lines)]) for coupling in self.couplings],
            self.observer.take(members),
            None if self.motion is None else self.motion.take(members, new),
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


def read(interval: Interval, t_k: Floats, alpha: Floats, room_k: Floats) -> Floats:
    """Return the readings of a state, shape (m, 12); temperatures in K, HEAT_OUT in W."""
    observer = interval.observer
    members = len(t_k)
    out = np.empty((members, 12))
    block = t_k[:, observer.resin_rows, observer.resin_columns]
    flat = block.reshape(members, -1)
    hot = flat.argmax(axis=1)
    who = np.arange(members)
    out[:, HOTTEST] = flat[who, hot]
    out[:, HOT_CELL] = hot
    near = hot[:, None] + observer.around
    out[:, AROUND] = flat[who[:, None], np.minimum(np.maximum(near, 0), flat.shape[1] - 1)]
    warm = (observer.warm @ t_k.reshape(members, -1, 1))[:, :, 0]
    warm += observer.of_room * room_k[:, None] + observer.fixed
    out[:, CORE] = warm[:, 0]
    cure = alpha[:, : observer.poured_rows].reshape(members, -1, 1)
    out[:, MEAN : CORE_CURE + 1] = (observer.cure @ cure)[:, :, 0]
    if not interval.computed:
        out[:, SURFACE], out[:, UNDERSIDE], out[:, HEAT_OUT] = warm[:, 1], warm[:, 2], warm[:, 3]
        return out
    span = len(observer.centre)
    out[:, SURFACE] = interval.top.face_k(t_k, room_k)[:, :span] @ observer.centre
    out[:, UNDERSIDE] = interval.bottom.face_k(t_k, room_k)[:, :span] @ observer.centre
    total = np.zeros(members)
    for face in interval.faces:
        total += face.heat_out(t_k, room_k)
    out[:, HEAT_OUT] = total
    return out


@dataclass
class _Front:
    """The m members still under way: their numbers, time s, next step s, temperature K and conversion (m, …), readings
    (m, 12), the step for which their propagators are built, s, and the hottest temperature so far, K (m,)."""

    who: Indices
    time_s: Floats
    step_s: Floats
    t_k: Floats
    alpha: Floats
    reading: Floats
    built: Floats
    top_k: Floats

    def accept(self, tried: _Attempt, good: NDArray[np.bool_]) -> None:
        """Move the members whose step is good to its end."""
        if good.all():
            self.t_k, self.alpha, self.time_s = tried.t_k, tried.alpha, tried.end_s
            self.reading = tried.at_end
        elif good.any():
            pick = good[:, None, None]
            self.t_k = np.where(pick, tried.t_k, self.t_k)
            self.alpha = np.where(pick, tried.alpha, self.alpha)
            self.time_s = np.where(good, tried.end_s, self.time_s)
            self.reading = np.where(good[:, None], tried.at_end, self.reading)

    def finish(self, state: Fields, done: NDArray[np.bool_], until_s: float) -> None:
        """Write the members that are done back into `state`; who is there by rounding is there."""
        who, ended_s = self.who[done], np.where(self.time_s >= until_s - _SAME_S, until_s, self.time_s)
        state.t_k[who], state.alpha[who] = self.t_k[done], self.alpha[done]
        state.time_s[who], state.step_s[who] = ended_s[done], self.step_s[done]

    def take(self, members: Indices) -> _Front:
        """Return the front of the members that `members` picks."""
        return _Front(*(getattr(self, each.name)[members] for each in fields(self)))


@dataclass(frozen=True)
class _Reaction:
    """What the reaction part of a step works on: kinetics, which cells (a slice of the fields), their temperature K and
    conversion at the start, and the heating, K/s, and its growth, K/s², which the conduction part already holds."""

    chem: Chemistry
    wet: tuple[slice, slice, slice]
    resin: Floats
    cure: Floats
    heating: Floats
    growth: Floats

    def turn(self, delta: Floats, from_alpha: Floats, start: Floats | float, span: Floats) -> Floats:
        """Return the conversion after a span, s, that begins `start` s after the step's own start, and add to `delta`
        (K since the start, in place) what the reaction heats beyond the part that conduction already holds.
        """
        chem, wet = self.chem, self.wet
        held = self.heating + self.growth * (start + 0.5 * span)
        cured = chem.react(from_alpha, self.resin + delta[wet], -held, span)
        delta[wet] += chem.rise_k * (cured - from_alpha) - held * span
        return cured


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
    """Solves one interval for M members: each advances by its own steps."""

    def __init__(
        self,
        interval: Interval,
        chem: Chemistry,
        room: RoomSchedule,
        accuracy: Accuracy,
        stop: StopRule | None = None,
    ) -> None:
        self.interval, self.chem, self.room, self.accuracy, self.stop = interval, chem, room, accuracy, stop

    def run(self, state: Fields, until_s: float, track: History) -> None:
        """Advance every member of `state` to until_s seconds, or until its stop rule, in place; readings go to `track`.

        Raises DidNotConverge when a member's step falls below the shortest, or there are too many.
        """
        interval, chem, acc = self.interval, self.chem, self.accuracy
        observer = interval.observer
        entries = len(track.who)
        front = self._front(state)
        track.add(front.who, front.time_s.copy(), front.reading)
        for _count in range(acc.most_steps):
            left = until_s - front.time_s
            self._refresh(interval, front)
            longest = self._stir(interval, chem, front)
            step = front.step_s if longest is None else np.minimum(front.step_s, longest)
            pieces = np.ceil(left / step - 0.02)
            dt = np.where(pieces >= 3.0, step, left / np.maximum(pieces, 1.0))
            self._build(interval, dt, front.built)
            tried = self._attempt(interval, chem, front, dt)
            good = tried.error <= 1.0
            for face in interval.faces:
                face.settle(good)
            state.steps += int(good.sum())
            state.refused += int(len(good) - good.sum())
            front.step_s = _laddered(front.step_s, dt, _step_scale(tried.error), good, acc.longest_s)
            self._check_step(dt, front.time_s, good)
            self._record(state, track, front.who, tried, good)
            front.accept(tried, good)
            done = self._done(front, until_s, observer.poured_rows)
            if done.any():
                front.finish(state, done, until_s)
                going = np.flatnonzero(~done)
                if not len(going):
                    track.finish(entries, observer.poured_rows, observer.resin_columns.stop)
                    return
                interval, chem, front = interval.take(going), chem.take(going), front.take(going)
        raise DidNotConverge(fact("too-many-steps", n=acc.most_steps, until=hours_alone(until_s / 3600.0)))

    def _front(self, state: Fields) -> _Front:
        """Return all members where `state` has them, with nothing built and no trend of any face."""
        who = np.arange(len(state.time_s))
        time_s = state.time_s.copy()
        reading = read(self.interval, state.t_k, state.alpha, self.room.at(time_s, who))
        for face in self.interval.faces:
            face.restart()
        return _Front(
            who,
            time_s,
            state.step_s.copy(),
            state.t_k,
            state.alpha,
            reading,
            np.zeros(len(who)),
            reading[:, HOTTEST].copy(),
        )

    def _done(self, front: _Front, until_s: float, poured_rows: int) -> NDArray[np.bool_]:
        """Return which members have reached until_s, or what their stop rule asks for (m,)."""
        done = front.time_s >= until_s - _SAME_S
        if self.stop is not None:
            hottest_k = front.reading[:, HOTTEST]
            front.top_k = np.maximum(front.top_k, hottest_k)
            cure, mean = front.alpha[:, :poured_rows], front.reading[:, MEAN]
            done |= self.stop.of(hottest_k, front.top_k, cure, mean)
        return done

    @staticmethod
    def _record(
        state: Fields, track: History, who: Indices, tried: _Attempt, good: NDArray[np.bool_]
    ) -> None:
        """Add up the heat lost, J, and keep the readings of the members whose step is good."""
        if good.all():
            state.heat_out_j[who] += tried.heat_out_j
            track.add(who, tried.middle_s, tried.at_middle)
            track.add(who, tried.end_s, tried.at_end)
        elif good.any():
            state.heat_out_j[who[good]] += tried.heat_out_j[good]
            track.add(who[good], tried.middle_s[good], tried.at_middle[good])
            track.add(who[good], tried.end_s[good], tried.at_end[good])

    def _check_step(self, dt: Floats, time_s: Floats, good: NDArray[np.bool_]) -> None:
        """Raise DidNotConverge where a member is refused at the shortest step."""
        shortest_s = self.accuracy.shortest_s
        if np.any(~good & (dt < shortest_s)):
            at_h = float(time_s[~good][0]) / 3600.0
            raise DidNotConverge(fact("step-too-short", step=quantity(shortest_s, "s", None), at=hours(at_h)))

    def _attempt(self, interval: Interval, chem: Chemistry, start: _Front, dt: Floats) -> _Attempt:
        """Try a step of dt s (M,): the extrapolated state, its readings, and the error over what is allowed."""
        acc, before = self.accuracy, start.reading
        coarse, middle, fine = self._step(interval, chem, start, dt)
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
        if interval.motion is not None:
            interval.motion.mix(middle[1], 0.5 * dt)
            interval.motion.mix(fine[1], dt)
        middle_s, end_s = start.time_s + 0.5 * dt, start.time_s + dt
        at_middle = read(interval, middle[0], middle[1], self.room.at(middle_s, start.who))
        end_room = self.room.at(end_s, start.who)
        at_end = read(interval, fine[0], fine[1], end_room)
        if interval.computed:
            missed = sum(face.missed_w_m2(end_room) for face in interval.faces)
            error = np.maximum(error, missed * dt / (interval.observer.heat_capacity_m2 * allowed))
        heat = dt / 6.0 * (before[:, HEAT_OUT] + 4.0 * at_middle[:, HEAT_OUT] + at_end[:, HEAT_OUT])
        return _Attempt(fine[0], fine[1], middle_s, end_s, at_middle, at_end, heat, error)

    def _refresh(self, interval: Interval, front: _Front) -> None:
        """Decompose again where a computed coefficient has left the one that the propagators hold."""
        if not interval.computed:
            return
        room_k = self.room.at(front.time_s, front.who)
        for face in interval.faces:
            if face.computed:
                face.refresh(front.t_k, room_k)
        for coupling in interval.couplings:
            face = getattr(interval, coupling.face)
            if not face.computed:
                continue
            mean = face.h[:, coupling.cells].mean(axis=1)
            part = self.accuracy.rebuild_part
            off = np.flatnonzero(np.abs(mean - face.built_h[:, coupling.cells.start]) > part * mean)
            if len(off):
                face.built_h[off, coupling.cells] = mean[off, None]
                hold = mean[off] / (1.0 + mean[off] * face.resistance[coupling.cells.start])
                coupling.lines.set_ends(off, **{coupling.end: hold * coupling.size})
                front.built[off] = 0.0

    def _stir(self, interval: Interval, chem: Chemistry, front: _Front) -> Floats | None:
        """Set how the liquid is stirred in the step that begins, and return the longest step for it, s (m,)."""
        motion = interval.motion
        if motion is None:
            return None
        room_k = self.room.at(front.time_s, front.who)
        front.built[motion.stir(front.t_k, front.alpha, room_k, interval.top, interval.bottom)] = 0.0
        observer = interval.observer
        cure = front.alpha[:, : observer.poured_rows]
        resin = front.t_k[:, observer.resin_rows, observer.resin_columns]
        return motion.longest_s(front.alpha, chem.rate(cure, chem.drive(cure, resin)))

    @staticmethod
    def _build(interval: Interval, dt: Floats, built: Floats) -> None:
        """Build the propagators of the members whose step dt (m,) is not the one that they were `built` for, s."""
        stale = dt != built
        if not stale.any():
            return
        pick = EVERYONE if stale.all() else np.flatnonzero(stale)
        for lines in interval.lines:
            lines.build(pick, 0.25 * dt[pick])
        built[pick] = dt[pick]

    def _step(
        self, interval: Interval, chem: Chemistry, start: _Front, dt: Floats
    ) -> tuple[list[Floats], list[Floats], list[Floats]]:
        """Return (T, α) at the end of one whole step, and at the middle and the end of two half ones.

        The parts work on the change δ since the start. All heating at the start, `pull`, and the trend of the
        reaction's share stay in the conduction parts and are taken off the reaction part, so that near a balance
        of the two neither runs off during the other's turn (balanced splitting: Speth, Green, MacNamara &
        Strang 2013, SIAM J. Numer. Anal. 51:3084).
        """
        observer, t_k, alpha = interval.observer, start.t_k, start.alpha
        wet = (slice(None), observer.resin_rows, observer.resin_columns)
        cure, resin = alpha[:, : observer.poured_rows], t_k[wet]
        whole, half = dt[:, None, None], 0.5 * dt[:, None, None]
        pull, trend, means = self._conducted(interval, start, dt)
        drive = chem.drive(cure, resin)
        heating = chem.rise_k * chem.rate(cure, drive)
        pull[wet] += heating
        warmed = resin + np.clip(pull[wet] * half, -3.0, 3.0)
        growth = _trend(chem, cure, drive, heating, warmed, half)
        trend[wet] += growth
        reaction = _Reaction(chem, wet, resin, cure, heating, growth)
        coarse, coarse_cure = _whole_step(interval, reaction, pull, trend, whole)
        pulls = self._pulls(interval, pull, means)
        (middle, middle_cure), (fine, fine_cure) = _half_steps(interval, reaction, pulls, trend, half)
        coarse += t_k
        middle += t_k
        fine += t_k
        return (
            [coarse, _with_dry(coarse_cure, alpha)],
            [middle, _with_dry(middle_cure, alpha)],
            [fine, _with_dry(fine_cure, alpha)],
        )

    def _conducted(
        self, interval: Interval, start: _Front, dt: Floats
    ) -> tuple[Floats, Floats, tuple[Floats, Floats, Floats]]:
        """Heating by conduction and by the faces, K/s, and its trend, K/s²; the room's mean early, late and in all."""
        t_k, time_s = start.t_k, start.time_s
        pull, trend = np.zeros_like(t_k), np.zeros_like(t_k)
        early, late, mean = self.room.means((time_s, time_s + 0.5 * dt, time_s + dt), start.who)
        over = t_k - mean[:, None, None]
        for lines in interval.lines:
            lines.add_rate(over, pull)
        if interval.computed or interval.top.heated:
            for face in interval.faces:
                if face.computed or face.heated:
                    flux, growing = face.influx(t_k, mean, time_s, dt)
                    pull[:, face.rows, face.columns] += flux * face.per_capacity
                    trend[:, face.rows, face.columns] += growing * face.per_capacity
        return pull, trend, (early, late, mean)

    def _pulls(
        self, interval: Interval, pull: Floats, means: tuple[Floats, Floats, Floats]
    ) -> tuple[Floats, Floats]:
        """Return the heating in each half of the step: the same array twice where the room does not change."""
        if self.room.constant:
            return pull, pull
        early, late, mean = means
        pulls = (pull.copy(), pull.copy())
        for one, part in zip(pulls, (early, late), strict=True):
            more = (part - mean)[:, None]
            for face in interval.faces:
                one[:, face.rows, face.columns] += face.conductance(face.h) * more * face.per_capacity
        return pulls


def _whole_step(
    interval: Interval, reaction: _Reaction, pull: Floats, trend: Floats, whole: Floats
) -> tuple[Floats, Floats]:
    """Return δ, K, and the conversion after one step of `whole` s: half of conduction, the reaction, the other half."""
    first, slope = interval.settle(pull, trend, 0.5 * whole, "half")
    delta = first.copy()
    cure = reaction.turn(delta, reaction.cure, 0.0, whole)
    interval.spread(delta, "half", outward=True)
    delta += first
    delta += slope
    return delta, cure


def _half_steps(
    interval: Interval, reaction: _Reaction, pulls: tuple[Floats, Floats], trend: Floats, half: Floats
) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Return δ, K, and the conversion at the middle and at the end of two steps of `half` s; pulls: K/s in each."""
    # Half a step of conduction is a quarter of the whole step here.
    quarter = 0.5 * half
    first, slope = interval.settle(pulls[0], trend, quarter, "quarter")
    delta = first.copy()
    middle_cure = reaction.turn(delta, reaction.cure, 0.0, half)
    interval.spread(delta, "quarter", outward=True)
    delta += first
    delta += slope
    middle = delta.copy()
    interval.spread(delta, "quarter", outward=False)
    if pulls[1] is not pulls[0]:
        first, slope = interval.settle(pulls[1], trend, quarter, "quarter")
    delta += first
    delta += 2.0 * slope
    cure = reaction.turn(delta, middle_cure, half, half)
    interval.spread(delta, "quarter", outward=True)
    delta += first
    delta += 3.0 * slope
    return (middle, middle_cure), (delta, cure)


def _trend(
    chem: Chemistry, cure: Floats, drive: Floats, heating: Floats, warmed: Floats, half: Floats
) -> Floats:
    """Return how fast the heating changes, K/s², by its estimate after `half` s at `warmed` K; it at most doubles."""
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

    A step cut short by the end of a interval says nothing against the longer one that was meant.
    """
    rung = np.exp2(np.floor(2.0 * np.log2(np.minimum(dt * scale, longest_s))) / 2.0)
    rising = np.where((scale >= 1.0) & (dt < step_s), np.maximum(rung, step_s), rung)
    return np.where(good, rising, np.minimum(rung, dt / 2.0**0.5))
