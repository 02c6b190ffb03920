"""How the alarms themselves behaved over some days, for page and programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import Query

from logger.alarms.rates import rates
from logger.store import alarms
from web.answers import AlarmRatesAnswer, RateTargetAnswer
from web.service.service import Service

DAY_MS = 24 * 3600_000
Days = Annotated[float, Query(gt=0, le=3650)]


def rates_of(service: Service, days: float) -> AlarmRatesAnswer:
    """Return the figures of the last days. No longer than the history is."""
    until_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        spans = alarms.spans(connection)
        begin_ms = alarms.history_from_ms(connection)
    from_ms = max(until_ms - round(days * DAY_MS), begin_ms if begin_ms is not None else until_ms)
    figures = asdict(rates(spans, from_ms, until_ms))
    marks = tuple(
        RateTargetAnswer(asked=target.pop("target"), kept=target.pop("met"), **target)
        for target in figures.pop("targets")
    )
    return AlarmRatesAnswer(from_ms=from_ms, until_ms=until_ms, **figures, marks=marks)
