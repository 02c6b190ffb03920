"""Every pour that was poured, as the comparison takes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from logger.errors import BadInput, LoggerError
from logger.plan.file import plan_from_text
from logger.pour import LIVE
from logger.record import compare
from logger.record.downsample import thin
from logger.record.gather import CURVE_COLUMNS, foreign_record
from logger.store import pours, shop_events
from logger.words.reader import Reader
from web.service.service import Service
from web.views.charts import BEYOND_PEAK, FIRST_HOUR_H, Range

#: Columns of one curve on the comparison's chart: two dozen of them share a page.
SHOWN_COLUMNS = 60


def compared_chart(shown: Sequence[compare.Compared], u: Reader) -> dict[str, Any]:
    """Return what the chart draws of pours beside each other: their cores over hours since their own pouring."""
    last_h = max((max(one.hours, default=0.0) for one in shown), default=0.0)
    ranges = [Range("first-hour", FIRST_HOUR_H)]
    peaks = [one.peak_at_h for one in shown if one.peak_at_h is not None]
    if peaks and (to_peak := max(FIRST_HOUR_H, (1 + BEYOND_PEAK) * max(peaks))) < last_h:
        ranges.append(Range("to-peak", to_peak))
    ranges.append(Range("all", max(last_h, FIRST_HOUR_H)))
    return {
        "fahrenheit": u.temperature == "f",
        "limit_c": None,
        "poured_ms": None,
        "now_h": None,
        "live": False,
        "clock": [],
        "ranges": [{"name": one.name, "until_h": round(one.until_h, 3)} for one in ranges],
        "range": "to-peak" if len(ranges) > 2 else "all",
        "predicted": {"hours": []},
        "band": None,
        "marks": [],
        "pours": [
            {"name": f"{one.pour} {one.title}", "hours": one.hours, "celsius": one.core_c} for one in shown
        ],
    }


def thinned_pour(one: compare.Compared) -> compare.Compared:
    """Return a pour with as many points as a chart of many can show; no hot sample is lost."""
    celsius = np.array([np.nan if value is None else value for value in one.core_c], dtype=float)
    hours, core_c = thin(np.array(one.hours, dtype=float), celsius, SHOWN_COLUMNS)
    return replace(
        one,
        hours=[round(hour, 3) for hour in hours.tolist()],
        core_c=[None if value != value else round(value, 2) for value in core_c.tolist()],
    )


def every_pour(service: Service) -> list[compare.Compared]:
    """Every pour that was poured, oldest first: sealed ones from their record, others from their readings.

    Then the records from elsewhere; one that is none is told on its own page.
    """
    compared: list[compare.Compared] = []
    with service.store.read() as connection:
        foreign = shop_events.foreign_records(connection)
        sealed: dict[int, dict[str, Any]] = dict(shop_events.sealed_records(connection))
        for row in reversed(pours.all_pours(connection)):
            if row.poured_ms is None:
                continue
            if row.id in sealed:
                record = sealed[row.id]
                compared.append(
                    compare.compared(row.id, record["plan"], record["prediction"], record["curves"])
                )
                continue
            prediction = pours.get_pour(connection, row.id).prediction
            curves = service.curves.thinned(connection, row.id, row.poured_ms, CURVE_COLUMNS)
            try:
                plan = plan_from_text(row.plan_toml).model_dump(exclude_none=True, mode="json")
            except LoggerError:
                # A plan of an older program that no longer reads: its record still tells it.
                continue
            compared.append(compare.compared(row.id, plan, prediction, curves, unfinished=row.stage in LIVE))
    for sent in reversed(foreign):
        try:
            record = foreign_record(sent.body or "", f"pour {sent.id}")
        except BadInput:
            continue
        if record["pour"]["poured_ms"] is not None:
            compared.append(
                compare.compared(
                    sent.id,
                    record["plan"],
                    record["prediction"],
                    record["curves"],
                    str(sent.origin["workshop"]),
                )
            )
    return compared
