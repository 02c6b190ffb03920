"""The figures of a cure record, from the readings as they were taken. Pure.

Times are hours from the moment of pouring; a fault is never a temperature.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field

import numpy as np
import numpy.typing as npt

from logger.cure.model.diffusion import slow_down
from logger.cure.model.history import conversion_along
from logger.cure.solver.hardness import hardness
from logger.plan.file import Resin
from logger.record.json_values import JsonObject

Array = npt.NDArray[np.float64]
#: The steepest rise is judged over this span, so that probe noise is no rise, h.
RISE_SPAN_H = 0.25
#: Two readings further apart than this have a gap between them: nothing is claimed about it, h.
GAP_H = 0.25
#: Core and surface are compared when read within this time of each other, h.
TOGETHER_H = 2 / 60
#: Along the measured core the cure is worked out in steps of this: noise is averaged, no cure turns within it, h.
CURE_STEP_H = 0.1
#: Degree-hours are counted above this, °C (common practice, no source: below it a cure hardly moves).
DEGREE_HOURS_BASE_C = 5.0


@dataclass(frozen=True, slots=True)
class Place:
    """Readings of one place: hours (sorted) and °C, NaN for a fault."""

    hours: Array
    celsius: Array

    def good(self) -> tuple[Array, Array]:
        """Return the readings that are temperatures."""
        present = ~np.isnan(self.celsius)
        return self.hours[present], self.celsius[present]


@dataclass(frozen=True, slots=True)
class Figures:
    """What a record says of a cure. None where the readings cannot tell."""

    readings: int
    faults: int
    hours: float
    core_peak_c: float | None = None
    core_peak_at_h: float | None = None
    hours_over_limit: float | None = None
    limit_c: float | None = None
    steepest_rise_c_per_h: float | None = None
    steepest_rise_at_h: float | None = None
    widest_spread_c: float | None = None
    widest_spread_at_h: float | None = None
    core_degree_hours: float | None = None
    room_coldest_c: float | None = None
    room_coldest_at_h: float | None = None
    room_hottest_c: float | None = None
    longest_gap_h: float | None = None
    predicted_peak_c: float | None = None
    predicted_peak_at_h: float | None = None
    #: Estimated: the resin's kinetics along the hottest core probe up to the release.
    release_at_h: float | None = None
    conversion_at_release: float | None = None
    tg_at_release_c: float | None = None
    hardness_at_release: str | None = None
    #: Means over whole hours since pouring; `at` is where the hour begins.
    room_coldest_hour_c: float | None = None
    room_coldest_hour_at_h: float | None = None
    air_dampest_hour_pct: float | None = None
    air_dampest_hour_at_h: float | None = None
    places: dict[str, int] = field(default_factory=dict)

    def to_json(self) -> JsonObject:
        """Return plain values, rounded to what a probe can resolve."""
        return {
            name: round(value, 3) if isinstance(value, float) else value
            for name, value in asdict(self).items()
        }


def places_from(
    rows: Sequence[tuple[float, str, float | None]],
) -> dict[str, Place]:
    """Return one Place for each place in rows of (hours, place, °C or None), sorted by time."""
    gathered: dict[str, tuple[list[float], list[float]]] = {}
    for hours, place, celsius in rows:
        of_place = gathered.setdefault(place, ([], []))
        of_place[0].append(hours)
        of_place[1].append(np.nan if celsius is None else celsius)
    places = {}
    for place, (hours_list, celsius_list) in gathered.items():
        hours_array, celsius_array = np.array(hours_list), np.array(celsius_list)
        order = np.argsort(hours_array, kind="stable")
        places[place] = Place(hours_array[order], celsius_array[order])
    return places


def figures(
    places: dict[str, Place],
    limit_c: float,
    predicted: JsonObject | None = None,
    *,
    resin: Resin | None = None,
    release_h: float | None = None,
    humidity: Place | None = None,
) -> Figures:
    """Return the figures of a cure. `predicted` is the frozen prediction (its peak_c and peak_at_h are quoted).

    With `resin` and `release_h` the cure at the release is estimated; `humidity` holds % instead of °C.
    """
    values: JsonObject = {"limit_c": limit_c}
    everything = [place.celsius for place in places.values()]
    values["readings"] = int(sum(len(celsius) for celsius in everything))
    values["faults"] = int(sum(int(np.isnan(celsius).sum()) for celsius in everything))
    values["places"] = {name: len(place.hours) for name, place in sorted(places.items())}
    ends = [float(place.hours[-1]) for place in places.values() if len(place.hours)]
    values["hours"] = max(ends, default=0.0)
    core = _hottest_core(places)
    if core is not None:
        values |= _of_core(*core, limit_c)
        if "surface" in places:
            values |= _spread(core, places["surface"].good())
        if resin is not None and release_h is not None:
            values |= _at_release(*core, resin, release_h)
    if "room" in places:
        hours, celsius = places["room"].good()
        after = hours >= 0
        if after.any():
            coldest = int(np.argmin(celsius[after]))
            values["room_coldest_c"] = float(celsius[after][coldest])
            values["room_coldest_at_h"] = float(hours[after][coldest])
            values["room_hottest_c"] = float(celsius[after].max())
        coldest_hour = hour_means(hours, celsius)
        if coldest_hour:
            values["room_coldest_hour_at_h"], values["room_coldest_hour_c"] = min(
                coldest_hour, key=lambda hour: hour[1]
            )
    if humidity is not None:
        damp = hour_means(*humidity.good())
        if damp:
            values["air_dampest_hour_at_h"], values["air_dampest_hour_pct"] = max(
                damp, key=lambda hour: hour[1]
            )
    if predicted is not None:
        values["predicted_peak_c"] = float(predicted["peak_c"])
        values["predicted_peak_at_h"] = float(predicted["peak_at_h"])
    return Figures(**values)


def _hottest_core(places: dict[str, Place]) -> tuple[Array, Array] | None:
    """Return the core probe that got hottest: with two probes in the resin, the record has the worse."""
    cores = [place.good() for name, place in places.items() if name == "core" or name.startswith("core-")]
    cores = [(hours[hours >= 0], celsius[hours >= 0]) for hours, celsius in cores]
    cores = [core for core in cores if len(core[0])]
    return max(cores, key=lambda core: float(core[1].max()), default=None)


def hour_means(hours: Array, values: Array) -> list[tuple[float, float]]:
    """Return (hour at which it begins, mean of its readings) of every whole hour from pouring on with readings."""
    after = hours >= 0
    if not after.any():
        return []
    number = hours[after].astype(np.int64)
    count = np.bincount(number)
    total = np.bincount(number, weights=values[after])
    return [(float(hour), float(total[hour] / count[hour])) for hour in np.flatnonzero(count)]


def _at_release(hours: Array, celsius: Array, resin: Resin, release_h: float) -> JsonObject:
    """Estimate conversion and glass transition where the core probe is, when the form was opened.

    Between readings, and across gaps, the temperature is taken as a straight line. A reading missing at the
    beginning or the end is not made up: the course then starts and ends with what was read.
    """
    values = {"release_at_h": release_h}
    until = hours <= release_h
    hours, celsius = _means(hours[until], celsius[until], CURE_STEP_H)
    if len(hours) < 2:
        return values
    alpha = float(conversion_along(hours, celsius, resin.rate, slow_down(resin))[0, -1])
    state = hardness(alpha, float(celsius[-1]), resin.glass)
    return values | {
        "conversion_at_release": alpha,
        "tg_at_release_c": state.tg_c,
        "hardness_at_release": state.word,
    }


def _means(hours: Array, celsius: Array, step_h: float) -> tuple[Array, Array]:
    """Return means of time and temperature over steps of `step_h`, where there are readings."""
    number = np.floor(hours / step_h).astype(np.int64)
    count = np.bincount(number)
    some = count > 0
    return (
        np.bincount(number, weights=hours)[some] / count[some],
        np.bincount(number, weights=celsius)[some] / count[some],
    )


def _of_core(hours: Array, celsius: Array, limit_c: float) -> JsonObject:
    peak = int(np.argmax(celsius))
    steps = np.diff(hours)
    # Between two readings the temperature is taken as their mean; across a gap nothing is claimed.
    counted = np.where(steps <= GAP_H, steps, 0.0)
    middle = (celsius[1:] + celsius[:-1]) / 2
    out: JsonObject = {
        "core_peak_c": float(celsius[peak]),
        "core_peak_at_h": float(hours[peak]),
        "hours_over_limit": float(counted[middle > limit_c].sum()),
        "core_degree_hours": float((counted * np.maximum(middle - DEGREE_HOURS_BASE_C, 0.0)).sum()),
        "longest_gap_h": float(steps.max()) if len(steps) else None,
    }
    later = np.searchsorted(hours, hours + RISE_SPAN_H)
    inside = later < len(hours)
    if inside.any():
        span = hours[later[inside]] - hours[inside]
        rise = (celsius[later[inside]] - celsius[inside]) / span
        rise = np.where(span <= 2 * RISE_SPAN_H, rise, -np.inf)
        steepest = int(np.argmax(rise))
        if np.isfinite(rise[steepest]):
            out["steepest_rise_c_per_h"] = float(rise[steepest])
            out["steepest_rise_at_h"] = float(hours[inside][steepest])
    return out


def _spread(core: tuple[Array, Array], surface: tuple[Array, Array]) -> JsonObject:
    hours, celsius = core
    if not len(surface[0]):
        return {}
    nearest = np.clip(np.searchsorted(surface[0], hours), 1, max(len(surface[0]) - 1, 1))
    nearest = np.minimum(nearest, len(surface[0]) - 1)
    before = np.maximum(nearest - 1, 0)
    closer = np.abs(surface[0][before] - hours) < np.abs(surface[0][nearest] - hours)
    nearest = np.where(closer, before, nearest)
    together = np.abs(surface[0][nearest] - hours) <= TOGETHER_H
    if not together.any():
        return {}
    spread = np.where(together, celsius - surface[1][nearest], -np.inf)
    widest = int(np.argmax(spread))
    return {"widest_spread_c": float(spread[widest]), "widest_spread_at_h": float(hours[widest])}
