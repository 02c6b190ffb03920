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
from logger.cure.solver.march import COARSE, CORE, HOTTEST, MEAN, SURFACE
from logger.cure.solver.simulation import SolverRun, simulate
from logger.plan.file import Plan, Rate, Resin
from logger.units import GAS_CONSTANT_J_MOL_K, REFERENCE_K, SECONDS_PER_HOUR, ZERO_CELSIUS_K

#: Mean conversion at which a mix is too thick to work: between 0.15 and 0.35. From memory, no source.
WORKABLE = 0.25
#: What "workable", "gelled" and "hard" leave open, as a natural logarithm of the time; added to the tolerance.
WORK_SD, GEL_SD, CURE_SD = 0.15, 0.12, 0.30
#: Tolerances where the statement gives none: times, rises. Common practice, no source.
TIME_PART, RISE_PART, LIMIT_PART = 0.15, 0.12, 0.08
#: How much faster such a mix cures for each kelvin, as a natural logarithm: 58 kJ/mol at 25 °C.
PER_KELVIN = 0.078
SPREAD = (
    f"a mix counts as workable up to {WORKABLE:g} conversion, as gelled from about {EARLIEST_GEL:.2f}, as hard once "
    f"its glass transition is {HARD_K:g} K above the room; what these words leave open is added to each tolerance"
)


@dataclass(frozen=True)
class Observable:
    """One number that a statement gives. compared: what the logarithm is taken of, a time (h) or a rise (K)."""

    statement: Statement
    quantity: str
    unit: str
    stated: float
    compared: float
    sd: float
    bound: bool = False

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
        plan = plan_for(self.statement, resin)
        if plan is None:
            hours = np.linspace(0.0, 2.0 * self.stated, 31)
            at = np.full(31, self.statement.at_c)
            return _curve(self, hours, at, conversion_along(hours, at, resin.rate, slow_down(resin))[0])
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
        deepest = max(pour.depth_mm for pour in datasheet.deepest_pour)
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
            observables.append(Observable(s, "peak", "°C", rise + s.at_c, rise, sd))
            if s.time_min is not None:
                observables.append(_time(s, "peak time", s.time_min, 60.0, 0.0))
        elif isinstance(s, CureTime):
            observables.append(_time(s, "cure time", s.time_h, 1.0, CURE_SD))
        elif isinstance(s, DeepestPour):
            sd = _part(s, LIMIT_PART)
            rise = max(1.0, s.stays_below_c - s.at_c)
            observables.append(Observable(s, "peak below", "°C", s.stays_below_c, rise, sd, bound=True))
    return observables


def predicted(datasheet: Datasheet, things: list[Observable], points: Floats) -> Floats:
    """Each observable at each point: (N, observables), hours or kelvins of rise."""
    out = np.empty((len(points), len(things)))
    done: dict[int, Floats] = {}
    for j, thing in enumerate(things):
        key = id(thing.statement)
        if key not in done:
            done[key] = _statement_values(thing.statement, datasheet, points)
        out[:, j] = done[key][:, 1 if thing.quantity == "peak time" else 0]
    return out


def _statement_values(statement: Statement, datasheet: Datasheet, points: Floats) -> Floats:
    """(N, 2): the statement's main value, and the time of its peak."""
    resins = [resin_of(datasheet, theta) for theta in points]
    plan = plan_for(statement, resins[0])
    out = np.full((len(points), 2), np.nan)
    if plan is None:
        for i, resin in enumerate(resins):
            slow = slow_down(resin) if isinstance(statement, CureTime) else None
            reached = time_to(_level(statement, resin), statement.at_c, resin.rate, slow)
            out[i, 0] = _NEVER_H if reached is None else reached
        return out
    for i, (hours, reading) in enumerate(_march(plan, points)):
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


def plan_for(statement: Statement, resin: Resin) -> Plan | None:
    """Return the specimen of a statement, run far enough for this resin to gel and peak; None for a thin film."""
    # A mix that warms itself is ahead of the isothermal cure: this horizon always reaches gel and peak.
    horizon = time_to(0.6, statement.at_c, resin.rate)
    hours = float(np.clip(1.3 * (horizon or 400.0), 0.2, 600.0))
    return specimen_plan(statement, resin.model_dump(exclude_none=True, mode="json"), hours)


def _march(plan: Plan, points: Floats) -> list[tuple[Floats, Floats]]:
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
    problem = as_planned(plan, COARSE.fineness, chem)
    result = simulate(problem, SolverRun(plan.run.hours, accuracy=COARSE.accuracy))
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


def _middle(low: float, high: float, sd: float) -> tuple[float, float]:
    """Return the middle and the uncertainty, both of a logarithm, of a number anywhere between two ends."""
    return float(np.sqrt(low * high)), float(np.hypot(sd, np.log(high / low) / np.sqrt(12.0)))


def _part(statement: Statement, default: float) -> float:
    return default if statement.tolerance_pct is None else statement.tolerance_pct / 100.0
