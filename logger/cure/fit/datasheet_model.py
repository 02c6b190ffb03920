"""The stated numbers of a datasheet as the solver gives them, for many candidate resins at once."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.arrays import Floats
from logger.cure.fit.datasheet import (
    CureTime,
    Datasheet,
    DeepestPour,
    GelTime,
    Mixture,
    Peak,
    Statement,
    WorkingTime,
    ends,
    specimen_plan,
)
from logger.cure.model.crossing import first_crossing
from logger.cure.model.diffusion import conversion_at_tg, slow_down
from logger.cure.model.history import conversion_along, cooled_to_room, time_to
from logger.cure.model.kinetics import EARLIEST_GEL, chemistry
from logger.cure.solver.ensemble import as_planned, peak
from logger.cure.solver.hardness import HARD_K, full_tg_c, thinned
from logger.cure.solver.march import COARSE, CORE, HOTTEST, MEAN, SURFACE, Accuracy, Resolution, StopRule
from logger.cure.solver.prediction import PEAK_PAST
from logger.cure.solver.simulation import SolverRun, simulate
from logger.facts import fact
from logger.plan.file import Plan, Rate, Resin
from logger.quantities import difference, percent, quantity
from logger.units import GAS_CONSTANT_J_MOL_K, REFERENCE_K, SECONDS_PER_HOUR, ZERO_CELSIUS_K

#: Mean conversion at which a mix is too thick to work: between 0.15 and 0.35. From memory, no source.
WORKABLE = 0.25
#: What "workable", "gelled" and "hard" leave open, as a natural logarithm of the time; added to the tolerance. Between
#: 0.15 and 0.35 of conversion the time is from 0.26 shorter to 0.19 longer (by the usual k2/k1), at a tenth, where the
#: mix is about twice as thick, 0.47 shorter; datasheets rarely say which they mean, and cups differ. A stated depth
#: says what is asked here, the peak of a pour: where both pull, it must count for more (this project's judgement).
WORK_SD, GEL_SD, CURE_SD = 0.40, 0.12, 0.30
#: And where a time of cure names no depth: a casting warms itself and is hard in two thirds of a film's time (from the
#: solver); which of both a datasheet means is left open.
NO_DEPTH_SD = 0.45
#: Tolerances where the statement gives none: times, rises. Common practice, no source.
TIME_PART, RISE_PART = 0.15, 0.12
#: How well a probe and the room beside it tell a rise at best, K (two probes of ±0.5 K).
PROBE_K = 0.7
#: A stated depth was chosen by its maker: the pour's rise is most likely this part of what the limit allows, less with
#: the first spread (as a natural logarithm: a margin, and rounded down to a depth that is easily said), more with the
#: second. This project's judgement, no source: nine in ten use between 11 % and 100 % of what the limit allows.
KEPT_PART, KEPT_SD, KEPT_SD_OVER = 0.50, 0.90, 0.42
#: How much higher such a pour rises for each kelvin of a warmer room, as a natural logarithm (from the solver).
RISE_PER_KELVIN = 0.10
#: How much faster such a mix cures for each kelvin, as a natural logarithm: 58 kJ/mol at 25 °C.
PER_KELVIN = 0.078
KEPT = fact("assumed-kept", part=percent(100.0 * KEPT_PART, 0))
SPREAD = fact(
    "assumed-spread",
    workable=quantity(WORKABLE, "", None),
    gelled=quantity(EARLIEST_GEL, "", 2),
    above=difference(HARD_K, None),
)


@dataclass(frozen=True)
class Observable:
    """One number that a statement gives. compared: what the logarithm is taken of, a time (h) or a rise (K).

    sd, sd_over: uncertainty of that logarithm, and where what is predicted is more (None: the same). bound: stated is
    the most that it may be; compared is where its maker will have kept it.
    """

    statement: Statement
    quantity: str
    unit: str
    stated: float
    compared: float
    sd: float
    bound: bool = False
    sd_over: float | None = None

    @property
    def in_cup(self) -> bool:
        """Whether its specimen is a mass in a cup."""
        return getattr(self.statement, "mass_kg", None) is not None

    def shown(self, value: float) -> float:
        """Return the predicted value in the unit in which it is stated."""
        return value + self.statement.at_c if self.unit == "°C" else value

    def isothermal_h(self, resin: Resin) -> float | None:
        """Hours that this would take if nothing warmed up; for the first guess."""
        return time_to(_level(self.statement, resin), self.statement.at_c, resin.rate)

    def curve(self, datasheet: Datasheet, theta: Floats) -> dict[str, Any] | None:
        """Return the fitted course of the specimen, to draw: hours, core_c, mean_conversion; once for each
        statement.
        """
        if self.quantity == "peak time":
            return None
        resin = resin_of(datasheet, theta)
        plan = plan_for(self.statement, [resin])
        if plan is None:
            hours = np.linspace(0.0, 2.0 * self.stated, 31)
            at = np.full(31, self.statement.at_c)
            return _curve(self, hours, at, conversion_along(hours, at, resin.rate, slow_down(resin))[0])
        if self.unit == "h":
            run = plan.run.model_copy(update={"hours": max(2.0 * self.stated, plan.run.hours)})
            plan = plan.model_copy(update={"run": run})
        track = _march(plan, theta[None, :])[0]
        pick = np.unique(np.linspace(0, len(track[0]) - 1, 80).astype(int))
        return _curve(self, track[0][pick], track[1][pick, CORE] - ZERO_CELSIUS_K, track[1][pick, MEAN])


def _curve(thing: Observable, hours: Floats, core_c: Floats, mean: Floats) -> dict[str, Any]:
    return {
        "statement": thing.statement.describe(),
        "hours": hours.round(4).tolist(),
        "core_c": core_c.round(2).tolist(),
        "mean_conversion": mean.round(4).tolist(),
    }


def resin_of(datasheet: Datasheet, theta: Floats) -> Resin:
    """Return the resin of one point theta (4,): ln k2, ln(k2/k1), E in kJ/mol, ln of the heat in J/g."""
    mixture = datasheet.mixture
    energy = float(np.clip(theta[2], 1.0, 199.0)) * 1000.0
    limits = datasheet.limits
    if limits.max_depth_mm is None and datasheet.deepest_pour:
        deepest = max(ends(pour.depth_mm)[1] for pour in datasheet.deepest_pour)
        limits = limits.model_copy(update={"max_depth_mm": deepest})
    return Resin(
        name=datasheet.name,
        density_kg_m3=mixture.density_kg_m3,
        specific_heat_j_kgk=mixture.specific_heat_j_kgk,
        conductivity_w_mk=mixture.conductivity_w_mk,
        heat_of_cure_j_g=float(np.exp(theta[3])),
        rate=Rate(
            k1_per_s=float(np.exp(theta[0] - theta[1])),
            k2_per_s=float(np.exp(theta[0])),
            e1_j_mol=energy,
            e2_j_mol=energy,
            m=mixture.m,
            n=mixture.n,
        ),
        limits=limits,
        glass=datasheet.glass,
    )


def workable_h(points: Floats, mixture: Mixture) -> Floats:
    """Hours at 25 °C, with no self-heating, until each point (N, P) is too thick to work: (N,)."""
    # In u = α^(1/3) the slow start of an autocatalytic cure is spread out; the midpoint rule is within 0.1 %.
    edges = np.linspace(0.0, np.cbrt(WORKABLE), 61)
    middle = 0.5 * (edges[1:] + edges[:-1])
    alpha = middle**3
    k2 = np.exp(points[:, 0])[:, None]
    rate = (k2 * np.exp(-points[:, 1])[:, None] + k2 * alpha**mixture.m) * (1.0 - alpha) ** mixture.n
    return np.asarray(np.sum(3.0 * middle**2 * np.diff(edges) / rate, axis=1) / SECONDS_PER_HOUR)


def observables_of(datasheet: Datasheet) -> list[Observable]:
    """Every number that the datasheet gives, with its uncertainty as a natural logarithm."""
    observables = []
    for s in datasheet.statements():
        if isinstance(s, WorkingTime):
            observables.append(_time(s, "working time", s.time_min, 60.0, WORK_SD))
        elif isinstance(s, GelTime):
            observables.append(_time(s, "gel time", s.time_min, 60.0, GEL_SD))
        elif isinstance(s, Peak):
            low, high = (end - s.at_c for end in ends(s.peak_c))
            rise, sd = _middle(low, high, _part(s, RISE_PART))
            sd = rise_sd(sd, rise)
            observables.append(Observable(s, "peak", "°C", rise + s.at_c, rise, sd))
            if s.time_min is not None:
                observables.append(_time(s, "peak time", s.time_min, 60.0, 0.0))
        elif isinstance(s, CureTime):
            open_sd = CURE_SD if s.depth_mm is not None else float(np.hypot(CURE_SD, NO_DEPTH_SD))
            observables.append(_time(s, "cure time", s.time_h, 1.0, open_sd))
        elif isinstance(s, DeepestPour):
            observables.append(_depth(s))
    return observables


#: For many draws, of which none counts by itself: times within 1 %, peaks within a kelvin.
ROUGH = Resolution(0.5, Accuracy(kelvin=0.4, part_of_rise=0.015, conversion=4e-3, rebuild_part=0.25))


def predicted(
    datasheet: Datasheet, things: list[Observable], points: Floats, *, roughly: bool = False
) -> Floats:
    """Each observable at each point: (N, observables), hours or kelvins of rise.

    roughly: for many draws; one that is hotter than anything stated is only seen to be so.
    """
    out = np.empty((len(points), len(things)))
    resins = [resin_of(datasheet, theta) for theta in points]
    done: dict[int, Floats] = {}
    # Working time, gel time and peak of one cup are one march, as far as the last of them needs.
    specimens: dict[tuple[Any, ...], list[tuple[Statement, Plan]]] = {}
    for statement in {id(thing.statement): thing.statement for thing in things}.values():
        plan = plan_for(statement, resins)
        if plan is None:
            done[id(statement)] = _film_values(statement, resins)
        else:
            specimens.setdefault((plan.pour, plan.form, plan.air), []).append((statement, plan))
    for same in specimens.values():
        plan = max((plan for _, plan in same), key=lambda plan: plan.run.hours)
        stop = _stop([statement for statement, _ in same], roughly=roughly)
        tracks = _march(plan, points, stop, ROUGH if roughly else COARSE)
        for statement, _ in same:
            done[id(statement)] = _statement_values(statement, resins, tracks)
    for j, thing in enumerate(things):
        out[:, j] = done[id(thing.statement)][:, 1 if thing.quantity == "peak time" else 0]
    return out


def _film_values(statement: Statement, resins: list[Resin]) -> Floats:
    """(N, 2): hours at the room's temperature, and nothing."""
    out = np.full((len(resins), 2), np.nan)
    for i, resin in enumerate(resins):
        slow = slow_down(resin) if isinstance(statement, CureTime) else None
        reached = time_to(_level(statement, resin), statement.at_c, resin.rate, slow)
        out[i, 0] = _NEVER_H if reached is None else reached
    return out


