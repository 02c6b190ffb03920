"""From what a datasheet states to the rate constants of a plan, with honest uncertainty.

Four numbers are fitted: k2, k2/k1, one activation energy E for both, and the heat of cure. A datasheet of two or
three statements cannot tell them apart, so each starts from a prior, and the result says how far each is known.
The forward model of every statement is the real solver on the specimen that the statement speaks of.
"""

from __future__ import annotations

import dataclasses
import itertools
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import tomli_w

from logger.arrays import Floats
from logger.cure.fit.datasheet import CUP, WIDE, Datasheet, DeepestPour, DscPeak, Statement
from logger.cure.fit.datasheet_model import SPREAD, Observable, observables_of, predicted, resin_of
from logger.cure.fit.least_squares import Solution, least_squares
from logger.errors import BadInput
from logger.plan.file import Resin
from logger.units import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K

#: Activation energy before any statement, kJ/mol: room-temperature amines 44–63 (DETA 56.9–63.0, Garcia & Fernandez
#: 2000; ethylenediamine 58.6, Riccardi et al. 1984; a cycloaliphatic diamine 44–57, Barral et al. 1995).
E_KJ, E_SD_KJ = 58.0, 8.0
#: A fitted energy outside these is warned about.
E_USUAL_KJ = (40.0, 80.0)
#: k2/k1 at 25 °C before any statement, and its uncertainty as a natural logarithm. Planning value, no source.
RATIO, RATIO_SD = 50.0, 1.0
#: How wide the rate itself may lie before any statement: hardly a bound at all.
RATE_SD = 4.0
#: A statement this many of its own tolerances away from the fit is in dispute; left out, the others must agree
#: within the second.
DISPUTED, AGREED = 2.0, 1.5
#: 90 % of a normal distribution lies within this many standard deviations.
_NINETY = 1.645

_STEPS = np.array([0.03, 0.15, 1.5, 0.03])
_LONGEST = np.array([0.7, 1.0, 8.0, 0.2])


@dataclass(frozen=True)
class FittedPoint:
    """One stated number beside the fitted one. off: in tolerances; bound: the statement is an upper bound only."""

    statement: str
    quantity: str
    unit: str
    stated: float
    fitted: float
    tolerance_pct: float
    off: float
    bound: bool = False


@dataclass(frozen=True)
class Fit:
    """The resin fitted to a datasheet.

    ranges: 90 % range of each fitted number, in its own unit. theta (4,) and covariance (4, 4): ln k2, ln(k2/k1),
    E in kJ/mol, ln of the heat in J/g. learned: how much each range shrank against its prior (1 = nothing
    learned, 0 = known exactly). curves: fitted course of each specimen, to draw beside the stated points.
    """

    resin: Resin
    points: tuple[FittedPoint, ...]
    ranges: dict[str, tuple[float, float]]
    learned: dict[str, float]
    theta: Floats
    covariance: Floats
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]
    rounds: int
    curves: tuple[dict[str, Any], ...] = field(default=(), repr=False)

    @property
    def rate_factor_range(self) -> float:
        """The rate at 25 °C is known within times or divided by this factor (90 %)."""
        return float(np.exp(_NINETY * np.sqrt(self.covariance[0, 0])))

    def resin_table(self) -> dict[str, Any]:
        """Return the [resin] table of a plan file, rounded to what is known."""
        table = self.resin.model_dump(exclude_none=True, mode="json")
        rate = table["rate"]
        for key in ("k1_per_s", "k2_per_s"):
            rate[key] = float(f"{rate[key]:.4g}")
        for key in ("e1_j_mol", "e2_j_mol"):
            rate[key] = round(rate[key], -1)
        table["heat_of_cure_j_g"] = round(table["heat_of_cure_j_g"], 1)
        return table

    def to_toml(self) -> str:
        """Return the [resin] table as TOML, to paste into a plan."""
        return tomli_w.dumps({"resin": self.resin_table()})

    def to_json(self) -> dict[str, Any]:
        """Return what `pourlog fit --json` prints."""
        return {
            "resin": self.resin_table(),
            "points": [dataclasses.asdict(point) for point in self.points],
            "ranges_90pct": {name: list(pair) for name, pair in self.ranges.items()},
            "learned": self.learned,
            "rate_factor_range_90pct": self.rate_factor_range,
            "assumptions": list(self.assumptions),
            "warnings": list(self.warnings),
            "curves": list(self.curves),
        }


@dataclass(frozen=True)
class _Prior:
    mean: Floats
    sd: Floats


