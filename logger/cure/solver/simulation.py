"""Simulates a pour: a plan and its members through every interval (layers, sun, fans), from mixing to the end."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from logger.arrays import Floats
from logger.cure.model.kinetics import Chemistry
from logger.cure.solver.boundary import HeatLosses, heat_losses_of
from logger.cure.solver.march import FULL_ACCURACY, Accuracy, Fields, History, Interval, March, StopRule
from logger.cure.solver.mesh import Section
from logger.cure.solver.motion import Motion, motion_of
from logger.cure.solver.operators import Factors, ProbePosition, absorbing, interval_of
from logger.cure.solver.room import RoomSchedule
from logger.errors import BadInput
from logger.facts import fact
from logger.plan.file import Flow, Plan
from logger.units import SECONDS_PER_HOUR, ZERO_CELSIUS_K

#: The first step after a pour, s, at most; the finest cell's own time may ask for less.
_FIRST_STEP_S = 16.0


@dataclass(frozen=True)
class Intervention:
    """Something done to the pour at an hour; what is None stays as it was.

    top_factor, bottom_factor: number or (M,), replaces what multiplies the coefficient. top_w_m2k, bottom_w_m2k:
    replaces the coefficient. top_air_m_s, underside: replaces the plan's, for a coefficient that is computed.
    absorbed_w_m2: number or (M,), heat that the top absorbs from then on beside the plan's.
    """

    at_h: float
    top_factor: Floats | float | None = None
    bottom_factor: Floats | float | None = None
    top_w_m2k: float | None = None
    bottom_w_m2k: float | None = None
    top_air_m_s: float | None = None
    underside: str | None = None
    absorbed_w_m2: Floats | float | None = None

    @property
    def only_heats(self) -> bool:
        """Whether it leaves every coefficient as it was."""
        given = (self.top_factor, self.bottom_factor, self.top_w_m2k, self.bottom_w_m2k, self.top_air_m_s)
        return self.underside is None and all(value is None for value in given)


@dataclass(frozen=True)
class Snapshot:
    """Whole fields at an hour: temperature °C (M, rows, columns), conversion (M, resin rows, columns)."""

    hours: float
    layers: int
    temperature_c: Floats
    conversion: Floats


@dataclass(frozen=True)
class Checkpoint:
    """A state to go on from: hours, temperature K, conversion, next step s (M,), layers poured."""

    hours: float
    t_k: Floats
    alpha: Floats
    step_s: Floats
    layers: int


@dataclass
class Simulation:
    """What a run gave: readings, fields at the hours asked for, the end, and the heat balance (M,)."""

    track: History = field(default_factory=History)
    snapshots: list[Snapshot] = field(default_factory=list)
    end: Checkpoint | None = None
    heat_balance_error: Floats = field(default_factory=lambda: np.zeros(0))
    steps: int = 0
    refused: int = 0


@dataclass(frozen=True)
class Problem:
    """What is solved: a plan on its mesh, and of each of M members the kinetics, the room, how much warmer the mix is
    than planned, K (M,), the factors on the faces' coefficients, and where its core probe sits."""

    plan: Plan
    section: Section
    chem: Chemistry
    room: RoomSchedule
    start_offset_c: Floats
    factors: Factors
    probe: ProbePosition
    #: How liquid resin moves, and how strongly in each member (M,); None: at rest in all of them.
    flow: Flow | None = None
    flow_factor: Floats | None = None

    @property
    def moves(self) -> bool:
        """Whether the liquid moves in any member."""
        return self.flow is not None and self.flow_factor is not None and bool(np.any(self.flow_factor))

    @property
    def members(self) -> int:
        """M, the number of members."""
        return len(self.start_offset_c)


@dataclass(frozen=True)
class SolverRun:
    """How far a problem is solved, h, how exactly, and at which hours the whole fields are kept.

    stop: a rule by which every member may end sooner; that a peak is past is asked only once nothing more is done to
    the pour.
    """

    hours: float
    snapshots_h: Sequence[float] = ()
    accuracy: Accuracy = FULL_ACCURACY
    stop: StopRule | None = None


