"""Forecasts as they were made: the newest for the pages, the ones at certain hours for the record."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, bindparam, func, insert, select

from logger.json_text import finite
from logger.store.database import table
from logger.store.rows import ForecastRow, all_rows, columns, first_row
from logger.store.tables import ForecastTable

FORECAST = table(ForecastTable)
_FORECASTS = select(*columns(FORECAST, ForecastRow))
#: Hours at which a record shows what the forecast said then.
MILESTONES_H = (1.0, 4.0, 12.0)
#: A forecast made later than this many times the hour does not tell what was foretold then.
SOON = 1.5


def add_forecast(tx: Connection, pour_id: int, at_h: float, made_ms: int, body: dict[str, Any]) -> int:
    """Keep a forecast. Gives its id. Raises NotFinite."""
    values = {"pour_id": pour_id, "at_h": at_h, "made_ms": made_ms, "body": finite(body, "forecast")}
    return int(tx.execute(insert(FORECAST).values(**values).returning(FORECAST.c.id)).scalar_one())


# With every judgement; built once.
_LATEST_ID = select(func.max(FORECAST.c.id)).where(FORECAST.c.pour_id == bindparam("pour"))
_NEWEST = (
    _FORECASTS.where(FORECAST.c.pour_id == bindparam("pour"))
    .order_by(FORECAST.c.id.desc())
    .limit(bindparam("most"))
)


def latest_id(connection: Connection, pour_id: int) -> int | None:
    """Return the newest forecast's id, or None: a body is large, and mostly known already."""
    return connection.execute(_LATEST_ID, {"pour": pour_id}).scalar()


def latest(connection: Connection, pour_id: int) -> ForecastRow | None:
    """Return the newest forecast of a pour, or None."""
    return next(iter(newest(connection, pour_id, 1)), None)


def newest(connection: Connection, pour_id: int, most: int) -> list[ForecastRow]:
    """Return the newest forecasts of a pour, at most so many, oldest first."""
    return all_rows(connection, _NEWEST, ForecastRow, {"pour": pour_id, "most": most})[::-1]


def at_milestone(connection: Connection, pour_id: int, hour: float) -> ForecastRow | None:
    """Return the first forecast made at or soon after an hour of the pour, or None: what was foretold then."""
    query = _FORECASTS.where(FORECAST.c.pour_id == pour_id, FORECAST.c.at_h.between(hour, hour * SOON))
    return first_row(connection, query.order_by(FORECAST.c.at_h, FORECAST.c.id).limit(1), ForecastRow)
