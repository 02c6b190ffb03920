"""The predicted curve of a plan: what `pourlog predict` prints and what a pour is compared with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger import extremes
from logger.arrays import Floats
from logger.cure.model.crossing import first_crossing
from logger.cure.model.history import time_to
from logger.cure.model.kinetics import EARLIEST_GEL, glass_transition_c
from logger.cure.solver.assumptions import assumptions
from logger.cure.solver.ensemble import as_planned, peak, smooth
from logger.cure.solver.fans import fan_effects, interventions_of, runs_of
from logger.cure.solver.march import (
    COARSE,
    CORE,
    CORE_CURE,
    HOT_CELL,
    HOTTEST,
    MEAN,
    SURFACE,
    UNDERSIDE,
    Accuracy,
    StopRule,
)
from logger.cure.solver.mesh import Section, section_of
from logger.cure.solver.simulation import Snapshot, SolverRun, simulate
from logger.facts import Fact, fact
from logger.plan.file import Plan
from logger.quantities import at_most, difference, hours_alone, length, quantity, temperature
from logger.units import SECONDS_PER_HOUR, ZERO_CELSIUS_K

#: Raised when the solver's answers change, so that a frozen prediction says which model made it.
MODEL_VERSION = "2"

#: Spacing of the curve, h: never coarser, and never more than so many points.
CURVE_STEP_H = 5.0 / 60.0
CURVE_POINTS = 700
#: Digits of its hours.
HOUR_DIGITS = 5

#: A pour that has warmed by less than this by the end of the run has no peak to speak of, K.
STILL_WARMING_K = 1.0
#: Relative error of the heat balance above which the plan is solved again with shorter steps.
BALANCE = 1e-4
#: The same, and how far a finer mesh may move the peak, K, where liquid resin moves: the motion is known less well.
BALANCE_MOVING, MOVED_MOVING_K = 1e-3, 0.5

#: By how much each of these closes the balance better than the one before, about: 2.1 to 2.7 on a plan that runs away.
RUNG = 2.3
TIGHTER = (
    Accuracy(),
    Accuracy(kelvin=0.01, part_of_rise=4e-4, conversion=1e-4, longest_s=2100.0),
    Accuracy(kelvin=0.003, part_of_rise=2e-4, conversion=3e-5, longest_s=1100.0),
    Accuracy(kelvin=0.001, part_of_rise=1e-4, conversion=1e-5, longest_s=725.0),
    Accuracy(kelvin=0.0005, part_of_rise=5e-5, conversion=5e-6, longest_s=360.0),
)

#: What one solution on a finer mesh may cost: its steps times its `Section.work`. Half a minute on a desktop's core; a
#: single layer that runs away stays under it on the finest mesh, many layers within one another's heat do not.
MOST_WORK = 1.1e10
TOO_MANY_CELLS = fact("solved-coarsely")

#: Once all of it is cured so far and cools, a pour's peak is past.
PEAK_PAST = 0.6
#: A peak so near to the limit is solved as `predict` does before it counts, K.
NEAR_K = 2.0
#: A run that is asked only whether it keeps a limit ends so much over it, K.
SEEN_K = 5.0
#: A resin that is not at 60 % so long after it was poured has no peak to wait for, h.
LONGEST_AHEAD_H = 240.0

#: Activation energies outside these are unusual for room-temperature amines, J/mol (published values 44–63 kJ/mol
#: and 90–103 kJ/mol for the uncatalysed path; 40–80 is this project's band for a warning).
USUAL_E_J_MOL = (40_000.0, 80_000.0)


@dataclass(frozen=True)
class Curve:
    """Columns over time, (T,) each: hours, °C, conversion 0–1."""

    hours: Floats
    core_c: Floats
    hottest_c: Floats
    surface_c: Floats
    underside_c: Floats
    mean_conversion: Floats
    core_conversion: Floats


@dataclass(frozen=True)
class Field:
    """The cross-section at an hour, to draw: x (C,) and z (R,) of the cell centres in mm, their edges (C + 1,),
    (R + 1,), temperature °C and conversion (R, C; NaN outside the resin), is_resin (R, C), is_there (R, C: False
    where a layer is not poured yet)."""

    hours: float
    x_mm: Floats
    z_mm: Floats
    x_edges_mm: Floats
    z_edges_mm: Floats
    temperature_c: Floats
    conversion: Floats
    is_resin: NDArray[np.bool_]
    is_there: NDArray[np.bool_]


@dataclass(frozen=True)
class Prediction:
    """What the plan is predicted to do. °C, h, mm, conversion 0–1.

    peak_c: hottest point of the resin at any time, at hottest_x_mm from the centre line and hottest_z_mm above the
    bottom of the resin. gel_at_h: the earliest hour at which the core may gel, None when it does not within
    the run. tg_c: glass transition of the mean conversion at the end. heat_balance_error: relative.
    """

    peak_c: float
    peak_at_h: float
    hottest_x_mm: float
    hottest_z_mm: float
    core_peak_c: float
    core_peak_at_h: float
    gel_at_h: float | None
    end_mean_conversion: float
    end_least_conversion: float
    end_tg_c: float
    curve: Curve
    heat_balance_error: float
    warnings: tuple[str, ...]
    fields: tuple[Field, ...] = ()
    steps: int = 0

    def to_json(self) -> dict[str, object]:
        """Return the command line's JSON object, with plain numbers and lists."""
        curve = self.curve
        return {
            "peak_c": round(self.peak_c, 3),
            "peak_at_h": round(self.peak_at_h, 4),
            "hottest": {"x_mm": round(self.hottest_x_mm, 2), "z_mm": round(self.hottest_z_mm, 2)},
            "gel_at_h": None if self.gel_at_h is None else round(self.gel_at_h, 4),
            "end": {
                "mean_conversion": round(self.end_mean_conversion, 5),
                "least_conversion": round(self.end_least_conversion, 5),
                "tg_c": round(self.end_tg_c, 2),
            },
            "curve": {
                "hours": [round(v, HOUR_DIGITS) for v in curve.hours.tolist()],
                "core_c": [round(v, 3) for v in curve.core_c.tolist()],
                "hottest_c": [round(v, 3) for v in curve.hottest_c.tolist()],
                "surface_c": [round(v, 3) for v in curve.surface_c.tolist()],
                "underside_c": [round(v, 3) for v in curve.underside_c.tolist()],
                "mean_conversion": [round(v, 6) for v in curve.mean_conversion.tolist()],
            },
            "heat_balance_error": self.heat_balance_error,
            "warnings": list(self.warnings),
        }


