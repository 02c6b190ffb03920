"""What a fitted resin means in a shop: how deep it may be poured in a room, and which further number would tell most.

Both are asked of the equally likely resins of the fit. Pure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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
)
from logger.cure.fit.datasheet_model import Observable, observables_of, predicted, rise_sd
from logger.cure.solver.planned_band import member_peaks, members_of
from logger.cure.solver.prediction import coarse_peak_c, long_enough
from logger.errors import BadInput
from logger.facts import fact
from logger.plan.file import DEEPEST_MM, Plan, Possible, Resin, plan_from_table

#: Rooms for which a shop is told how deep it may pour, °C.
ROOMS_C = (20.0, 25.0, 30.0)
#: Parts of the possible resins that keep the limit at the depth that is told: as good as safe, even, hardly any.
HOLDS = (0.9, 0.5, 0.1)
#: Depths that are solved lie between the datasheet's over the first and times the second, so many of them.
SHALLOWER, DEEPER, DEPTHS = 8.0, 3.0, 11
#: Where the datasheet names no depth the search goes out from here, mm.
FIRST_MM = 20.0
#: A cup test: what one probe, a scale and a clock tell of it (common practice, no source), %.
MEASURED_PCT = 10.0
#: The same where a cup of hot water has told what the cup loses: the probe, the scale and the ratio are left (common
#: practice, no source); and how much of the loss's error comes into the rise: about the part that it loses by then.
LOSS_MEASURED_PCT, LOSS_COUNTS = 6.0, 0.6
#: Cups that are tried of a resin whose deepest pour is at least so deep, mm and kg: a quick system in a larger one may
#: smoke (common practice, no source).
CUPS = ((0.0, 0.05), (15.0, 0.1), (40.0, 0.2))
#: Statements with masses within this many times each other, and temperatures within so many K, tell the same.
SAME_MASS, SAME_K = 1.5, 3.0


def within_pct(loss_error_pct: float) -> float:
    """Return within how much a cup's peak counts once its loss is known within loss_error_pct (nine in ten), %."""
    return round(min(MEASURED_PCT, math.hypot(LOSS_MEASURED_PCT, LOSS_COUNTS * loss_error_pct)), 1)


@dataclass(frozen=True, slots=True)
class SafeDepth:
    """Of a wide pour in a room, on a form on a bench, mm: the depth at which nine in ten of the possible resins keep
    the limit, five in ten, one in ten. by_sheet: the datasheet's own depth is less than the first.
    """

    room_c: float
    safe_mm: float
    even_mm: float
    most_mm: float
    by_sheet: bool


@dataclass(frozen=True, slots=True)
class Narrowing:
    """What one more statement would do to the band of a peak: its limits before and after, °C.

    kind: "gel time", "working time", "hard after" (asked of the maker) or "cup test" (done in the shop). mass_kg: None
    for a thin film. at_c: where it would be stated or tried.
    """

    kind: str
    mass_kg: float | None
    at_c: float
    before_c: tuple[float, float]
    after_c: tuple[float, float]

    @property
    def narrower(self) -> float:
        """The part of the band's width that goes."""
        before = self.before_c[1] - self.before_c[0]
        return 0.0 if before <= 0 else 1.0 - (self.after_c[1] - self.after_c[0]) / before


def safe_depths(resin: Resin, rooms_c: tuple[float, ...] = ROOMS_C) -> tuple[SafeDepth, ...]:
    """Return how deep a wide pour may be in each room, on a form of which nothing is said. Raises BadInput without
    possible resins, DidNotConverge.
    """
    return tuple(_safe_depth(resin, room_c) for room_c in rooms_c)


