"""Many solutions at once: members that differ in resin, coefficients, start, room and place of the probe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np

from logger.arrays import Floats
from logger.cure.model.crossing import first_crossing
from logger.cure.model.kinetics import EARLIEST_GEL, Chemistry, chemistry
from logger.cure.model.viscosity import USUAL_FLOW
from logger.cure.solver.fans import fan_effects, interventions_of, runs_of
from logger.cure.solver.march import CORE, CORE_CURE, HOTTEST, MEAN, SURFACE, UNDERSIDE, Resolution, StopRule
from logger.cure.solver.mesh import Section, section_of
from logger.cure.solver.operators import Factors, ProbePosition
from logger.cure.solver.room import RoomSchedule
from logger.cure.solver.simulation import (
    Checkpoint,
    Intervention,
    Problem,
    Simulation,
    Snapshot,
    SolverRun,
    simulate,
)
from logger.errors import BadInput
from logger.facts import fact
from logger.plan.file import Flow, Plan
from logger.quantities import hours_alone
from logger.units import SECONDS_PER_HOUR, ZERO_CELSIUS_K

__all__ = [
    "Checkpoint",
    "EnsembleResult",
    "EnsembleRun",
    "Intervention",
    "Members",
    "RoomHistory",
    "run_ensemble",
]


#: Cells and steps of an ensemble for which nothing else is asked.
ENSEMBLE = Resolution(0.8)


@dataclass(frozen=True)
class Members:
    """What distinguishes the members: arrays (M,) or numbers, all broadcast to one M.

    rate_factor multiplies k1 and k2 at 25 °C; heat_factor the heat of cure; e_factor both activation energies (rates at
    25 °C kept); first_factor k1 once more (the cure before it feeds itself). top_factor, bottom_factor, side_factor
    multiply the coefficients, given or computed. start_offset_c adds to the start of every layer, room_offset_c to the
    room (form and slabs start with it). probe_x_mm: the core probe's distance from the centre line; probe_z_mm: its
    height above mid-depth of the first layer, negative below. Both are kept inside the resin. flow_factor: how
    strongly liquid resin moves, 0 at rest, 1 as the correlations say; None: 1 where the plan has [resin.flow], else 0.
    """

    rate_factor: Floats | float = 1.0
    heat_factor: Floats | float = 1.0
    e_factor: Floats | float = 1.0
    top_factor: Floats | float = 1.0
    bottom_factor: Floats | float = 1.0
    side_factor: Floats | float = 1.0
    start_offset_c: Floats | float = 0.0
    room_offset_c: Floats | float = 0.0
    probe_x_mm: Floats | float = 0.0
    probe_z_mm: Floats | float = 0.0
    first_factor: Floats | float = 1.0
    flow_factor: Floats | float | None = None

    def arrays(self) -> dict[str, Floats]:
        """Every field as a float array (M,). Raises BadInput when they do not fit or are out of range."""
        names = [f.name for f in fields(self) if getattr(self, f.name) is not None]
        values = [np.atleast_1d(np.asarray(getattr(self, name), dtype=float)) for name in names]
        try:
            broad = np.broadcast_arrays(*values)
        except ValueError as error:
            raise BadInput(
                "members", fact("lengths-differ", error=str(error)), remedy=fact("give-m-values")
            ) from error
        arrays = {name: np.array(value) for name, value in zip(names, broad, strict=True)}
        for name, value in arrays.items():
            bad = ~np.isfinite(value)
            if name.endswith("_factor"):
                bad |= value < 0 if name != "rate_factor" else value <= 0
            if bad.any():
                raise BadInput(
                    f"members.{name}",
                    fact("is-out-of-range"),
                    value=float(value[bad][0]),
                    allowed=fact("finite-factors"),
                    remedy=fact("correct-the-prior"),
                )
        return arrays

    def __len__(self) -> int:
        """M, the number of members."""
        return len(self.arrays()["rate_factor"])


@dataclass(frozen=True)
class RoomHistory:
    """The room over time instead of the plan's: hours (K,) rising, celsius (K,) shared or (M, K) for each member.

    Straight between points, held constant before the first and after the last: measured so far, then forecast.
    """

    hours: Floats
    celsius: Floats


@dataclass(frozen=True)
class EnsembleResult:
    """Arrays (M, T) at `hours` (T,): temperatures °C, conversion 0–1; and per member (M,) the peaks.

    core_c is what the core probe reads at its own place. Peaks are of the whole run, not only at `hours`. gel_at_h:
    when the probe's place may gel at the earliest, NaN when it does not. end: where to go on from with `start=`.
    """

    hours: Floats
    core_c: Floats
    hottest_c: Floats
    surface_c: Floats
    underside_c: Floats
    mean_conversion: Floats
    core_conversion: Floats
    core_peak_c: Floats
    core_peak_at_h: Floats
    hottest_peak_c: Floats
    hottest_peak_at_h: Floats
    gel_at_h: Floats
    end_mean_conversion: Floats
    heat_balance_error: Floats
    end: Checkpoint
    steps: int = 0
    snapshots: list[Snapshot] = field(default_factory=list, repr=False)


@dataclass(frozen=True)
class EnsembleRun:
    """How far and how finely an ensemble is solved, and what is kept of it.

    hours: the end; None: the plan's own. output_hours (T,): where the curves are read; None: every five minutes or so.
    snapshots_h: when the whole fields are kept. stop: when a member has told what is asked of it.
    """

    hours: float | None = None
    output_hours: Sequence[float] | Floats | None = None
    snapshots_h: Sequence[float] = ()
    resolution: Resolution = ENSEMBLE
    stop: StopRule | None = None


def run_ensemble(
    plan: Plan,
    members: Members,
    run: EnsembleRun | None = None,
    *,
    room: RoomHistory | None = None,
    changes: Sequence[Intervention] = (),
    start: Checkpoint | None = None,
) -> EnsembleResult:
    """Solve every member of the plan.

    room: measured history and forecast in place of the plan's schedule. changes: what is done on the way (fans on,
    underside opened, …) beside the plan's fan. start: a Checkpoint of the same plan, fineness and number of members.
    Raises DidNotConverge, BadInput.
    """
    run = run or EnsembleRun()
    given = members.arrays()
    until = plan.run.hours if run.hours is None else float(run.hours)
    begin = 0.0 if start is None else start.hours
    if until <= begin:
        raise BadInput(
            "hours",
            fact("is-not-after-start"),
            value=until,
            allowed=fact("above-hours", least=hours_alone(begin)),
        )
    section = section_of(plan, run.resolution.fineness)
    if plan.fan:
        fans = interventions_of(plan, fan_effects(plan, runs_of(plan)), given["top_factor"])
        changes = [*fans, *changes]
    problem = Problem(
        plan,
        section,
        chemistry(
            plan.resin,
            rate_factor=given["rate_factor"],
            heat_factor=given["heat_factor"],
            e_factor=given["e_factor"],
            first_factor=given["first_factor"],
        ),
        room_of(plan, given["room_offset_c"], room),
        given["start_offset_c"],
        Factors(given["top_factor"], given["bottom_factor"], given["side_factor"]),
        probe_of(plan, section, given["probe_x_mm"], given["probe_z_mm"]),
        *flow_of(plan, len(given["rate_factor"]), given.get("flow_factor")),
    )
    result = simulate(
        problem, SolverRun(until, run.snapshots_h, run.resolution.accuracy, run.stop), changes, start
    )
    if run.output_hours is None:
        at = np.linspace(begin, until, 1 + max(2, min(600, round((until - begin) * 12))))
    else:
        at = np.asarray(run.output_hours, dtype=float)
    return _result(result, problem.members, at)


def flow_of(plan: Plan, members: int, factor: Floats | None = None) -> tuple[Flow | None, Floats | None]:
    """Return how a plan's liquid moves, and how strongly in each member (M,): `factor`, or as the plan says.

    A plan without [resin.flow] is at rest; where a factor is given all the same, its resin is a usual one.
    """
    flow = plan.resin.flow
    if factor is not None:
        return (USUAL_FLOW if flow is None else flow), factor
    return (None, None) if flow is None else (flow, np.ones(members))


def as_planned(
    plan: Plan, fineness: float, chem: Chemistry | None = None, flow_factor: float | None = None
) -> Problem:
    """Return the plan as it is, for each member of `chem` (None: one, with the plan's own resin)."""
    chem = chemistry(plan.resin) if chem is None else chem
    members = len(chem.rise_k)
    one, zero = np.ones(members), np.zeros(members)
    section = section_of(plan, fineness)
    return Problem(
        plan,
        section,
        chem,
        room_of(plan, zero, None),
        zero,
        Factors(one, one, one),
        probe_of(plan, section, zero, zero),
        *flow_of(plan, members, None if flow_factor is None else flow_factor * one),
    )


def room_of(plan: Plan, offset_c: Floats, history: RoomHistory | None) -> RoomSchedule:
    """Return the room of the plan, or a history in its place, with each member's offset (M,)."""
    if history is not None:
        hours = np.asarray(history.hours, dtype=float)
        celsius = np.atleast_2d(np.asarray(history.celsius, dtype=float))
        if celsius.shape[1] != len(hours) or celsius.shape[0] not in (1, len(offset_c)):
            raise BadInput(
                "room",
                fact("hours-and-celsius-differ"),
                value=(hours.shape, celsius.shape),
                allowed="(K,) with (K,) or (M, K)",
            )
        if len(hours) > 1 and np.any(np.diff(hours) <= 0):
            raise BadInput("room", fact("hours-must-rise"), remedy=fact("sort-readings"))
        return RoomSchedule(hours, celsius, offset_c)
    schedule = plan.room_schedule()
    return RoomSchedule(np.array([h for h, _ in schedule]), np.array([c for _, c in schedule]), offset_c)


def probe_of(plan: Plan, section: Section, x_mm: Floats, z_mm: Floats) -> ProbePosition:
    """Where each member's core probe sits, kept inside the first layer's resin."""
    depth = plan.pour.depth_mm / 1000.0
    half = section.x_edges[section.resin_columns]
    z = np.clip(0.5 * depth + np.asarray(z_mm) / 1000.0, 0.0, depth)
    return ProbePosition(np.clip(np.abs(np.asarray(x_mm)) / 1000.0, 0.0, half), z)


def _result(result: Simulation, count: int, at: Floats) -> EnsembleResult:
    """Return what `count` members read at the hours `at` (T,)."""
    assert result.end is not None  # simulate always sets it
    names = ("core", "hottest", "surface", "underside", "mean", "core_cure")
    picks = [CORE, HOTTEST, SURFACE, UNDERSIDE, MEAN, CORE_CURE]
    read = np.empty((len(names), count, len(at)))
    peaks = np.empty((count, 4))
    gel = np.full(count, np.nan)
    last = np.empty(count)
    for i, (time_s, reading) in enumerate(result.track.by_member(count)):
        hours = time_s / SECONDS_PER_HOUR
        read[:, i] = smooth(hours, reading[:, picks], at).T
        peaks[i, 0:2] = peak(hours, reading[:, CORE])
        peaks[i, 2:4] = peak(hours, reading[:, HOTTEST])
        gel_h = first_crossing(hours, reading[:, CORE_CURE], EARLIEST_GEL)
        gel[i] = np.nan if gel_h is None else gel_h
        last[i] = reading[-1, MEAN]
    zero = ZERO_CELSIUS_K
    columns = dict(zip(names, read, strict=True))
    return EnsembleResult(
        hours=at,
        core_c=columns["core"] - zero,
        hottest_c=columns["hottest"] - zero,
        surface_c=columns["surface"] - zero,
        underside_c=columns["underside"] - zero,
        mean_conversion=columns["mean"],
        core_conversion=columns["core_cure"],
        core_peak_c=peaks[:, 0] - zero,
        core_peak_at_h=peaks[:, 1],
        hottest_peak_c=peaks[:, 2] - zero,
        hottest_peak_at_h=peaks[:, 3],
        gel_at_h=gel,
        end_mean_conversion=last,
        heat_balance_error=result.heat_balance_error,
        end=result.end,
        steps=result.steps,
        snapshots=result.snapshots,
    )


def smooth(hours: Floats, values: Floats, at: Floats) -> Floats:
    """Values (N,) or (N, K) at other hours: cubic Hermite with three-point slopes.

    Hours rise; where one is repeated, values jump.
    """
    if values.ndim == 1:
        return smooth(hours, values[:, None], at)[:, 0]
    if len(hours) < 3:
        return np.stack([np.interp(at, hours, column) for column in values.T], axis=1)
    span = np.maximum(np.diff(hours), 1e-12)[:, None]
    secant = np.diff(values, axis=0) / span
    slope = np.empty_like(values)
    slope[1:-1] = (secant[:-1] * span[1:] + secant[1:] * span[:-1]) / (span[1:] + span[:-1])
    slope[0], slope[-1] = secant[0], secant[-1]
    # Where an interval ends and the next begins (a layer poured) the two readings share an hour: keep the corner.
    corner = np.diff(hours) < 1e-9
    slope[:-1][corner] = np.concatenate([secant[:1], secant])[:-1][corner]
    slope[1:][corner] = np.concatenate([secant, secant[-1:]])[1:][corner]
    i = np.clip(np.searchsorted(hours, at, side="right") - 1, 0, len(hours) - 2)
    s = np.minimum(np.maximum((at - hours[i])[:, None] / span[i], 0.0), 1.0)
    a, b = values[i], values[i + 1]
    da, db = slope[i] * span[i], slope[i + 1] * span[i]
    return np.asarray(a + s * (da + s * (3.0 * (b - a) - 2.0 * da - db + s * (2.0 * (a - b) + da + db))))


def peak(hours: Floats, values: Floats) -> tuple[float, float]:
    """Return the highest value and its hour, by the parabola through the highest reading and its neighbours."""
    i = int(values.argmax())
    if not 0 < i < len(values) - 1:
        return float(values[i]), float(hours[i])
    h0, h2 = hours[i - 1] - hours[i], hours[i + 1] - hours[i]
    if h0 > -1e-9 or h2 < 1e-9:
        return float(values[i]), float(hours[i])
    d0, d2 = (values[i - 1] - values[i]) / h0, (values[i + 1] - values[i]) / h2
    bend = (d2 - d0) / (h2 - h0)
    if bend >= 0:
        return float(values[i]), float(hours[i])
    tilt = d0 - bend * h0
    shift = float(np.clip(-0.5 * tilt / bend, h0, h2))
    return float(values[i] + shift * (tilt + bend * shift)), float(hours[i] + shift)