def predict(
    plan: Plan,
    *,
    field_hours: Sequence[float] = (),
    fineness: float = 1.0,
    accuracy: Accuracy | None = None,
    stop: StopRule | None = None,
    flow_factor: float | None = None,
) -> Prediction:
    """Solve the plan. field_hours: hours at which the whole cross-section is wanted, within the run.

    fineness multiplies the cells in each direction. Without `accuracy` the plan is solved again on finer meshes when
    it runs away, until the peak stands, and with shorter steps when the heat balance does not close to 1e-4;
    what cannot be settled, or not within MOST_WORK, is said in the warnings. stop: with `accuracy`, the run may end
    there. flow_factor: 0 with the liquid at rest, 1 in motion (of a usual resin where the plan has no [resin.flow]);
    None: in motion where the plan has it. Raises DidNotConverge.
    """
    if accuracy is not None:
        return _solved(plan, field_hours, fineness, accuracy, stop, flow_factor)
    moves = as_planned(plan, COARSE.fineness, flow_factor=flow_factor).moves
    balance = BALANCE_MOVING if moves else BALANCE
    computed = _computed(plan)
    # A computed coefficient is carried by its trend, second order only: it wants the shorter steps at once.
    steps = list(TIGHTER[1:] if computed else TIGHTER)

    def settled(times: float) -> Prediction:
        solved = _solved(plan, field_hours, times * fineness, steps[0], None, flow_factor)
        while solved.heat_balance_error > balance and len(steps) > 1:
            # Each rung divides what is missing by some 2.3: those that cannot suffice are left out.
            rungs = math.ceil(math.log(solved.heat_balance_error / balance) / math.log(RUNG))
            del steps[: min(rungs, len(steps) - 1)]
            solved = _solved(plan, field_hours, times * fineness, steps[0], None, flow_factor)
        return solved

    solved = settled(1.0)
    rise = solved.peak_c - solved.curve.core_c[0]
    if not extremes.is_runaway(solved.peak_c):
        # Near the cliff every small error grows: once it warms much, a finer mesh must say the same.
        meshes, allowed = [1.5, 2.2], MOVED_MOVING_K if moves else 0.1
        doubtful = rise > 25.0
    else:
        # A reaction front that runs into a cooled corner overheats a spot thinner than a cell: only there, and
        # only in a runaway, does the peak hang on the mesh.
        meshes, allowed = [2.0] if computed else [2.0, 3.5, 5.0], 0.007 * rise
        doubtful = solved.peak_c - solved.core_peak_c > 0.02 * rise
    moved = 0.0
    for times in meshes if doubtful else []:
        if solved.steps * section_of(plan, times * fineness).work > MOST_WORK:
            return replace(solved, warnings=(*solved.warnings, TOO_MANY_CELLS))
        again = settled(times)
        moved = abs(again.peak_c - solved.peak_c)
        solved = again
        if moved <= allowed:
            return solved
    if moved <= 5.0 * allowed:
        return solved
    note = fact("hottest-spot-rough", within=difference(moved, 0))
    return replace(solved, warnings=(*solved.warnings, note))