def _safe_depth(resin: Resin, room_c: float) -> SafeDepth:
    possible = _possible(resin)
    stated = resin.limits.max_depth_mm
    limit_c = resin.limits.max_core_c
    middle = stated or FIRST_MM
    depths = np.geomspace(middle / SHALLOWER, min(middle * DEEPER, DEEPEST_MM), DEPTHS)
    members = members_of(possible)
    # (D, M); a deeper pour of the same resin is never cooler.
    peaks = np.stack([member_peaks(_wide(resin, float(mm), room_c), members)[1] for mm in depths])
    peaks = np.maximum.accumulate(peaks, axis=0)
    deepest = np.array([_crossing(depths, column, limit_c) for column in peaks.T])
    safe, even, most = (float(np.quantile(deepest, 1.0 - part, method="hazen")) for part in HOLDS)
    by_sheet = stated is not None and stated < safe
    safe = _told(min(safe, stated) if stated is not None else safe)
    # What is advised is solved as it would be poured.
    while safe > 1.0 and coarse_peak_c(long_enough(_wide(resin, safe, room_c)), limit_c + 5.0) > limit_c:
        safe, by_sheet = _told(0.9 * safe), False
    return SafeDepth(room_c, safe, max(safe, _told(even)), max(safe, _told(most)), by_sheet)


def _told(mm: float) -> float:
    """Return a depth as it is told: rounded down, to a millimetre, below 10 mm to half of one."""
    step = 1.0 if mm >= 10 else 0.5
    return max(0.5, math.floor(mm / step + 1e-9) * step)


def _crossing(depths: Floats, peaks_c: Floats, limit_c: float) -> float:
    """Return the depth at which a peak passes the limit; the first or last one where it does not cross in between."""
    if peaks_c[0] > limit_c:
        return float(depths[0])
    if peaks_c[-1] <= limit_c:
        return float(depths[-1])
    over = int(np.argmax(peaks_c > limit_c))
    part = (limit_c - peaks_c[over - 1]) / (peaks_c[over] - peaks_c[over - 1])
    return float(depths[over - 1] * (depths[over] / depths[over - 1]) ** part)


def _wide(resin: Resin, depth_mm: float, room_c: float) -> Plan:
    return plan_from_table(
        {
            "title": "sheet",
            "resin": resin.model_dump(exclude_none=True, mode="json"),
            "pour": {"shape": "sheet", "depth_mm": depth_mm},
            "air": {"room_c": room_c},
        }
    )


def _possible(resin: Resin) -> Possible:
    if resin.possible is None:
        raise BadInput(
            "resin",
            fact("names-no-possible-resins"),
            remedy=fact("fit-datasheet-again"),
        )
    return resin.possible


def what_would_narrow(resin: Resin, sheet: Datasheet, room_c: float = 23.0) -> tuple[Narrowing, ...]:
    """Return which further statement would narrow the peak of a pour of the datasheet's depth, the best first.

    The update of a linear model (Kalman 1960; closed form): the covariance of a peak and a statement over the fit's
    members is its Jacobians about the fit times the fit's covariance. Raises BadInput, DidNotConverge.
    """
    possible = _possible(resin)
    depth_mm = resin.limits.max_depth_mm or _safe_depth(resin, room_c).safe_mm
    _, peaks_c = member_peaks(_wide(resin, depth_mm, room_c), members_of(possible))
    rises = np.log(np.maximum(peaks_c - room_c, 0.1))
    candidates = [c for c in _candidates(room_c, depth_mm) if not _stated(c[1], sheet)]
    asked = Datasheet.model_validate(
        {"name": sheet.name, "mixture": sheet.mixture.model_dump(), "glass": sheet.glass.model_dump()}
        | {"limits": sheet.limits.model_dump(), "system": "medium"}
    ).model_copy(update=_tables([statement for _, statement in candidates]))
    things = observables_of(asked)
    values = np.log(np.maximum(predicted(asked, things, _points(resin), roughly=True), 1e-9))
    before = _band(room_c, rises, 1.0)
    narrowings = []
    for kind, statement in candidates:
        mine = [j for j, thing in enumerate(things) if thing.statement is statement]
        left = _left(rises, values[:, mine], np.array([_sd(things[j], values[:, j]) for j in mine]))
        narrowings.append(
            Narrowing(
                kind,
                getattr(statement, "mass_kg", None),
                statement.at_c,
                before,
                _band(room_c, rises, left),
            )
        )
    return tuple(sorted(narrowings, key=lambda one: -one.narrower))


