"""From what a datasheet states to the rate constants of a plan, with honest uncertainty.

Four numbers are fitted: k2, k2/k1, one activation energy E for both, and the heat of cure. A datasheet of two or
three statements cannot tell them apart, so each starts from a prior, and the result says how far each is known.
The forward model of every statement is the real solver on the specimen that the statement speaks of. Statements that
do not fit together are all kept: the fit is then as wide as they are apart, and says which one disagrees.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import tomli_w

from logger.arrays import Floats
from logger.cure.fit.datasheet import CUP, WIDE, Datasheet, DeepestPour, DscPeak, Statement
from logger.cure.fit.datasheet_model import (
    KEPT,
    SPREAD,
    Observable,
    observables_of,
    predicted,
    resin_of,
    workable_h,
)
from logger.cure.fit.least_squares import Solution, least_squares
from logger.cure.fit.sampling import draw
from logger.cure.fit.usual_systems import GUESSED_SD, USUAL, UsualSystem, system_of
from logger.errors import BadInput
from logger.facts import NOTHING, Fact, fact
from logger.plan.file import Possible, Resin
from logger.quantities import hours, hours_alone, peak, quantity, temperature, whole_hours
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
DISPUTED, AGREED = 2.5, 1.5
#: 90 % of a normal distribution lies within this many standard deviations.
_NINETY = 1.645

#: Equally likely resins that go into the [resin] table. So many that the second hottest and coolest are its 5 and 95 %.
MEMBERS = 40
_STEPS = np.array([0.03, 0.15, 1.5, 0.03])
_LONGEST = np.array([0.7, 1.0, 8.0, 0.2])
#: From a fit beyond the cliff to this side of it: a third of the rate, a fifth less heat.
_COOLER = np.array([-1.1, 0.0, 0.0, -0.22])


@dataclass(frozen=True)
class FittedPoint:
    """One stated number beside the fitted one. off: in tolerances; bound: the statement is an upper bound only."""

    statement: Fact
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
    disagreement: which statement does not fit the others, among the warnings too; NOTHING where all agree.
    """

    resin: Resin
    points: tuple[FittedPoint, ...]
    ranges: dict[str, tuple[float, float]]
    learned: dict[str, float]
    theta: Floats
    covariance: Floats
    assumptions: tuple[Fact, ...]
    warnings: tuple[str, ...]
    rounds: int
    curves: tuple[dict[str, Any], ...] = field(default=(), repr=False)
    disagreement: str = NOTHING

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
            "disagreement": self.disagreement,
            "curves": list(self.curves),
        }


@dataclass(frozen=True)
class _Prior:
    """mean, sd (4,); usual: of its class, where the class counts for how fast it is."""

    mean: Floats
    sd: Floats
    usual: UsualSystem | None = None


@dataclass(frozen=True)
class _Problem:
    """What is fitted to what. looser: every tolerance times this, where statements disagree."""

    datasheet: Datasheet
    things: tuple[Observable, ...]
    prior: _Prior
    looser: float = 1.0

    def solve(self, start: Floats | None = None, rounds: int = 12) -> Solution:
        """Return the best fit."""
        begin = self.prior.mean if start is None else start
        return least_squares(self.residuals, begin, _STEPS, longest=_LONGEST, most_rounds=rounds)

    def residuals(self, points: Floats, *, roughly: bool = False) -> Floats:
        """(N, statements and priors), each in units of its own uncertainty."""
        things = list(self.things)
        columns = [self.misfit(predicted(self.datasheet, things, points, roughly=roughly))] if things else []
        columns.append((points - self.prior.mean) / self.prior.sd)
        if self.prior.usual is not None:
            usual = self.prior.usual
            apart = np.log(workable_h(points, self.datasheet.mixture) / usual.workable_h)
            columns.append(apart[:, None] / usual.workable_sd)
        return np.hstack(columns)

    def misfit(self, values: Floats) -> Floats:
        """Residuals (N, observables) in tolerances: of the logarithm of a time or of a rise."""
        out = np.empty_like(values)
        for j, thing in enumerate(self.things):
            log_ratio = np.log(np.maximum(values[:, j], 1e-9) / thing.compared)
            over = thing.sd if thing.sd_over is None else thing.sd_over
            out[:, j] = log_ratio / (np.where(log_ratio > 0, over, thing.sd) * self.looser)
        return out

    def off(self, solution: Solution) -> Floats:
        """(observables,), in tolerances."""
        return solution.residuals[: len(self.things)]

    def without(self, statement: Statement) -> _Problem:
        """Return the problem with one statement left out."""
        return replace(self, things=tuple(t for t in self.things if t.statement is not statement))