def simulate(
    problem: Problem, run: SolverRun, changes: Sequence[Intervention] = (), start: Checkpoint | None = None
) -> Simulation:
    """Solve every member from the start (or a checkpoint) to `run.hours`. Raises DidNotConverge, BadInput."""
    result, hours = Simulation(), run.hours
    state = _State(problem, start)
    in_order = sorted(changes, key=lambda c: c.at_h)
    times = _times_h(problem.plan, 0.0 if start is None else start.hours, run, changes)
    shots_h = {float(h) for h in run.snapshots_h}
    for begin, end in itertools.pairwise(times):
        state.pour_due_layers(begin)
        applied = [c for c in in_order if c.at_h <= begin]
        if begin in shots_h:
            result.snapshots.append(state.snapshot(begin))
        interval = state.interval(applied, begin)
        stop = run.stop if run.stop is None or end >= hours else StopRule(run.stop.beyond_k)
        march = March(interval, problem.chem, problem.room, run.accuracy, stop)
        march.run(state.fields, end * SECONDS_PER_HOUR, result.track)
        if stop is not None and (state.fields.time_s < end * SECONDS_PER_HOUR).all():
            hours = float(state.fields.time_s.max()) / SECONDS_PER_HOUR
            break
    if hours in shots_h:
        result.snapshots.append(state.snapshot(hours))
    fields = state.fields
    result.end = Checkpoint(hours, fields.t_k, fields.alpha, fields.step_s, state.layers)
    result.steps, result.refused = fields.steps, fields.refused
    result.heat_balance_error = state.heat_balance_error()
    return result


class _State:
    """A pour between two intervals: its fields, how many layers are poured, and the interval built last."""

    def __init__(self, problem: Problem, start: Checkpoint | None) -> None:
        self._problem = problem
        self._losses = heat_losses_of(problem.plan, problem.section)
        if start is None:
            self.fields, self.layers = _poured(problem), 1
        else:
            self.fields, self.layers = _resumed(start, problem.section, problem.members), start.layers
        #: What the heat balance counts from.
        self._first_t, self._first_alpha = self.fields.t_k.copy(), self.fields.alpha.copy()
        self._interval: Interval | None = None
        #: Layers and changes of the coefficients in the interval; changes of all kinds and the plan's absorbed heat.
        self._built: tuple[int, int] = (0, 0)
        self._heated: tuple[int, float] = (0, 0.0)

    def pour_due_layers(self, at_h: float) -> None:
        """Pour the layers that are due by at_h onto the last, each at its own start temperature."""
        plan, section = self._problem.plan, self._problem.section
        due = 1 + sum(layer.at_h <= at_h for layer in plan.layer)
        while self.layers < due:
            mix_k = _mix_k(self._problem, plan.layer[self.layers - 1].start_c, at_h)
            rows = slice(section.layer_tops[self.layers - 1], section.layer_tops[self.layers])
            for t_k in (self.fields.t_k, self._first_t):
                t_k[:, rows, : section.resin_columns] = mix_k[:, None, None]
            self.fields.step_s = np.minimum(self.fields.step_s, _first_step_s(section))
            self.layers += 1

    def interval(self, applied: Sequence[Intervention], at_h: float) -> Interval:
        """Return the interval that begins at at_h, after what was done to the pour; built only when it differs."""
        problem = self._problem
        absorbed, taken = _absorbed_w_m2(problem.plan, applied, at_h, problem.members)
        built = (self.layers, sum(not c.only_heats for c in applied))
        if self._interval is None or built != self._built:
            losses, factors = _as_changed(problem, self._losses, applied)
            self._built = built
            self._interval = interval_of(
                problem.section, self.layers, losses, factors, problem.probe, taken, apart=problem.moves
            )
            self._interval.motion = self._motion(self._interval)
        elif (len(applied), absorbed) != self._heated:
            self._interval = absorbing(self._interval, taken)
        self._heated = (len(applied), absorbed)
        return self._interval

    def _motion(self, interval: Interval) -> Motion | None:
        """Return the liquid's motion in an interval; None where it is at rest."""
        problem = self._problem
        if not problem.moves or problem.flow is None or problem.flow_factor is None:
            return None
        lines = interval.z_lines, interval.x_lines
        return motion_of(problem.section, self.layers, problem.flow, problem.flow_factor.copy(), *lines)

    def snapshot(self, hours: float) -> Snapshot:
        """Return a copy of the fields as they are at `hours`."""
        fields = self.fields
        return Snapshot(hours, self.layers, fields.t_k - ZERO_CELSIUS_K, fields.alpha.copy())

    def heat_balance_error(self) -> Floats:
        """Return |stored + lost − generated| over the largest of the three, (M,)."""
        section, fields = self._problem.section, self.fields
        capacity = section.capacity.copy()
        active, wet = section.layer_tops[self.layers - 1], section.resin_columns
        capacity[active:, :wet] = 0.0
        stored = ((fields.t_k - self._first_t) * capacity).sum(axis=(1, 2))
        resin = section.capacity[section.panel_rows :, :wet]
        cured = fields.alpha - self._first_alpha
        generated = (cured * resin * self._problem.chem.rise_k).sum(axis=(1, 2))
        lost = fields.heat_out_j
        scale = np.maximum(np.maximum(np.abs(generated), np.abs(stored)), np.maximum(np.abs(lost), 1e-9))
        return np.asarray(np.abs(stored + lost - generated) / scale)


