"""How the alarms themselves behave: too many, chattering, stale? From history."""

from __future__ import annotations

from collections.abc import Iterable

from fastapi import APIRouter, Request
from starlette.responses import Response

from logger.alarms.registry import KINDS
from logger.words.phrase import phrase
from web.security.access import ServiceDep, ViewerDep
from web.views.alarm_rates import Days, rates_of
from web.views.render import page

router = APIRouter(include_in_schema=False)


@router.get("/alarms/rates")
def alarm_rates(request: Request, service: ServiceDep, _who: ViewerDep, days: Days = 30) -> Response:
    """Show the figures of the last days against what alarm management asks for."""
    found = rates_of(service, days)
    largest = max((count for _name, count in found.most), default=1)
    most = [
        {"name": _title(name), "value": str(count), "part": count / largest} for name, count in found.most
    ]
    troubles = {
        phrase("Chattering"): _titles(found.chattering),
        phrase("Fleeting"): _titles(found.fleeting),
        phrase("Up for more than a day"): _titles(found.stale),
    }
    return page(
        request, "rates.html", {"rates": found, "most": most, "troubles": troubles.items(), "days": days}
    )


def _titles(keys: Iterable[str]) -> list[str]:
    """Return the titles of alarms by their keys (kind/pour/subject), each once."""
    return list(dict.fromkeys(_title(key.partition("/")[0]) for key in keys))


def _title(kind: str) -> str:
    """Return a kind's title; its name, where it was of an older program."""
    return KINDS[kind].title if kind in KINDS else kind
