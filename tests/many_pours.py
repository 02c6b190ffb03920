"""Many live pours at once, for boards and walls: each at a station of its own, some hours old, with a forecast.

Every course, forecast and title is invented.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any

import numpy as np
from sqlalchemy import update

from hardware.clock import Stamp
from logger.pour import Stage
from logger.store import forecasts, pours, readings, stations
from logger.store.pours import POUR
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from web.actions import pours as pour_actions
from web.service.service import Service

ROOM_C = 21.0
#: So long a lost pour has not been read, s.
SILENT_S = 600.0
#: How many times the predicted rise a hot core has; half the breadth of an uncertain forecast, K.
HOT, UNCERTAIN_K = 5.0, 33.0
TITLES = (
    "Oak river table", "Round top, walnut", "Desk with a lake", "Elm bench", "Bar top, first half",
    "Bar top, second half", "Side table", "Ash shelf", "Cherry slab", "Wall piece", "Coffee table", "Long river table",
)  # fmt: skip


Curve = Callable[[float], float]


def course_of(prediction: Mapping[str, Any], times: float) -> Curve:
    """The core as it was predicted with a pour, its rise so many times as high."""
    hours, celsius = prediction["curve"]["hours"], prediction["curve"]["core_c"]
    return lambda hour: ROOM_C + times * (float(np.interp(hour, hours, celsius)) - ROOM_C)


def pour_many(
    service: Service,
    clock: Any,
    plan_toml: str,
    count: int,
    *,
    hours: float = 12.0,
    hot: Collection[int] = (),
    lost: Collection[int] = (),
    uncertain: Collection[int] = (),
) -> list[int]:
    """Pour so many tables and let them cure for so long; give their numbers.

    hot: which of them are over the limit; lost: which of them nobody has read for ten minutes; uncertain: whose
    forecast has the limit inside its band. The clock moves by `hours`.
    """
    began = clock.stamp()
    made = []
    for number in range(count):
        name = f"table-{number + 1}"
        with service.store.write() as tx:
            stations.enrol(tx, name, service.timeline.true_ms())
        made.append(pour_actions.plan_pour(service, plan_toml, "A client (invented)", name, "Ada"))
        for stage in (Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING):
            with service.store.write() as tx:
                pours.move_on(tx, made[-1], stage, "Ada", service.timeline)
                # One plan for all is solved once; each has a title of its own.
                tx.execute(
                    update(POUR).where(POUR.c.id == made[-1]).values(title=TITLES[number % len(TITLES)])
                )
    clock.move(hours * 3600 - SILENT_S)
    for number, pour_id in sorted(enumerate(made), key=lambda one: one[0] not in lost):
        if number not in lost and service.timeline.true_ms() < began.wall_ms + hours * 3.6e6:
            clock.move(SILENT_S)
        silent_s = SILENT_S if number in lost else 0.0
        with service.store.read() as connection:
            prediction = pours.get_pour(connection, pour_id).prediction or {}
        curve = course_of(prediction, HOT if number in hot else 1.0 + 0.01 * (number % 5))
        _read(service, began, number, hours - silent_s / 3600, curve)
        with service.store.write() as tx:
            body = forecast_body(hours, curve, UNCERTAIN_K if number in uncertain else 3.0)
            forecasts.add_forecast(tx, pour_id, hours, service.timeline.true_ms(), body)
    if len(lost) == count:
        clock.move(SILENT_S)
    service.watch.judge_all()
    return made


def _read(service: Service, began: Stamp, number: int, until_h: float, curve: Curve) -> None:
    """Readings every five minutes; the last ones every half minute, so that a trend can be told."""
    steps = [
        *range(0, round(until_h * 3600) - 900, 300),
        *range(round(until_h * 3600) - 900, round(until_h * 3600) + 1, 30),
    ]
    rows = []
    for step_s in steps:
        stamp = Stamp(began.wall_ms + step_s * 1000, began.boot_id, began.boot_ms + step_s * 1000, True)
        core = curve(step_s / 3600)
        felt = {"core": core, "surface": ROOM_C + 0.6 * (core - ROOM_C), "room": ROOM_C}
        rows += [
            WireReading(
                f"28-{number:06x}0000c{i}", place, stamp, round(1000 * celsius), None, "00", None, None,
                seq=3 * step_s + i,
            )
            for i, (place, celsius) in enumerate(felt.items(), 1)
        ]  # fmt: skip
    with service.store.write() as tx:
        station = stations.by_name(tx, f"table-{number + 1}")
        batch = ReadingBatch(station.id, f"spool-{number}", rows[-1].stamp, rows)
        readings.save_batch(tx, batch, service.timeline.true_ms())


def forecast_body(at_h: float, curve: Curve, spread_k: float) -> dict[str, Any]:
    """A forecast as the service keeps it, made up: the course itself, and so much to either side at the peak."""
    hours = [at_h + 0.25 * i for i in range(80)]
    middle = [curve(hour) for hour in hours]
    share = [min(1.0, (hour - at_h) / 3) for hour in hours]
    peak_c = max(middle)
    peak_h = hours[middle.index(peak_c)]
    return {
        "at_h": at_h,
        "core_peak_c": {"p05": peak_c - spread_k, "p50": peak_c, "p95": peak_c + spread_k},
        "core_peak_at_h": {"p05": peak_h - 1, "p50": peak_h, "p95": peak_h + 1},
        "crosses_limit_at_h": None,
        "chance_core_over_limit": 1.0 if peak_c - spread_k > 60 else 0.0 if peak_c + spread_k < 60 else 0.4,
        "clear_at_h": None,
        "gel_at_h": {"p05": peak_h + 1, "p50": peak_h + 2, "p95": peak_h + 3},
        "release_at_h": {"p05": 40.0, "p50": 44.0, "p95": 50.0, "within_h": 72.0},
        "causes": [],
        "what_if": {},
        "bands": {
            "hours": hours,
            "core_c": {
                "p05": [value - spread_k * part for value, part in zip(middle, share, strict=True)],
                "p50": middle,
                "p95": [value + spread_k * part for value, part in zip(middle, share, strict=True)],
            },
        },
    }