def _sd(thing: Observable, values: Floats) -> float:
    """Return how well a candidate would be known: of what the members expect of it, not of the number it carries."""
    if thing.unit != "°C":
        return thing.sd
    return rise_sd(MEASURED_PCT / 100.0, float(np.exp(np.median(values))))


def _left(target: Floats, observed: Floats, sd: Floats) -> float:
    """Return what part of the target's standard deviation (N,) is left once (N, K) are known within sd (K,)."""
    target, observed = target - target.mean(), observed - observed.mean(axis=0)
    cross = observed.T @ target / len(target)
    spread = observed.T @ observed / len(target) + np.diag(sd**2)
    variance = float(target @ target) / len(target)
    if variance <= 0:
        return 1.0
    return math.sqrt(max(0.0, 1.0 - float(cross @ np.linalg.solve(spread, cross)) / variance))


def _band(room_c: float, rises: Floats, left: float) -> tuple[float, float]:
    """Return 5 and 95 % of the peak, °C, once so much of the rise's spread is left."""
    middle = float(np.median(rises))
    low, high = np.quantile(rises, (0.05, 0.95), method="hazen")
    return room_c + math.exp(middle + left * (low - middle)), room_c + math.exp(
        middle + left * (high - middle)
    )


def _points(resin: Resin) -> Floats:
    """Return the members as points of the fit (M, 4): ln k2, ln(k2/k1), E in kJ/mol, ln of the heat."""
    possible, rate = _possible(resin), resin.rate
    k2 = np.log(rate.k2_per_s) + np.log(np.array(possible.rate))
    ratio = np.log(rate.k2_per_s / rate.k1_per_s) - np.log(np.array(possible.first))
    energy = rate.e1_j_mol / 1000.0 * np.array(possible.energy)
    heat = np.log(resin.heat_of_cure_j_g) + np.log(np.array(possible.heat))
    return np.column_stack([k2, ratio, energy, heat])


def _candidates(room_c: float, depth_mm: float) -> list[tuple[str, Statement]]:
    """Return what could be asked of the maker or tried with a cup; the numbers stated do not count, only what for."""
    return [
        ("working time", WorkingTime(mass_kg=0.1, at_c=25.0, time_min=60.0)),
        ("working time", WorkingTime(mass_kg=0.1, at_c=15.0, time_min=60.0)),
        ("working time", WorkingTime(mass_kg=1.0, at_c=25.0, time_min=60.0)),
        ("gel time", GelTime(mass_kg=0.1, at_c=25.0, time_min=60.0)),
        ("hard after", CureTime(at_c=23.0, time_h=24.0, to="hard")),
        *(
            (
                "cup test",
                Peak(mass_kg=kg, at_c=room_c, peak_c=60.0, time_min=60.0, tolerance_pct=MEASURED_PCT),
            )
            for least_mm, kg in CUPS
            if depth_mm >= least_mm
        ),
    ]


def _stated(candidate: Statement, sheet: Datasheet) -> bool:
    """Whether the datasheet says as much already."""
    for statement in sheet.statements():
        if type(statement) is not type(candidate) or abs(statement.at_c - candidate.at_c) > SAME_K:
            continue
        mine, theirs = (getattr(one, "mass_kg", None) for one in (statement, candidate))
        if mine is None or theirs is None:
            if mine is theirs:
                return True
        elif max(mine, theirs) <= SAME_MASS * min(mine, theirs):
            return True
    return False


def _tables(statements: list[Statement]) -> dict[str, list[Statement]]:
    """Return statements by the table of a datasheet in which each stands."""
    names: dict[type[Statement], str] = {
        WorkingTime: "working_time",
        GelTime: "gel_time",
        Peak: "peak",
        CureTime: "cure_time",
        DeepestPour: "deepest_pour",
    }
    tables: dict[str, list[Statement]] = {}
    for statement in statements:
        tables.setdefault(names[type(statement)], []).append(statement)
    return tables
