"""The fan relay of a station: switched by hand, given back to plan and forecast, and how it stands for a pour."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form
from sqlalchemy import Connection
from starlette.responses import RedirectResponse, Response

from logger.alarms.conditions.heat import LEAST_COOLING
from logger.alarms.inputs import ForecastAnswer
from logger.errors import BadInput
from logger.live.forecast_facts import answer_of
from logger.plan.file import Plan
from logger.store import stations
from logger.store.rows import PourRow
from logger.words.phrase import phrase
from web.actions import watching
from web.schemas import Name
from web.security.access import MakerDep, ServiceDep
from web.service.service import Service

router = APIRouter(include_in_schema=False)


@router.post("/stations/{name}/fan")
def switch(
    name: Name,
    service: ServiceDep,
    who: MakerDep,
    on: Annotated[str, Form(max_length=4)] = "",
    pour: Annotated[int | None, Form(ge=1, le=2**31 - 1)] = None,
) -> Response:
    """On or off by hand, or back to plan and forecast (`auto`). `pour`: whose page comes next."""
    if on == "auto":
        watching.give_fan_back(service, name, who.name)
    elif on in ("on", "off"):
        watching.fan(service, name, on=on == "on", by=who.name)
    else:
        raise BadInput(
            "on",
            phrase("is not one of the answers"),
            value=on,
            allowed=phrase("on, off, auto"),
            remedy=phrase("press again"),
        )
    return RedirectResponse("/stations" if pour is None else f"/pours/{pour}", 303)


def fan_of(
    service: Service, connection: Connection, pour: PourRow, plan: Plan, forecast: dict[str, Any] | None
) -> dict[str, Any] | None:
    """Return a live pour's fan as its page shows it; None where the pour has no station."""
    if pour.station_id is None or pour.poured_ms is None:
        return None
    row = stations.by_id(connection, pour.station_id)
    answer: ForecastAnswer | None = None if forecast is None else answer_of(forecast, 0)
    cooling = answer.fan_cooling if answer is not None and row.fan_on else None
    return {
        "row": row,
        "since_ms": None if row.fan_since_ms is None else row.fan_since_ms + service.timeline.shift_ms,
        "cooling": None if cooling is None else round(100 * min(max(cooling, 0.0), 1.0)),
        "cools": cooling is not None and cooling >= LEAST_COOLING,
        "planned": [
            {
                "from_ms": pour.poured_ms + round(t.from_h * 3.6e6),
                "to_ms": pour.poured_ms + round(t.to_h * 3.6e6),
            }
            for t in plan.fan
        ],
        "on_forecast": service.settings.fan.on_forecast,
    }
