"""How the alarms themselves behave: too many, chattering, stale? From history."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from logger.alarms.registry import KINDS
from web.security.access import ServiceDep, ViewerDep
from web.views.alarm_rates import Days, rates_of
from web.views.render import page

router = APIRouter(include_in_schema=False)


@router.get("/alarms/rates")
def alarm_rates(request: Request, service: ServiceDep, _who: ViewerDep, days: Days = 30) -> Response:
    """Show the figures of the last days against what alarm management asks for."""
    return page(request, "rates.html", {"rates": rates_of(service, days), "kinds": KINDS, "days": days})