def predict_coarsely(
    plan: Plan, field_hours: Sequence[float] = (), stop: StopRule | None = None
) -> Prediction:
    """Return the plan solved with long steps on a coarse mesh, in a quarter of the time: for searches, whose answer
    `predict` then proves. Peaks are some tenths of a kelvin off, more where a plan is about to run away. Raises
    DidNotConverge.
    """
    return predict(
        plan, field_hours=field_hours, fineness=COARSE.fineness, accuracy=COARSE.accuracy, stop=stop
    )


def coarse_peak_c(plan: Plan, beyond_c: float) -> float:
    """Return the peak by long steps, °C; one beyond beyond_c is only seen to pass it. Raises DidNotConverge."""
    return predict_coarsely(plan, stop=stop_after_peak(plan, beyond_c)).peak_c


def proven_peak_c(plan: Plan, limit_c: float) -> float:
    """Return the peak as `predict` gives it where it lies near the limit, °C. Further off, where neither a finer mesh
    nor shorter steps can bring it to the other side, that of one solution. Raises DidNotConverge.
    """
    first = TIGHTER[1] if _computed(plan) else TIGHTER[0]
    once = predict(plan, accuracy=first, stop=stop_after_peak(plan, limit_c + SEEN_K)).peak_c
    return predict(plan).peak_c if abs(once - limit_c) <= NEAR_K else once


def stop_after_peak(plan: Plan, beyond_c: float) -> StopRule:
    """When a run has told its peak, or that it passes beyond_c: in a room that does not change, what has cured so far,
    and cools, never again warms itself; a rate α^m (1 − α)^n falls from α = m / (m + n) on."""
    rate, constant = plan.resin.rate, len(plan.room_schedule()) == 1
    # At m = n = 0 the rate falls nowhere before all of it is cured.
    falls_from = rate.m / (rate.m + rate.n) if rate.m + rate.n > 0 else 1.0
    cured = max(PEAK_PAST, falls_from) if constant else math.inf
    return StopRule(beyond_c + ZERO_CELSIUS_K, cured)


def _computed(plan: Plan) -> bool:
    """Whether any coefficient is computed."""
    air = plan.air
    return air.top_w_m2k is None or air.bottom_w_m2k is None or air.side_w_m2k is None