def _statement_values(
    statement: Statement, resins: list[Resin], tracks: list[tuple[Floats, Floats]]
) -> Floats:
    """(N, 2): the statement's main value, and the time of its peak."""
    out = np.full((len(resins), 2), np.nan)
    for i, (hours, reading) in enumerate(tracks):
        if isinstance(statement, (WorkingTime, GelTime)):
            out[i, 0] = _reached(hours, reading[:, MEAN], _level(statement, resins[i]))
        elif isinstance(statement, CureTime):
            out[i, 0] = _hard_h(statement, resins[i], hours, reading[:, SURFACE] - ZERO_CELSIUS_K)
        else:
            column = CORE if isinstance(statement, Peak) else HOTTEST
            top_k, top_h = peak(hours, reading[:, column])
            out[i] = max(top_k - ZERO_CELSIUS_K - statement.at_c, 0.05), max(top_h, 1e-4)
    return out


#: Stands for "not within 60 days" in a logarithm, h.
_NEVER_H = 5000.0


def _reached(hours: Floats, values: Floats, level: float) -> float:
    reached = first_crossing(hours, values, level)
    # Not reached within the run: as if it went on at its mean speed, so that the fit still feels a slope.
    return float(hours[-1] * level / max(values[-1], 1e-6)) if reached is None else reached