def fit_datasheet(datasheet: Datasheet) -> Fit:
    """Fit the resin to everything that the datasheet states. Statements that disagree widen the fit. Raises
    DidNotConverge.
    """
    problem = _Problem(datasheet, tuple(observables_of(datasheet)), _prior(datasheet))
    solution = _off_the_hot_side(problem, problem.solve())
    disagreement = NOTHING
    worst = float(np.max(np.abs(problem.off(solution)), initial=0.0))
    if worst > DISPUTED:
        disagreement = _disagreement(problem, solution)
        # As wide as it takes for the one that is farthest off to be an ordinary one.
        problem = replace(problem, looser=worst / AGREED)
        solution = problem.solve(solution.theta)
    return _report(problem, solution, disagreement)


def _off_the_hot_side(problem: _Problem, solution: Solution) -> Solution:
    """Return the better of this fit and, where a pour is fitted far hotter than stated, of one from the cool side.

    Beyond the cliff of a runaway the peak hardly depends on anything: a fit that has come there finds no way down.
    """
    offs = zip(problem.things, problem.off(solution), strict=True)
    if not any(thing.unit == "°C" and off > DISPUTED for thing, off in offs):
        return solution
    cool = problem.solve(solution.theta + _COOLER)
    return cool if cool.cost < solution.cost else solution


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
            fact("needs-two-heating-rates"),
            value=len(peaks),
            remedy=fact("add-a-dsc-peak"),
        )
    slope = np.polyfit(1.0 / kelvin, np.log(rates / kelvin**2), 1)[0]
    return float(-slope * GAS_CONSTANT_J_MOL_K)


def _prior(datasheet: Datasheet) -> _Prior:
    system = system_of(datasheet)
    usual = None if system is None else USUAL[system]
    heat, part, _ = datasheet.mixture.heat_prior(
        *([] if usual is None else [(usual.heat_j_g, usual.heat_part)])
    )
    energy, energy_sd = E_KJ, E_SD_KJ
    if datasheet.dsc_peak:
        energy = kissinger_j_mol(datasheet.dsc_peak) / 1000.0
        energy_sd = 0.1 * energy / 2.0
    rate = _first_rate(datasheet, energy)
    if rate is None:
        # Nothing says how fast it is but its class: named, or what its depth suggests.
        assert usual is not None  # the datasheet is refused otherwise
        at = np.array([[0.0, np.log(RATIO)]])
        rate = float(np.log(workable_h(at, datasheet.mixture)[0] / usual.workable_h))
        if datasheet.system is None:
            usual = replace(usual, workable_sd=float(np.hypot(usual.workable_sd, GUESSED_SD)))
    elif datasheet.system is None:
        usual = None
    mean = np.array([rate, np.log(RATIO), energy, np.log(heat)])
    return _Prior(mean, np.array([RATE_SD, RATIO_SD, energy_sd, part]), usual)


def _first_rate(datasheet: Datasheet, energy_kj: float) -> float | None:
    """Return a first guess of ln k2 from the stated times alone, as if nothing warmed up; None where none is stated."""
    guesses = []
    for thing in observables_of(datasheet):
        if thing.unit == "°C":
            continue
        theta = np.array([[np.log(1e-5), np.log(RATIO), energy_kj, np.log(400.0)]])
        slow_h = thing.isothermal_h(resin_of(datasheet, theta[0]))
        guesses.append(np.log(1e-5) + np.log(slow_h / thing.stated) if slow_h else np.log(3e-5))
    return float(np.median(guesses)) if guesses else None


def _disagreement(problem: _Problem, solution: Solution) -> Fact:
    """Say which statement does not fit the others, and by how much: each that is off is left out in turn."""
    off, things = np.abs(problem.off(solution)), problem.things
    doubtful = {id(t.statement): t for t, o in zip(things, off, strict=True) if o > 0.5 * off.max()}
    best: tuple[float, Observable, float] | None = None
    for thing in sorted(doubtful.values(), key=lambda t: -off[things.index(t)])[:3]:
        others = problem.without(thing.statement)
        again = others.solve(solution.theta, rounds=5)
        worst = float(np.max(np.abs(others.off(again)), initial=0.0))
        if best is None or worst < best[0]:
            value = float(predicted(problem.datasheet, [thing], again.theta[None, :])[0, 0])
            best = (worst, thing, value)
    assert best is not None  # something is off, or nobody asks
    worst, thing, value = best
    rest = [s.describe() for s in problem.datasheet.statements() if s is not thing.statement]
    statement, off_by = thing.statement.describe(), _by_how_much(thing, value)
    if not rest:
        return fact("unlike-usual-system", statement=statement, off_by=off_by)
    agreed = len(rest) > 1 and worst <= AGREED
    code = "unlike-agreeing-statements" if agreed else "unlike-other-statements"
    return fact(code, statement=statement, others=rest, off_by=off_by)


