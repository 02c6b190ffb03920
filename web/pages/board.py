"""The board: is any pour in trouble? One large tile a pour, trouble first."""

from __future__ import annotations

import logging
from typing import Any

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.responses import Response

from logger.errors import LoggerError
from logger.pour import LIVE, Stage
from logger.store import alarms, forecasts, pours, stations
from logger.store.rows import PourWithPrediction
from web.actions import pours as pour_actions
from web.pages.pour import chance_words
from web.security.access import OnlookerDep, ServiceDep
from web.service.pipeline import unjudged
from web.service.service import Service
from web.views.render import page
from web.views.status import NOT_WATCHED, STAGE_WORDS, Status, status_of, urgency
from web.views.units import chosen

log = logging.getLogger(__name__)
router = APIRouter(include_in_schema=False)
#: Finished pours listed on the board.
FINISHED_SHOWN = 12


@router.get("/")
def board(request: Request, service: ServiceDep, _who: OnlookerDep) -> Response:
    """Every pour that is watched, then what is planned, then what is done."""
    now_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        tiles = [_tile(service, connection, pour, now_ms) for pour in pours.predicted_pours(connection, LIVE)]
        ahead = pours.all_pours(connection, (Stage.PLANNED, Stage.READY))
        done = pours.all_pours(connection, (Stage.RELEASED, Stage.CLOSED, Stage.SPOILED), FINISHED_SHOWN)
        lone = [row for row in alarms.open_alarms(connection) if row.pour_id is None]
        has_station = stations.any_station(connection)
    tiles.sort(key=lambda tile: (urgency(tile["standing"]), -tile["pour"].id))
    return page(
        request,
        "board.html",
        {
            "tiles": tiles,
            "ahead": ahead,
            "done": done,
            "stage_words": STAGE_WORDS,
            "lone": lone,
            "has_station": has_station,
            "units_chosen": chosen(request),
        },
    )


def _tile(service: Service, connection: Connection, pour: PourWithPrediction, now_ms: int) -> dict[str, Any]:
    """One live pour. What is stored of one must not take the others off the board."""
    try:
        return _whole_tile(service, connection, pour, now_ms)
    except (LoggerError, AttributeError, KeyError, TypeError, ValueError):
        log.exception("pour %s cannot be shown", pour.id)
        because = unjudged(service, pour) or "what is stored of it cannot be read: go there and look"
        lost = Status("stop", NOT_WATCHED, because, (), None, old=True, live=True)
        return {
            "pour": pour,
            "standing": lost,
            "stage": STAGE_WORDS[Stage(pour.stage)],
            "limit_c": None,
            "hour": (now_ms - pour.started_ms) / 3.6e6,
            "peak_c": None,
            "peak_in_h": None,
            "chance": None,
        }


def _whole_tile(
    service: Service, connection: Connection, pour: PourWithPrediction, now_ms: int
) -> dict[str, Any]:
    limits = pour_actions.plan_of(pour).resin.limits
    hour = (now_ms - pour.started_ms) / 3.6e6
    prediction = pour.prediction or {}
    peak_c, peak_at_h, chance = prediction.get("peak_c"), prediction.get("peak_at_h"), None
    forecast = forecasts.latest(connection, pour.id)
    if forecast is not None:
        peak_c, peak_at_h = forecast.body["core_peak_c"]["p50"], forecast.body["core_peak_at_h"]["p50"]
        chance = chance_words(forecast.body["chance_core_over_limit"])
    return {
        "pour": pour,
        "standing": status_of(service, connection, pour, now_ms),
        "stage": STAGE_WORDS[Stage(pour.stage)],
        "limit_c": limits.max_core_c,
        "hour": hour,
        "peak_c": peak_c,
        "peak_in_h": None if peak_at_h is None else peak_at_h - hour,
        "chance": chance,
    }