def _hard_h(statement: CureTime, resin: Resin, hours: Floats, surface_c: Floats) -> float:
    at, celsius = thinned(*_rising(hours, surface_c))
    slow = slow_down(resin)
    alpha = conversion_along(at, celsius, resin.rate, slow)
    later, cure = cooled_to_room(at, alpha, statement.at_c, resin.rate, slow)
    hard_h = first_crossing(later, cure[0], _level(statement, resin))
    return _NEVER_H if hard_h is None else hard_h


def _rising(hours: Floats, values: Floats) -> tuple[Floats, Floats]:
    rises = np.concatenate([[True], np.diff(hours) > 1e-9])
    return hours[rises], values[rises]


def _level(statement: Statement, resin: Resin) -> float:
    """Return the conversion at which the statement's time is over."""
    if isinstance(statement, GelTime):
        return EARLIEST_GEL
    if isinstance(statement, CureTime):
        tg_c = statement.at_c + HARD_K if statement.to == "hard" else full_tg_c(statement.at_c, resin.glass)
        return float(np.clip(conversion_at_tg(tg_c, resin.glass), 0.05, 0.999))
    return WORKABLE if isinstance(statement, WorkingTime) else 0.4


def plan_for(statement: Statement, resins: list[Resin]) -> Plan | None:
    """Return the specimen of a statement, run far enough for the slowest of the resins; None for a thin film."""
    plan = specimen_plan(statement, resins[0].model_dump(exclude_none=True, mode="json"), 1.0)
    if plan is None:
        return None
    # A mix that warms itself is ahead of the isothermal cure: this horizon always reaches gel and peak.
    cured, longer = (WORKABLE + _BEYOND, 1.02) if isinstance(statement, WorkingTime) else (PEAK_PAST, 1.3)
    horizon = max(time_to(cured, statement.at_c, resin.rate) or 400.0 for resin in resins)
    hours = float(np.clip(longer * horizon, 0.2, 600.0))
    return plan.model_copy(update={"run": plan.run.model_copy(update={"hours": hours})})


