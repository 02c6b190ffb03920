"""A pour as a tile shows it: its core's course in one small picture, trend, expected peak and next task.

All of it is out of the pour's one judgement, its stored forecast and its readings: nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, floor, isnan
from typing import Any

from markupsafe import Markup
from sqlalchemy import Connection

from logger.condition.judgement import Condition
from logger.condition.peak_call import Call, PeakCall
from logger.condition.trend import rate_k_h
from logger.facts import Fact
from logger.pour import Stage
from logger.quantities import difference, moment, temperature
from logger.quantities import peak as peak_mark
from logger.store.rows import PourWithPrediction
from logger.units import HOUR_MS
from logger.words.phrase import phrase
from web.service.series_cache import CoreCourse
from web.service.service import Service
from web.views.agenda import Coming, coming
from web.views.predicted import Foretold, foretold_of
from web.views.sparkline import Band, Course, sparkline
from web.views.status import Status

#: Columns of the small picture: as many as a tile of a large screen has pixels, halved.
COLUMNS = 120
#: A picture ends so long after the peak is past for certain, as a part of the time until then.
BEYOND_PEAK = 0.25
#: Calls with which the peak's band is shown and no number out of its middle, while the limit lies inside it.
A_RANGE = (Call.OPEN, Call.LIKELY_OVER, Call.PASSED)


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be done next. late: it is due."""

    what: str
    at_ms: int
    late: bool


@dataclass(frozen=True, slots=True)
class Glance:
    """What a tile shows beside the judgement's own words. trend: None where the readings do not tell; below: what is
    left to the limit; None where the core is not read now, or has no limit."""

    picture: Markup
    trend: Fact | None
    below: Fact | None
    peak: Fact
    task: Task | None


def glance_of(
    service: Service, connection: Connection, pour: PourWithPrediction, status: Status, now_ms: int
) -> Glance:
    """Return a live pour at a glance."""
    core = None
    if pour.poured_ms is not None and status.core is not None:
        core = service.curves.core(connection, pour.id, pour.poured_ms, status.core.place, COLUMNS)
    return Glance(
        picture=picture_of(status, core),
        trend=trend_of(status, core, now_ms),
        below=below_limit(status.condition),
        peak=peak_words(status.condition.peak, pour.poured_ms, now_ms),
        task=next_task(pour, status, now_ms),
    )


def picture_of(status: Status, core: CoreCourse | None) -> Markup:
    """Return the core's course with the forecast and the limit."""
    condition = status.condition
    now_h = max(0.0, condition.hour or 0.0)
    hours = [] if core is None else core.hours.tolist()
    celsius = [] if core is None else _or_none(core.celsius.tolist())
    band = None
    # A forecast that the readings have refuted says nothing of the hours ahead.
    if condition.peak.call is not Call.REFUTED and not condition.peak.planned:
        band = _band(status.forecast)
    until_h = None if condition.peak.peak is None else condition.peak.peak.last_at_h * (1 + BEYOND_PEAK)
    return sparkline(
        Course(hours, celsius, now_h, condition.limit_c, band, until_h=max(until_h or 0.0, now_h))
    )


def trend_of(status: Status, core: CoreCourse | None, now_ms: int) -> Fact | None:
    """Return how fast the core moves; None where it is not read now, or the readings do not tell."""
    if core is None or status.core is None or status.core.celsius is None:
        return None
    rate = rate_k_h(core.late_ms, core.late_c, now_ms)
    return None if rate is None else phrase("{change} an hour", change=difference(rate, signed=True))


def below_limit(condition: Condition) -> Fact | None:
    """Return how far the core is from its limit; None where it is not read now, or has none."""
    core, limit_c = condition.core, condition.limit_c
    if core is None or core.celsius is None or limit_c is None:
        return None
    left = limit_c - core.celsius
    apart = difference(abs(left))
    return phrase("{apart} below it", apart=apart) if left >= 0 else phrase("{apart} over it", apart=apart)


def peak_words(call: PeakCall, started_ms: int | None, now_ms: int) -> Fact:
    """Return the expected peak and when, in few words.

    While the limit lies inside the forecast's band its range, never one number: it would be taken for the answer.
    """
    peak, hottest = call.peak, call.hottest
    if peak is None or started_ms is None:
        return phrase("not predicted yet")
    if call.call is Call.PAST:
        if hottest is None:
            return phrase("past")
        at = moment(started_ms + round(hottest[1] * HOUR_MS))
        return phrase("past: {hottest} at {at}", hottest=temperature(hottest[0]), at=at)
    outdone = call.planned and (
        call.call is Call.PASSED or (hottest is not None and hottest[0] > peak.middle_c)
    )
    if call.call is Call.REFUTED or outdone:
        return phrase("hotter than predicted")
    at_ms = started_ms + round(peak.at_h * HOUR_MS)
    at = moment(at_ms)
    if call.call in A_RANGE:
        low, high = peak_mark(floor(peak.low_c)), peak_mark(ceil(peak.high_c))
        if at_ms <= now_ms:
            return phrase("{low} to {high}, about now", low=low, high=high)
        return phrase("{low} to {high}, about {at}", low=low, high=high, at=at)
    middle = peak_mark(peak.middle_c)
    if at_ms <= now_ms:
        return phrase("about {peak}, about now", peak=middle)
    return phrase("about {peak}, {at}", peak=middle, at=at)


def next_task(pour: PourWithPrediction, status: Status, now_ms: int) -> Task | None:
    """Return what is to be done or comes next, beside the peak; None where nothing is known to."""
    started_ms, condition = pour.poured_ms, status.condition
    foretold = _foretold(pour.prediction)
    if started_ms is None:
        return None
    looks = [] if condition.look_due_ms is None else [(condition.look_due_ms - started_ms) / HOUR_MS]
    items: list[Coming] = []
    hour = (now_ms - started_ms) / HOUR_MS
    if foretold is not None:
        items = coming(Stage(pour.stage), hour, foretold, status.forecast, condition.peak, looks)
    elif looks:
        items = [Coming("look-at-the-form", phrase("Look at the form"), looks[0])]
    for item in items:
        if item.name != "core-at-its-hottest":
            at_ms = started_ms + round(item.at_h * HOUR_MS)
            return Task(item.short or item.what, at_ms, late=at_ms <= now_ms)
    return None


def _foretold(prediction: Mapping[str, Any] | None) -> Foretold | None:
    """Return what was frozen with a pour; None of an older one, which a tile does not wait to be solved again."""
    if not prediction or not (prediction.get("foretold") or prediction.get("rough")):
        return None
    return foretold_of("", prediction)


def _band(forecast: Mapping[str, Any] | None) -> Band | None:
    bands = (forecast or {}).get("bands")
    if not bands:
        return None
    core = bands["core_c"]
    return Band(bands["hours"], core["p05"], core["p50"], core["p95"])


def _or_none(values: list[float]) -> list[float | None]:
    return [None if isnan(value) else value for value in values]