def long_enough(plan: Plan) -> Plan:
    """Return the plan run far enough to see its peak: to PEAK_PAST of the last layer at the coldest room there is, or
    to 240 h after that layer, and never less far than the plan says.
    """
    coldest = min(c for _, c in plan.room_schedule())
    needed = time_to(PEAK_PAST, coldest, plan.resin.rate)
    ahead = LONGEST_AHEAD_H if needed is None else min(1.2 * needed, LONGEST_AHEAD_H)
    last = max((layer.at_h for layer in plan.layer), default=0.0)
    return plan.model_copy(
        update={"run": plan.run.model_copy(update={"hours": max(plan.run.hours, last + ahead)})}
    )


def _solved(
    plan: Plan,
    field_hours: Sequence[float],
    fineness: float,
    accuracy: Accuracy,
    stop: StopRule | None = None,
    flow_factor: float | None = None,
) -> Prediction:
    """Return the plan solved once, on one mesh; field_hours: when the whole cross-section is kept."""
    problem = as_planned(plan, fineness, flow_factor=flow_factor)
    section = problem.section
    shots_h = sorted({min(max(float(h), 0.0), plan.run.hours) for h in field_hours})
    changes = interventions_of(plan, fan_effects(plan, runs_of(plan)), np.ones(1))
    result = simulate(problem, SolverRun(plan.run.hours, shots_h, accuracy, stop), changes)
    assert result.end is not None  # simulate always sets it
    time_s, reading = result.track.by_member(1)[0]
    hours = time_s / SECONDS_PER_HOUR
    peak_k, peak_h = peak(hours, reading[:, HOTTEST])
    core_k, core_h = peak(hours, reading[:, CORE])
    gel_h = first_crossing(hours, reading[:, CORE_CURE], EARLIEST_GEL)
    row, column = divmod(int(reading[reading[:, HOTTEST].argmax(), HOT_CELL]), section.resin_columns)
    alpha = result.end.alpha[0, : section.layer_tops[result.end.layers - 1] - section.panel_rows]
    mean = float(reading[-1, MEAN])
    warnings = warnings_of(plan, peak_k - ZERO_CELSIUS_K)
    if problem.moves:
        warnings.append(fact("liquid-moves"))
    if peak_h >= plan.run.hours and reading[-1, HOTTEST] > reading[0, HOTTEST] + STILL_WARMING_K:
        warnings.append(fact("still-warming", run=hours_alone(plan.run.hours)))
    zero_k = ZERO_CELSIUS_K
    # A sheet has one column, 1 m wide in the mesh; its hottest place is anywhere across.
    x_mm = 0.0 if section.shape == "sheet" or column == 0 else 1000.0 * float(section.x[column])
    return Prediction(
        peak_c=peak_k - zero_k,
        peak_at_h=peak_h,
        hottest_x_mm=x_mm,
        hottest_z_mm=1000.0 * float(section.z[section.panel_rows + row]),
        core_peak_c=core_k - zero_k,
        core_peak_at_h=core_h,
        gel_at_h=gel_h,
        end_mean_conversion=mean,
        end_least_conversion=float(alpha.min()),
        end_tg_c=float(glass_transition_c(mean, plan.resin.glass)),
        curve=_curve(hours, reading, result.end.hours),
        heat_balance_error=float(result.heat_balance_error[0]),
        warnings=tuple(warnings),
        fields=tuple(field_of(section, shot) for shot in result.snapshots),
        steps=result.steps,
    )


def _curve(hours: Floats, reading: Floats, until_h: float) -> Curve:
    """Return the curve of one member's readings (T, 12)."""
    at = _curve_hours(hours, reading[:, HOTTEST], until_h)
    core_k, hottest_k, surface_k, underside_k, mean, core_cure = (
        smooth(hours, reading[:, column], at)
        for column in (CORE, HOTTEST, SURFACE, UNDERSIDE, MEAN, CORE_CURE)
    )
    return Curve(
        at,
        core_k - ZERO_CELSIUS_K,
        hottest_k - ZERO_CELSIUS_K,
        surface_k - ZERO_CELSIUS_K,
        underside_k - ZERO_CELSIUS_K,
        np.clip(mean, 0.0, 1.0),
        np.clip(core_cure, 0.0, 1.0),
    )