def _stop(statements: list[Statement], *, roughly: bool) -> StopRule | None:
    """Return when a specimen has told all that these statements say of it; None: at the end of its run."""
    if any(isinstance(statement, CureTime) for statement in statements):
        return None
    beyond_k = max(_hot_c(statement) for statement in statements) + ZERO_CELSIUS_K if roughly else np.inf
    if not all(isinstance(statement, (WorkingTime, GelTime)) for statement in statements):
        return StopRule(beyond_k, cured=PEAK_PAST)
    gels = any(isinstance(statement, GelTime) for statement in statements)
    return StopRule(beyond_k, reached=(EARLIEST_GEL if gels else WORKABLE) + _BEYOND)


def _hot_c(statement: Statement) -> float:
    """Return a temperature that nothing stated comes near: a draw that gets there is out of the question, °C."""
    if isinstance(statement, DeepestPour):
        return statement.stays_below_c + 60.0
    return 100.0 + (ends(statement.peak_c)[1] if isinstance(statement, Peak) else statement.at_c)


#: A march that is asked for a conversion goes on to so much more, so that the crossing is inside it.
_BEYOND = 0.02


def _march(
    plan: Plan, points: Floats, stop: StopRule | None = None, resolution: Resolution = COARSE
) -> list[tuple[Floats, Floats]]:
    """Hours and readings of every point on one specimen; the points are marched together."""
    b = np.clip(points[:, 2], 1.0, 199.0) * 1000.0 / GAS_CONSTANT_J_MOL_K

    def column(values: Floats) -> Floats:
        return np.ascontiguousarray(values).reshape(-1, 1, 1)

    heat = np.exp(points[:, 3]) / plan.resin.heat_of_cure_j_g
    chem = dataclasses.replace(
        chemistry(plan.resin, rate_factor=np.ones(len(points)), heat_factor=heat),
        log_k1=column(points[:, 0] - points[:, 1] + b / REFERENCE_K),
        log_k2=column(points[:, 0] + b / REFERENCE_K),
        b1=column(b),
        b2=column(b),
    )
    problem = as_planned(plan, resolution.fineness, chem)
    result = simulate(problem, SolverRun(plan.run.hours, accuracy=resolution.accuracy, stop=stop))
    return [(time_s / SECONDS_PER_HOUR, reading) for time_s, reading in result.track.by_member(len(points))]


def _time(
    statement: Statement,
    quantity: str,
    stated: float | tuple[float, float],
    in_an_hour: float,
    definition_sd: float,
) -> Observable:
    sd = float(np.hypot(_part(statement, TIME_PART), definition_sd))
    sd = float(np.hypot(sd, PER_KELVIN * statement.at_plus_minus_k / np.sqrt(3.0)))
    low, high = ends(stated)
    hours, sd = _middle(low / in_an_hour, high / in_an_hour, sd)
    return Observable(statement, quantity, "h", hours, hours, sd)


def rise_sd(part: float, rise_k: float) -> float:
    """Return the uncertainty of the logarithm of a rise that is known within a part of it, and by a probe."""
    return float(np.hypot(part, PROBE_K / rise_k))


def _depth(s: DeepestPour) -> Observable:
    low, high = ends(s.depth_mm)
    # The rise grows about as the square of the depth; a stated tolerance is of the depth.
    open_sd = 2.0 * float(np.hypot(np.log(high / low) / np.sqrt(12.0), _part(s, 0.0)))
    open_sd = float(np.hypot(open_sd, RISE_PER_KELVIN * s.at_plus_minus_k / np.sqrt(3.0)))
    allowed = max(1.0, s.stays_below_c - s.at_c)
    under, over = (float(np.hypot(sd, open_sd)) for sd in (KEPT_SD, KEPT_SD_OVER))
    if not s.chosen:
        return Observable(s, "peak below", "°C", s.stays_below_c, allowed, np.inf, bound=True, sd_over=over)
    return Observable(
        s, "peak below", "°C", s.stays_below_c, KEPT_PART * allowed, under, bound=True, sd_over=over
    )


def _middle(low: float, high: float, sd: float) -> tuple[float, float]:
    """Return the middle and the uncertainty, both of a logarithm, of a number anywhere between two ends."""
    return float(np.sqrt(low * high)), float(np.hypot(sd, np.log(high / low) / np.sqrt(12.0)))


def _part(statement: Statement, default: float) -> float:
    return default if statement.tolerance_pct is None else statement.tolerance_pct / 100.0
