"""Every pour that was poured, as the comparison takes them."""

from __future__ import annotations

from typing import Any

from logger.errors import BadInput, LoggerError
from logger.plan.file import plan_from_text
from logger.pour import LIVE
from logger.record import compare
from logger.record.gather import CURVE_COLUMNS, foreign_record
from logger.store import pours, shop_events
from web.service.service import Service


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