def _resumed(start: Checkpoint, section: Section, members: int) -> Fields:
    """Return the state of a checkpoint. Raises BadInput where it is of another mesh."""
    if start.t_k.shape != (members, section.rows, section.columns):
        raise BadInput(
            "checkpoint",
            fact("checkpoint-of-other-mesh"),
            value=start.t_k.shape,
            remedy=fact("start-from-same-plan"),
        )
    return Fields(
        np.full(members, start.hours * SECONDS_PER_HOUR),
        start.t_k.copy(),
        start.alpha.copy(),
        start.step_s.copy(),
        np.zeros(members),
    )


def _absorbed_w_m2(
    plan: Plan, applied: Sequence[Intervention], at_h: float, members: int
) -> tuple[float, Floats | float]:
    """Return what the top absorbs at an hour by the plan, and with what was done to the pour."""
    absorbed = sum(q.absorbed_w_m2 for q in plan.heat if q.from_h <= at_h < q.to_h)
    more = [c.absorbed_w_m2 for c in applied if c.absorbed_w_m2 is not None]
    taken = absorbed + np.broadcast_to(more[-1], (members,))[:, None] if more else absorbed
    return absorbed, taken


def _times_h(plan: Plan, from_h: float, run: SolverRun, changes: Sequence[Intervention]) -> list[float]:
    """Return the hours between which intervals lie: the two ends, and whenever something is poured, done, heated or
    kept as a snapshot."""
    stops = {c.at_h for c in changes} | {layer.at_h for layer in plan.layer} | set(run.snapshots_h)
    stops |= {h for heat in plan.heat for h in (heat.from_h, heat.to_h)}
    return [from_h, *sorted(h for h in stops if from_h < h < run.hours), run.hours]


def _first_step_s(section: Section) -> float:
    """Return the longest first step after a pour: cold panel and warm resin meet in the finest cell beside them."""
    wet = section.dz[section.panel_rows :].min()
    if section.shape != "sheet":
        wet = min(wet, section.dx[: section.resin_columns].min())
    return min(_FIRST_STEP_S, 0.5 * float(wet) ** 2 / section.resin.diffusivity)


def _mix_k(problem: Problem, start_c: float | None, at_h: float) -> Floats:
    """Return the mix's temperature when it is poured at at_h, K (M,): start_c, or the room's where that is None."""
    who = np.arange(problem.members)
    if start_c is None:
        mix_k = problem.room.at(np.full(len(who), at_h * SECONDS_PER_HOUR), who)
    else:
        mix_k = np.full(len(who), start_c + ZERO_CELSIUS_K)
    return np.asarray(mix_k + problem.start_offset_c)


def _poured(problem: Problem) -> Fields:
    """Return the first layer just poured into a form, and beside slabs, at the room's temperature."""
    section, members = problem.section, problem.members
    room_k = problem.room.at(np.zeros(members), np.arange(members))
    t_k = np.empty((members, section.rows, section.columns))
    t_k[:] = room_k[:, None, None]
    mix_k = _mix_k(problem, problem.plan.pour.start_c, 0.0)
    t_k[:, section.panel_rows : section.layer_tops[0], : section.resin_columns] = mix_k[:, None, None]
    alpha = np.zeros((members, section.rows - section.panel_rows, section.resin_columns))
    return Fields(np.zeros(members), t_k, alpha, np.full(members, _first_step_s(section)), np.zeros(members))


def _as_changed(
    problem: Problem, losses: HeatLosses, applied: Sequence[Intervention]
) -> tuple[HeatLosses, Factors]:
    """Return how the faces shed heat, and by which factors, after what was done to the pour."""
    plan, factors = problem.plan, problem.factors
    air: dict[str, object] = {}
    form: dict[str, object] = {}
    top, bottom = factors.top, factors.bottom
    for change in applied:
        for name in ("top_w_m2k", "bottom_w_m2k", "top_air_m_s"):
            value = getattr(change, name)
            if value is not None:
                air[name] = value
        if change.underside is not None:
            form["underside"] = change.underside
        if change.top_factor is not None:
            top = np.broadcast_to(np.asarray(change.top_factor, dtype=float), top.shape).copy()
        if change.bottom_factor is not None:
            bottom = np.broadcast_to(np.asarray(change.bottom_factor, dtype=float), bottom.shape).copy()
    if air or form:
        plan = plan.model_copy(
            update={"air": plan.air.model_copy(update=air), "form": plan.form.model_copy(update=form)}
        )
        losses = heat_losses_of(plan, problem.section)
    return losses, Factors(top, bottom, factors.side)
