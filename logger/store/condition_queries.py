"""What a pour's condition is judged from, asked of the store at one moment."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection

from logger.alarms.first_hour import Rhythm, next_due_ms
from logger.alarms.kind import Priority
from logger.alarms.state import Phase
from logger.condition.evidence import PLACES, Evidence, OpenAlarm, Thermometer
from logger.condition.peaks import forecast_peak, planned_peak
from logger.pour import Stage
from logger.store import alarms, page_queries
from logger.store.readings import hottest_core
from logger.store.rows import AlarmRow, ForecastRow, PourWithPrediction, ProbeRow


def evidence_of(
    connection: Connection,
    pour: PourWithPrediction,
    forecast: ForecastRow | None,
    rhythm: Rhythm,
    unjudged: str | None,
    hottest: tuple[float, float] | None = None,
) -> Evidence:
    """Return everything that the judgement of a pour looks at, as it is stored now.

    forecast: the newest; unjudged: why no alarm of it can be relied on. hottest: the core's hottest reading (°C, hour)
    where it is known; None: it is looked up. Raises BadPlan, and KeyError or TypeError for a stored forecast that is
    none.
    """
    from logger.plan.file import plan_from_text  # here: a start does not wait for it

    stage = Stage(pour.stage)
    look_due_ms = None
    if pour.poured_ms is not None:
        if hottest is None:
            row = hottest_core(connection, pour.id, pour.poured_ms)
            hottest = None if row is None else (row.milli_c / 1000, (row.at_ms - pour.poured_ms) / 3.6e6)
        if stage in (Stage.POURING, Stage.WATCHED):
            look_due_ms = next_due_ms(pour.poured_ms, rhythm, page_queries.looks_of(connection, pour.id))
    return Evidence(
        stage=stage,
        started_ms=pour.poured_ms,
        limit_c=plan_from_text(pour.plan_toml, f"pour {pour.id}'s plan").resin.limits.max_core_c,
        thermometers=thermometers(probes_now(connection, pour, stage)),
        alarms=[open_alarm(row) for row in alarms.open_alarms(connection, pour.id)],
        hottest=hottest,
        planned=planned_peak(pour.prediction),
        forecast=None if forecast is None else forecast_peak(forecast.body),
        look_due_ms=look_due_ms,
        unjudged=unjudged,
    )


def probes_now(connection: Connection, pour: PourWithPrediction, stage: Stage) -> list[ProbeRow]:
    """Return the probes that watch a pour. Once its watch has ended they watch another: none are its own."""
    ended = stage in (Stage.RELEASED, Stage.CLOSED, Stage.SPOILED)
    return [] if ended else page_queries.probes_of_pour(connection, pour)


def thermometers(probes: Sequence[ProbeRow]) -> tuple[Thermometer, ...]:
    """Return a pour's probes as its judgement sees them, in the order in which they are read out."""
    watching = [
        Thermometer(
            row.place,
            None if row.last_milli_c is None else row.last_milli_c / 1000,
            row.last_good_ms,
            row.last_fault,
        )
        for row in probes
        if row.place.partition("-")[0] in PLACES
    ]
    return tuple(sorted(watching, key=lambda probe: (PLACES.index(probe.kind), probe.place)))


def open_alarm(row: AlarmRow) -> OpenAlarm:
    """Return a stored alarm as the judgement sees it."""
    return OpenAlarm(
        row.id,
        row.kind,
        Priority(row.priority),
        Phase(row.phase),
        row.reason,
        row.raised_ms,
        row.acknowledged_by,
        row.acknowledged_ms,
    )