def _by_how_much(thing: Observable, value: float) -> Fact:
    """Say what the others make of a statement. value: in its own unit of comparison."""
    if thing.unit == "°C":
        code = "comes-to-not-under" if thing.bound else "comes-to-not"
        return fact(code, value=peak(thing.shown(value)), stated=temperature(thing.stated, 0))
    times = value / thing.stated
    code = "comes-to-longer" if times >= 1 else "comes-to-shorter"
    factor = float(f"{max(times, 1.0 / times):.2g}")
    span = hours(value) if value < 10 else whole_hours(value)
    return fact(code, value=span, times=quantity(factor, "", None))


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


def _warnings_of(problem: _Problem, theta: Floats, solution: Solution) -> list[Fact]:
    """Return what the fitted point itself casts doubt on."""
    warnings = []
    low, high = E_USUAL_KJ
    prior = problem.prior
    if not low <= theta[2] <= high:
        warnings.append(
            fact(
                "energy-unusual",
                energy=quantity(float(theta[2]), "kJ/mol", 0),
                low=quantity(low, "", 0),
                high=quantity(high, "kJ/mol", 0),
            )
        )
    if len({s.at_c for s in problem.datasheet.statements() if not isinstance(s, DeepestPour)}) == 1:
        warnings.append(
            fact(
                "one-temperature",
                energy=quantity(float(prior.mean[2]), "", 0),
                within=quantity(float(prior.sd[2]), "kJ/mol", 0),
            )
        )
    if not solution.settled:
        warnings.append(fact("fit-not-settled"))
    return warnings


def _members(problem: _Problem, solution: Solution, covariance: Floats) -> tuple[Floats, Floats]:
    """Equally likely points (MEMBERS, 4) and their covariance (4, 4)."""
    bent = [j for j, thing in enumerate(problem.things) if thing.unit == "°C"]
    if not bent:
        # Logarithms of times are straight lines of θ: the normal distribution is what there is.
        values, vectors = np.linalg.eigh(covariance)
        unit = np.random.default_rng(20).standard_normal((MEMBERS // 2, len(values)))
        points = solution.theta + np.vstack([unit, -unit]) @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
        return points, covariance
    rises: list[Floats] = []

    def cost(points: Floats) -> Floats:
        residuals = problem.residuals(points, roughly=True)
        rises.append(residuals[:, bent].sum(axis=1))
        return np.asarray(0.5 * (residuals**2).sum(axis=1))

    sample = draw(cost, solution.theta, covariance)
    return sample.equally_likely(MEMBERS, np.concatenate(rises)), sample.covariance()


def _possible(theta: Floats, members: Floats) -> Possible:
    """Return the members (M, 4) as factors on the resin at theta."""
    apart = members - theta

    def factors(values: Floats) -> tuple[float, ...]:
        return tuple(float(f"{value:.4g}") for value in np.exp(values))

    return Possible(
        rate=factors(apart[:, 0]),
        first=factors(-apart[:, 1]),
        energy=tuple(float(f"{value:.4g}") for value in np.clip(members[:, 2], 1.0, 199.0) / theta[2]),
        heat=factors(apart[:, 3]),
    )


def _report(problem: _Problem, solution: Solution, disagreement: str) -> Fit:
    datasheet, things, prior = problem.datasheet, list(problem.things), problem.prior
    theta = solution.theta
    members, covariance = _members(problem, solution, solution.covariance())
    sd = np.sqrt(np.diag(covariance))
    k1_sd = float(np.sqrt(max(covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1], 0.0)))
    resin = resin_of(datasheet, theta).model_copy(update={"possible": _possible(theta, members)})
    learned = {
        name: float(min(1.0, s / p))
        for name, s, p in zip(
            ("k2_per_s", "k2_over_k1", "e_j_mol", "heat_of_cure_j_g"), sd, prior.sd, strict=True
        )
    }
    warnings = [*([disagreement] if disagreement else []), *_warnings_of(problem, theta, solution)]
    values = predicted(datasheet, things, theta[None, :])[0] if things else np.empty(0)
    points = tuple(
        FittedPoint(
            t.statement.describe(),
            t.quantity,
            t.unit,
            t.stated,
            float(t.shown(v)),
            round(100 * (t.sd if np.isfinite(t.sd) else t.sd_over or 0.0) * problem.looser, 1),
            float(o),
            t.bound,
        )
        for t, v, o in zip(things, values, problem.off(solution), strict=True)
    )
    assumptions = [CUP] if any(t.in_cup for t in things) else []
    if any(isinstance(t.statement, DeepestPour) for t in things):
        assumptions += [WIDE, KEPT]
    system = system_of(datasheet)
    if prior.usual is not None and system is not None:
        assumptions.append(
            fact(
                "system-as-named" if datasheet.system is not None else "system-by-depth",
                system=fact(f"system-{system}"),
                workable=hours_alone(prior.usual.workable_h),
                at=temperature(25.0, 0),
                factor=quantity(float(np.exp(_NINETY * prior.usual.workable_sd)), "", 1),
            )
        )
    assumptions += [fact("heat-before-fit", source=datasheet.mixture.heat_prior()[2]), SPREAD]
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
        disagreement,
    )
