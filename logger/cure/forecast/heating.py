"""Heat on the surface that nobody planned: sun through a window, a heater, a heat gun left on.

It shows as a sudden kink of the surface probe's curve that no resin makes. Looked for only where the readings do not
fit a pour without it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from logger.arrays import Floats
from logger.cure.forecast.likelihood import Readings, good_readings
from logger.cure.forecast.parameters import Parameter
from logger.cure.solver.simulation import Intervention

#: From an hour to an hour; without an end while it lasts.
Window = tuple[float, float | None]

#: The kink is judged over this long to each side, h, and must be this much, K, and this part of how far the surface
#: has warmed: a pour that runs away bends its surface by itself. 60 W/m² of sun make 2.5 K in that time (semi-infinite
#: solid under a constant flux, 2 q √(t/π) / √(kρc)).
KINK_H = 1.0 / 6.0
LEAST_KINK_C, KINK_PART = 1.0, 0.05
#: The surface follows the core by up to so long, h.
_LAGS_H = np.array([0.0, 1.0, 2.0, 3.0, 4.0]) / 12.0
#: Absorbed sun behind a window, W/m² (common practice, no source), and how long it stays once it is there, h.
USUAL_W_M2, SPREAD_W_M2 = 150.0, 120.0
STAYS_H = 1.2
#: Hours from now at which a member's heating may end.
_ENDS_H = np.array([0.33, 0.67, 1.0, 1.5, 2.0, 3.0, 4.5])

#: How often sun or a heater begins to warm a surface that nobody meant it to, 1/h (common practice, no source: one
#: pour in ten); the hours from now over which it may begin, in pieces, and how long it then stays, h.
BEGINS_PER_H = 1.0 / 120.0
_MAY_BEGIN_H = np.array([0.0, 2.0, 6.0, 14.0])
_LASTS_H = 1.8

HEATING = Parameter(
    "sun_w_m2",
    SPREAD_W_M2,
    "surface-heated",
    "surface-in-draught",
    middle=USUAL_W_M2,
)


def onset_h(history: Mapping[str, Readings], at_h: float, after_h: float = 0.0) -> float | None:
    """When the surface's curve kinks upward most after after_h, None where it never does."""
    hours, kinks = _kinks(history, at_h, after_h)
    if not len(hours) or kinks.max() <= 0.0:
        return None
    return float(hours[int(np.argmax(kinks))])


def end_h(history: Mapping[str, Readings], at_h: float, after_h: float) -> float | None:
    """When the surface's curve kinks downward most after after_h, None where it never does."""
    hours, kinks = _kinks(history, at_h, after_h)
    if not len(hours) or kinks.min() >= 0.0:
        return None
    return float(hours[int(np.argmin(kinks))])


def changes_of(windows: tuple[Window, ...], flux_w_m2: Floats) -> list[Intervention]:
    """Return the windows as changes; flux_w_m2 (M, windows)."""
    edges = sorted({edge for window in windows for edge in window if edge is not None})
    changes = []
    for edge in edges:
        on = np.array([begin <= edge and (end is None or edge < end) for begin, end in windows])
        changes.append(Intervention(edge, absorbed_w_m2=flux_w_m2 @ on.astype(float)))
    return changes


def going_on(
    windows: tuple[Window, ...], flux_w_m2: Floats, at_h: float, rng: np.random.Generator
) -> list[Intervention]:
    """How heating that still lasts at at_h ends in each member; flux_w_m2 (M, windows)."""
    lasting = np.array([end is None for _, end in windows])
    if not lasting.any():
        return []
    flux = flux_w_m2 @ lasting.astype(float)
    left = rng.exponential(STAYS_H, len(flux))
    ends = [*_ENDS_H[:-1], _ENDS_H[-1]]
    changes = [Intervention(at_h + end, absorbed_w_m2=np.where(left > end, flux, 0.0)) for end in ends[:-1]]
    return [*changes, Intervention(at_h + ends[-1], absorbed_w_m2=0.0)]


def to_come(at_h: float, until_h: float, count: int, rng: np.random.Generator) -> list[Intervention]:
    """Heating that has not begun yet: in most members none, in some it begins within the next hours and ends again."""
    chance = np.cumsum(np.diff(_MAY_BEGIN_H) * BEGINS_PER_H)
    which = np.searchsorted(chance, rng.random(count))
    flux = np.maximum(HEATING.value(rng.standard_normal(count)), 0.0)
    begins = at_h + 0.5 * (_MAY_BEGIN_H[1:] + _MAY_BEGIN_H[:-1])
    edges = sorted({float(e) for begin in begins for e in (begin, begin + _LASTS_H) if e < until_h})
    changes = []
    for edge in edges:
        on = np.array([begin <= edge < begin + _LASTS_H - 1e-9 for begin in begins] + [False])
        changes.append(Intervention(edge, absorbed_w_m2=np.where(on[which], flux, 0.0)))
    return changes


def _kinks(history: Mapping[str, Readings], at_h: float, after_h: float) -> tuple[Floats, Floats]:
    """Hours (N,) and the surface's kinks (N,), K; 0 where they are small, or follow a bend of the core."""
    if "surface" not in history:
        return np.zeros(0), np.zeros(0)
    hours, celsius = good_readings(history["surface"], at_h)
    if len(hours) < 5:
        return np.zeros(0), np.zeros(0)
    inside = hours[(hours - KINK_H >= hours[0]) & (hours + KINK_H / 2 <= hours[-1]) & (hours >= after_h)]
    kinks = _bends(hours, celsius, inside)
    if "core" in history:
        core_h, core_c = good_readings(history["core"], at_h)
        if len(core_h) >= 5:
            for lag in _LAGS_H:
                core = _bends(core_h, core_c, inside - lag)
                kinks = np.where((kinks * core > 0.0) & (np.abs(kinks) < np.abs(core)), 0.0, kinks)
    warmed = np.abs(np.interp(inside, hours, celsius) - celsius[0])
    kinks = np.where(np.abs(kinks) < LEAST_KINK_C + KINK_PART * warmed, 0.0, kinks)
    return inside, kinks


def _bends(hours: Floats, celsius: Floats, at: Floats) -> Floats:
    """Return the rise over the ten minutes after each hour less the rise over the ten before it, K."""
    ahead = np.minimum(at + KINK_H, hours[-1])
    now = np.interp(at, hours, celsius)
    # A kink close to the last reading is judged over the time that there is.
    share = (ahead - at) / KINK_H
    before = (now - np.interp(at - KINK_H, hours, celsius)) * share
    return np.asarray(np.interp(ahead, hours, celsius) - now - before)
