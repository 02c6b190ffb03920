"""The course of a pour: a plan and its members through every stage (layers, sun, fans), from mixing to the end."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from logger.arrays import Floats
from logger.cure.model.kinetics import Chemistry
from logger.cure.solver.boundary import HeatLosses, heat_losses_of
from logger.cure.solver.march import Accuracy, Enough, Fields, History, Interval, March
from logger.cure.solver.mesh import Section
from logger.cure.solver.operators import Factors, ProbePosition, absorbing, interval_of
from logger.cure.solver.room import RoomSchedule
from logger.errors import BadInput
from logger.plan.file import Plan
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
    """What a march gave: readings, fields at the hours asked for, the end, and the heat balance (M,)."""

    track: History = field(default_factory=History)
    snapshots: list[Snapshot] = field(default_factory=list)
    end: Checkpoint | None = None
    heat_balance_error: Floats = field(default_factory=lambda: np.zeros(0))
    steps: int = 0
    refused: int = 0


def run_course(
    plan: Plan,
    section: Section,
    chem: Chemistry,
    room: RoomSchedule,
    *,
    start_offset_c: Floats,
    factors: Factors,
    probe: ProbePosition,
    hours: float,
    snapshots_h: Sequence[float] = (),
    changes: Sequence[Intervention] = (),
    accuracy: Accuracy | None = None,
    start: Checkpoint | None = None,
    enough: Enough | None = None,
) -> Simulation:
    """March every member from the start (or a checkpoint) to `hours`. Raises DidNotConverge, BadInput.

    enough: where every member may end sooner; that a peak is past is asked only once nothing more is done to the pour.
    """
    accuracy = accuracy or Accuracy()
    members = len(start_offset_c)
    course, shedding = Simulation(), heat_losses_of(plan, section)
    if start is None:
        fields, layers, from_h = _poured(plan, section, room, start_offset_c), 1, 0.0
    else:
        fields, layers, from_h = _resumed(start, section, members), start.layers, start.hours
    first_t, first_alpha = fields.t_k.copy(), fields.alpha.copy()
    doings = sorted(changes, key=lambda c: c.at_h)
    times = _times_h(plan, from_h, hours, snapshots_h, changes)
    stage: Interval | None = None
    key = heated = (0, 0.0)
    wanted = {float(h) for h in snapshots_h}
    for begin, end in itertools.pairwise(times):
        due = 1 + sum(layer.at_h <= begin for layer in plan.layer)
        while layers < due:
            _pour_next(plan, section, room, fields, first_t, layers, begin, start_offset_c)
            layers += 1
        applied = [c for c in doings if c.at_h <= begin]
        if begin in wanted:
            course.snapshots.append(_snapshot(fields, begin, layers))
        absorbed, taken = _absorbed_w_m2(plan, applied, begin, members)
        new_key = (layers, sum(not c.only_heats for c in applied))
        if stage is None or new_key != key:
            now, factored = _as_changed(plan, section, shedding, factors, applied)
            stage, key = interval_of(section, layers, now, factored, probe, taken), new_key
        elif (len(applied), absorbed) != heated:
            stage = absorbing(stage, taken)
        heated = (len(applied), absorbed)
        asked = enough if enough is None or end >= hours else Enough(enough.beyond_k)
        March(stage, chem, room, accuracy, asked).run(fields, end * SECONDS_PER_HOUR, course.track)
        if asked is not None and (fields.time_s < end * SECONDS_PER_HOUR).all():
            hours = float(fields.time_s.max()) / SECONDS_PER_HOUR
            break
    if hours in wanted:
        course.snapshots.append(_snapshot(fields, hours, layers))
    course.end = Checkpoint(hours, fields.t_k, fields.alpha, fields.step_s, layers)
    course.steps, course.refused = fields.steps, fields.refused
    course.heat_balance_error = _balance(section, chem, fields, first_t, first_alpha, layers)
    return course


def _resumed(start: Checkpoint, section: Section, members: int) -> Fields:
    """Return the state of a checkpoint. Raises BadInput where it is of another mesh."""
    if start.t_k.shape != (members, section.rows, section.columns):
        raise BadInput(
            "checkpoint",
            "does not fit this plan's mesh",
            value=start.t_k.shape,
            remedy="start from a checkpoint of the same plan",
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


def _times_h(
    plan: Plan, from_h: float, until_h: float, snapshots_h: Sequence[float], changes: Sequence[Intervention]
) -> list[float]:
    """From when until when, with every hour between at which something is poured, done, heated or looked at."""
    stops = {c.at_h for c in changes} | {layer.at_h for layer in plan.layer} | set(snapshots_h)
    stops |= {h for heat in plan.heat for h in (heat.from_h, heat.to_h)}
    return [from_h, *sorted(h for h in stops if from_h < h < until_h), until_h]


def _first_step_s(section: Section) -> float:
    """Cold panel and warm resin meet at once: the first step must not outrun the finest cell beside them."""
    wet = section.dz[section.panel_rows :].min()
    if section.shape != "sheet":
        wet = min(wet, section.dx[: section.resin_columns].min())
    return min(_FIRST_STEP_S, 0.5 * float(wet) ** 2 / section.resin.diffusivity)


def _poured(plan: Plan, section: Section, room: RoomSchedule, start_offset_c: Floats) -> Fields:
    members = len(start_offset_c)
    who = np.arange(members)
    room_k = room.at(np.zeros(members), who)
    t_k = np.empty((members, section.rows, section.columns))
    t_k[:] = room_k[:, None, None]
    mix_k = room_k if plan.pour.start_c is None else np.full(members, plan.pour.start_c + ZERO_CELSIUS_K)
    wet = slice(section.panel_rows, section.layer_tops[0]), slice(0, section.resin_columns)
    t_k[:, wet[0], wet[1]] = (mix_k + start_offset_c)[:, None, None]
    alpha = np.zeros((members, section.rows - section.panel_rows, section.resin_columns))
    return Fields(np.zeros(members), t_k, alpha, np.full(members, _first_step_s(section)), np.zeros(members))


def _pour_next(
    plan: Plan,
    section: Section,
    room: RoomSchedule,
    fields: Fields,
    first_t: Floats,
    layers: int,
    at_h: float,
    start_offset_c: Floats,
) -> None:
    """Pour the next layer onto the last, at its own start temperature."""
    layer = plan.layer[layers - 1]
    who = np.arange(len(fields.time_s))
    room_k = room.at(np.full(len(who), at_h * SECONDS_PER_HOUR), who)
    mix_k = room_k if layer.start_c is None else np.full(len(who), layer.start_c + ZERO_CELSIUS_K)
    rows = slice(section.layer_tops[layers - 1], section.layer_tops[layers])
    poured = (mix_k + start_offset_c)[:, None, None]
    fields.t_k[:, rows, : section.resin_columns] = poured
    first_t[:, rows, : section.resin_columns] = poured
    fields.step_s = np.minimum(fields.step_s, _first_step_s(section))


def _as_changed(
    plan: Plan, section: Section, sheds: HeatLosses, factors: Factors, applied: Sequence[Intervention]
) -> tuple[HeatLosses, Factors]:
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
        sheds = heat_losses_of(plan, section)
    return sheds, Factors(top, bottom, factors.side)


def _snapshot(fields: Fields, hours: float, layers: int) -> Snapshot:
    return Snapshot(hours, layers, fields.t_k - ZERO_CELSIUS_K, fields.alpha.copy())


def _balance(
    section: Section, chem: Chemistry, fields: Fields, first_t: Floats, first_alpha: Floats, layers: int
) -> Floats:
    """Return |stored + lost − generated| over the largest of the three, (M,)."""
    capacity = section.capacity.copy()
    active, wet = section.layer_tops[layers - 1], section.resin_columns
    capacity[active:, :wet] = 0.0
    stored = ((fields.t_k - first_t) * capacity).sum(axis=(1, 2))
    resin = section.capacity[section.panel_rows :, :wet]
    generated = ((fields.alpha - first_alpha) * resin * chem.rise_k).sum(axis=(1, 2))
    lost = fields.heat_out_j
    scale = np.maximum(np.maximum(np.abs(generated), np.abs(stored)), np.maximum(np.abs(lost), 1e-9))
    return np.asarray(np.abs(stored + lost - generated) / scale)