def fit_datasheet(datasheet: Datasheet, *, refuse: bool = True) -> Fit:
    """Fit the resin to everything that the datasheet states.

    Raises BadInput naming the contradiction when the statements cannot all be true of one resin within their
    tolerances (refuse=False: returns the fit with the contradiction among its warnings), and DidNotConverge.
    """
    things = observables_of(datasheet)
    prior = _prior(datasheet)
    solution = _solve(datasheet, things, prior, None)
    warnings = []
    disputed = _off(solution, things)
    if np.any(np.abs(disputed) > DISPUTED):
        problem = _contradiction(datasheet, things, prior, solution)
        if refuse:
            raise BadInput(
                "datasheet",
                problem,
                remedy="check mass, temperature and units of these statements, "
                "or give the doubtful one a wider tolerance_pct",
            )
        warnings.append(problem)
    return _report(datasheet, things, prior, solution, warnings)


def kissinger_j_mol(peaks: list[DscPeak]) -> float:
    """Activation energy (J/mol) from calorimeter peaks at two or more heating rates.

    Kissinger 1957, Anal. Chem. 29:1702: ln(β/T²) falls with 1/T by E/R; exact for a first-order reaction, within
    some 10 % otherwise. Raises BadInput for fewer than two different rates.
    """
    rates = np.array([peak.heating_k_min for peak in peaks])
    kelvin = np.array([peak.peak_c for peak in peaks]) + ZERO_CELSIUS_K
    if len(set(rates.tolist())) < 2 or np.ptp(kelvin) == 0:
        raise BadInput(
            "[[dsc_peak]]",
            "needs at least two heating rates with different peaks",
            value=len(peaks),
            remedy="add the peak at another heating_k_min, or leave them out",
        )
    slope = np.polyfit(1.0 / kelvin, np.log(rates / kelvin**2), 1)[0]
    return float(-slope * GAS_CONSTANT_J_MOL_K)


def _prior(datasheet: Datasheet) -> _Prior:
    heat, part, _ = datasheet.mixture.heat_prior()
    energy, energy_sd = E_KJ, E_SD_KJ
    if datasheet.dsc_peak:
        energy = kissinger_j_mol(datasheet.dsc_peak) / 1000.0
        energy_sd = 0.1 * energy / 2.0
    rate = _first_rate(datasheet, energy)
    return _Prior(
        np.array([rate, np.log(RATIO), energy, np.log(heat)]), np.array([RATE_SD, RATIO_SD, energy_sd, part])
    )


def _first_rate(datasheet: Datasheet, energy_kj: float) -> float:
    """Return a first guess of ln k2 from the stated times alone, as if nothing warmed up."""
    guesses = []
    for thing in observables_of(datasheet):
        if thing.unit == "°C":
            continue
        theta = np.array([[np.log(1e-5), np.log(RATIO), energy_kj, np.log(400.0)]])
        slow_h = thing.isothermal_h(resin_of(datasheet, theta[0]))
        guesses.append(np.log(1e-5) + np.log(slow_h / thing.stated) if slow_h else np.log(3e-5))
    return float(np.median(guesses)) if guesses else float(np.log(3e-5))


def _solve(
    datasheet: Datasheet, things: list[Observable], prior: _Prior, start: Floats | None, rounds: int = 15
) -> Solution:
    def residuals(points: Floats) -> Floats:
        stray = (points - prior.mean) / prior.sd
        return np.hstack([_misfit(datasheet, things, points), stray])

    begin = prior.mean if start is None else start
    return least_squares(residuals, begin, _STEPS, longest=_LONGEST, most_rounds=rounds)


def _misfit(datasheet: Datasheet, things: list[Observable], points: Floats) -> Floats:
    """Residuals (N, observables) in tolerances: of the logarithm of a time or of a rise."""
    values = predicted(datasheet, things, points)
    out = np.empty_like(values)
    for j, thing in enumerate(things):
        log_ratio = np.log(np.maximum(values[:, j], 1e-9) / thing.compared)
        out[:, j] = (np.maximum(log_ratio, 0.0) if thing.bound else log_ratio) / thing.sd
    return out


def _off(solution: Solution, things: list[Observable]) -> Floats:
    return solution.residuals[: len(things)]