def _curve_hours(hours: Floats, hottest: Floats, until_h: float) -> Floats:
    """Even spacing over the run, and the solver's own hours around the peak and wherever it turns sharply.

    To the digits in which they are told (HOUR_DIGITS), each once: two that fall together there do not rise, and what
    is compared with the curve asks that they do.
    """
    even = np.linspace(0.0, until_h, 1 + min(CURVE_POINTS, max(12, round(until_h / CURVE_STEP_H))))
    top = hottest.max() - hottest.min()
    near = hours[hottest > hottest.max() - 0.5 * top] if top > 1.0 else hours[:0]
    if len(near) > 300:
        near = near[:: len(near) // 300 + 1]
    apex = hours[[int(hottest.argmax())]]
    return np.unique(np.concatenate([even, near, apex]).round(HOUR_DIGITS))


def field_of(section: Section, shot: Snapshot) -> Field:
    """Return the first member of a snapshot, to draw."""
    is_resin = np.zeros((section.rows, section.columns), dtype=bool)
    is_there = np.ones_like(is_resin)
    active, wet = section.layer_tops[shot.layers - 1], section.resin_columns
    is_resin[section.panel_rows : active, :wet] = True
    is_there[active:, :wet] = False
    conversion = np.full(is_resin.shape, np.nan)
    conversion[section.panel_rows :, :wet] = shot.conversion[0]
    conversion[~is_resin] = np.nan
    temperature = np.where(is_there, shot.temperature_c[0], np.nan)
    return Field(
        shot.hours,
        1000.0 * section.x,
        1000.0 * section.z,
        1000.0 * section.x_edges,
        1000.0 * section.z_edges,
        temperature,
        conversion,
        is_resin,
        is_there,
    )


def warnings_of(plan: Plan, peak_c: float) -> list[Fact]:
    """Return what was assumed, and what lies outside the datasheet or the model's usual range."""
    runaway = extremes.caution(peak_c)
    warnings = [] if runaway is None else [runaway]
    warnings += assumptions(plan)
    hours = plan.run.hours
    late = [(n, layer.at_h) for n, layer in enumerate(plan.layer, 2) if layer.at_h >= hours]
    if late:
        number, at_h = late[0]
        warnings.append(fact("layer-after-run", layer=number, at=hours_alone(at_h), run=hours_alone(hours)))
    limits, rate = plan.resin.limits, plan.resin.rate
    for number, layer_mm in enumerate([plan.pour.depth_mm, *(layer.depth_mm for layer in plan.layer)], 1):
        if limits.max_depth_mm is not None and layer_mm > limits.max_depth_mm:
            warnings.append(
                fact(
                    "layer-too-deep",
                    layer=number,
                    depth=length(layer_mm, None),
                    allowed=at_most(length(limits.max_depth_mm, None)),
                )
            )
    room = [c for _, c in plan.room_schedule()]
    if min(room) < limits.min_room_c:
        warnings.append(
            fact(
                "room-below-sheet",
                room=temperature(min(room), None),
                least=temperature(limits.min_room_c, None),
            )
        )
    if max(room) > limits.max_room_c:
        warnings.append(
            fact(
                "room-above-sheet",
                room=temperature(max(room), None),
                most=temperature(limits.max_room_c, None),
            )
        )
    low, high = USUAL_E_J_MOL
    for name in ("e1_j_mol", "e2_j_mol"):
        value = getattr(rate, name)
        if not low <= value <= high:
            warnings.append(
                fact(
                    "unusual-energy",
                    name=name,
                    value=quantity(value, "J/mol", None),
                    low=quantity(low, "", None),
                    high=quantity(high, "J/mol", None),
                )
            )
    return warnings