def _contradiction(datasheet: Datasheet, things: list[Observable], prior: _Prior, solution: Solution) -> str:
    """Which statements cannot both be true: found by leaving out one at a time and asking the others."""
    statements = datasheet.statements()
    resolved = []
    for left_out in statements:
        others = [thing for thing in things if thing.statement is not left_out]
        if not any(thing.unit != "°C" for thing in others):
            # Nothing else says how fast it cures: the remaining statements cannot dispute anything.
            resolved.append(left_out)
            continue
        again = _solve(datasheet, others, prior, solution.theta, rounds=12)
        if np.all(np.abs(_off(again, others)) <= AGREED):
            resolved.append(left_out)
    if len(resolved) == 1:
        rest = " and ".join(s.describe() for s in statements if s is not resolved[0])
        return f"{resolved[0].describe()} contradicts {rest}, which agree with each other"
    if len(resolved) > 1:
        first, second = max(
            itertools.combinations(resolved, 2), key=lambda pair: _tension(pair, things, solution)
        )
        return f"{first.describe()} contradicts {second.describe()}: no one resin does both"
    worst = [
        t.statement.describe()
        for t, off in zip(things, _off(solution, things), strict=True)
        if abs(off) > DISPUTED
    ]
    return "these statements cannot all be true of one resin: " + "; ".join(dict.fromkeys(worst))


def _tension(pair: tuple[Statement, Statement], things: list[Observable], solution: Solution) -> float:
    off = _off(solution, things)
    return float(sum(abs(o) for o, t in zip(off, things, strict=True) if any(t.statement is s for s in pair)))


def _ranges(resin: Resin, sd: Floats, k1_sd: float) -> dict[str, tuple[float, float]]:
    """Nine of ten: from and until, of each fitted number. sd: of theta (4,); k1_sd: of ln k1."""

    def times(middle: float, log_sd: float) -> tuple[float, float]:
        factor = float(np.exp(_NINETY * log_sd))
        return middle / factor, middle * factor

    spread_j = 1000.0 * _NINETY * float(sd[2])
    return {
        "k1_per_s": times(resin.rate.k1_per_s, k1_sd),
        "k2_per_s": times(resin.rate.k2_per_s, float(sd[0])),
        "e_j_mol": (resin.rate.e1_j_mol - spread_j, resin.rate.e1_j_mol + spread_j),
        "heat_of_cure_j_g": times(resin.heat_of_cure_j_g, float(sd[3])),
    }


def _warnings_of(datasheet: Datasheet, theta: Floats, prior: _Prior, solution: Solution) -> list[str]:
    """Return what the fitted point itself casts doubt on, in words."""
    warnings = []
    low, high = E_USUAL_KJ
    if not low <= theta[2] <= high:
        warnings.append(
            f"the statements ask for an activation energy of {theta[2]:.0f} kJ/mol, outside {low:.0f} to "
            f"{high:.0f} kJ/mol that room-temperature epoxies have: check the temperatures"
        )
    if len({s.at_c for s in datasheet.statements()}) == 1:
        warnings.append(
            "every statement is at one temperature: how the cure changes with the room rests on the "
            f"usual {prior.mean[2]:.0f} ± {prior.sd[2]:.0f} kJ/mol alone; state one at another "
            "temperature"
        )
    if not solution.settled:
        warnings.append("the fit had not fully settled when it was stopped; take the ranges as too narrow")
    return warnings


def _report(
    datasheet: Datasheet, things: list[Observable], prior: _Prior, solution: Solution, warnings: list[str]
) -> Fit:
    theta = solution.theta
    covariance = solution.covariance()
    data = _off(solution, things)
    scatter = float(data @ data) / max(1, len(data))
    covariance = covariance * max(1.0, scatter)
    sd = np.sqrt(np.diag(covariance))
    k1_sd = float(np.sqrt(covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1]))
    resin = resin_of(datasheet, theta)
    learned = {
        name: float(min(1.0, s / p))
        for name, s, p in zip(
            ("k2_per_s", "k2_over_k1", "e_j_mol", "heat_of_cure_j_g"), sd, prior.sd, strict=True
        )
    }
    warnings = [*warnings, *_warnings_of(datasheet, theta, prior, solution)]
    values = predicted(datasheet, things, theta[None, :])[0]
    points = tuple(
        FittedPoint(
            t.statement.describe(),
            t.quantity,
            t.unit,
            t.stated,
            float(t.shown(v)),
            round(100 * t.sd, 1),
            float(o),
            t.bound,
        )
        for t, v, o in zip(things, values, data, strict=True)
    )
    assumptions = [CUP] if any(t.in_cup for t in things) else []
    if any(isinstance(t.statement, DeepestPour) for t in things):
        assumptions.append(WIDE)
    assumptions += [f"heat of cure before the fit: {datasheet.mixture.heat_prior()[2]}", SPREAD]
    curves = tuple(curve for t in things if (curve := t.curve(datasheet, theta)) is not None)
    return Fit(
        resin,
        points,
        _ranges(resin, sd, k1_sd),
        learned,
        theta,
        covariance,
        tuple(assumptions),
        tuple(warnings),
        solution.rounds,
        curves,
    )
