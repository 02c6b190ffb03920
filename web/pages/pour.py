"""The pour page: how is this one doing, what comes next, and when?"""

from __future__ import annotations

import json
import logging
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from sqlalchemy import Connection
from starlette.responses import RedirectResponse, Response

from logger.alarms.ending import EXCEPTION_MIN
from logger.alarms.first_hour import Look, Rhythm, due_times_ms, next_due_ms
from logger.alarms.state import Phase
from logger.condition.condition_words import STAGE_WORDS
from logger.cure.forecast.what_if import COOLER_K
from logger.errors import BadInput, LoggerError
from logger.facts import Fact
from logger.live.forecaster import FIRST_H, due_at_h
from logger.pour import FOLLOWS, LIVE, Stage
from logger.quantities import chance, difference
from logger.store import forecasts, page_queries, pours, stations
from logger.store.alarms import alarms_of
from logger.store.people import Role
from logger.store.rows import AlarmRow, EventRow, PourRow
from logger.words.phrase import phrase
from logger.words.reader import Reader
from web.actions import ending
from web.actions import pours as pour_actions
from web.actions.message_test import untested
from web.actions.undo import LastStep, undoable
from web.pages.fan import fan_of
from web.pages.steps import STEP_WORDS
from web.schemas import RowId
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.agenda import Coming, coming
from web.views.assessed import course_to_draw
from web.views.at_a_glance import COLUMNS, trend_of
from web.views.charts import DEEDS, Stand, chart_of, ends_h, marks_of, peak_of
from web.views.one_action import Progress, one_action
from web.views.one_button import OneButton, one_button
from web.views.peak_figures import peak_figures
from web.views.predicted import Foretold, forecast_pictures, foretold_of, pictures
from web.views.reader_units import reader_of
from web.views.render import page
from web.views.status import Status, status_of
from web.views.time_line import time_line

log = logging.getLogger(__name__)
router = APIRouter(include_in_schema=False)
#: The forecast's name of a remedy → what somebody would do.
HELP_WORDS: dict[str, str] = {
    "as it is": phrase("nothing: leave it as it is"),
    "fans": phrase("fans over the surface"),
    "underside open": phrase("the underside opened to the air"),
    "cooler room": phrase("the room {by} cooler within the hour", by=difference(COOLER_K, 0)),
    "shade": phrase("the surface shaded"),
}
#: While nobody may hear an alarm, it is said from signing on until the first hour is over.
#: Alarms of the past that the page lists; the record has all of them.
MOST_PAST = 5
SOON_LIVE = (Stage.READY, Stage.POURING, Stage.WATCHED)


@router.get("/pours/{pour_id}")
def pour_page(pour_id: RowId, request: Request, service: ServiceDep, who: ViewerDep) -> Response:
    """One pour, now. A record from elsewhere is its record."""
    with service.store.read() as connection:
        if pours.origin_of(connection, pour_id) is not None:
            return RedirectResponse(f"/pours/{pour_id}/record", 303)
    return page(request, "pour.html", _context(service, pour_id, reader_of(request), may=who.may(Role.MAKER)))


@router.post("/pours/{pour_id}/station")
def choose_station(
    pour_id: RowId,
    service: ServiceDep,
    who: MakerDep,
    station: Annotated[str, Form(max_length=64)],
    probe: Annotated[list[str] | None, Form(max_length=64)] = None,
    every: Annotated[str, Form(max_length=4)] = "",
) -> Response:
    """Say which station's probes are in the form: all of them, or some."""
    if every == "no" and not probe:
        raise BadInput(
            phrase("probes"),
            phrase("none was chosen"),
            remedy=phrase("choose at least one, or all of the station's"),
        )
    pour_actions.choose_station(service, pour_id, station, who.name, probe or ())
    return RedirectResponse(f"/pours/{pour_id}", 303)


@router.post("/pours/{pour_id}/notes")
def add_note(
    pour_id: RowId,
    service: ServiceDep,
    who: MakerDep,
    text: Annotated[str, Form(max_length=4000)],
    reason: Annotated[str, Form(max_length=pour_actions.LONGEST_REASON)] = "",
) -> Response:
    """Keep a note with the pour; with a sealed record as an addition with its reason."""
    pour_actions.add_entry(service, pour_id, who.name, pour_actions.Entry(text, reason=reason))
    # Only a sealed record asks for a reason.
    where = f"/pours/{pour_id}/record#additions" if reason.strip() else f"/pours/{pour_id}#events"
    return RedirectResponse(where, 303)


@router.get("/pours/{pour_id}/section")
def section(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> Response:
    """Show the cross-section over time, to draw: as the newest forecast sees it, else as planned."""
    body = None
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        forecast = forecasts.latest(connection, pour_id)
    if forecast is not None:
        picture = {name: forecast.body.get(name) for name in ("cut", "bands", "at_h")}
        try:
            body = forecast_pictures(pour.plan_toml, json.dumps(picture))
        except LoggerError:
            # What cannot be drawn must not take the plan's picture away as well.
            log.exception("pour %s: its forecast's cut could not be drawn", pour_id)
    body = body or pictures(course_to_draw(pour.plan_toml))
    return Response(json.dumps(body, separators=(",", ":"), allow_nan=False), media_type="application/json")


@dataclass(frozen=True, slots=True)
class _Stored:
    """What the store has of a pour for its page. station: its name; None where one has to be chosen."""

    pour: PourRow
    standing: Status
    events: list[EventRow]
    deeds: list[EventRow]
    alarms: list[AlarmRow]
    looks: list[Look]
    station: str | None
    stations: list[str]
    choices: list[dict[str, object]]
    fan: dict[str, Any] | None
    ends: dict[Stage, ending.Ending]
    confirms: dict[Stage, str]
    undo: LastStep | None
    trend: Fact | None

    @property
    def may_step(self) -> bool:
        """Whether nothing stands in the way of the step that follows."""
        return any(end.may_end for to, end in self.ends.items() if to is not Stage.SPOILED)


def _stored(service: Service, connection: Connection, pour_id: int, now_ms: int) -> _Stored:
    pour = pours.get_pour(connection, pour_id)
    standing = status_of(service, connection, pour, now_ms)
    name, to_choose = stations.name_of(connection, pour.station_id), list[str]()
    if pour.stage in (Stage.PLANNED, Stage.READY):
        to_choose = stations.names_in_use(connection)
        name = name if name in to_choose else None  # revoked since: another has to be chosen
    asked = [to for to in FOLLOWS[Stage(pour.stage)] if to in ending.CONFIRMED]
    chosen = pours.probes_chosen(connection, pour_id)
    plugged = stations.probes_of(connection, pour.station_id) if pour.station_id else []
    return _Stored(
        pour=pour,
        standing=standing,
        events=page_queries.newest_events(connection, pour_id, 60),
        deeds=page_queries.events_of_kind(connection, pour_id, *DEEDS),
        alarms=alarms_of(connection, pour_id),
        looks=page_queries.looks_of(connection, pour_id),
        station=name,
        stations=to_choose,
        choices=[
            {"rom": probe.rom, "place": probe.place, "on": not chosen or probe.rom in chosen}
            for probe in plugged
        ],
        fan=fan_of(service, connection, pour, pour_actions.plan_of(pour), standing.forecast),
        ends=ending.endings_of(service, connection, pour, asked),
        confirms={to: ending.confirmation(connection, pour, to, now_ms) for to in asked},
        undo=undoable(service, connection, pour),
        trend=_trend(service, connection, standing, pour, now_ms),
    )


def _trend(
    service: Service, connection: Connection, standing: Status, pour: PourRow, now_ms: int
) -> Fact | None:
    """Return how fast the core on the page moves; None where its readings do not tell."""
    if standing.core is None or pour.poured_ms is None:
        return None
    course = service.curves.core(connection, pour.id, pour.poured_ms, standing.core.place, COLUMNS)
    return trend_of(standing, course, now_ms)


def _ahead(stored: _Stored, rhythm: Rhythm, hour: float | None) -> list[Coming]:
    """Return what is still to come."""
    pour, foretold = stored.pour, _foretold(stored.pour)
    stage = Stage(pour.stage)
    if foretold is None or hour is None or stage not in (*LIVE, Stage.RELEASED):
        return []
    looks_h = _looks_due_h(pour, rhythm, stored.looks)
    peak = stored.standing.condition.peak
    return coming(stage, hour, foretold, stored.standing.forecast, peak, looks_h)


def _button(stored: _Stored, rhythm: Rhythm, now_ms: int, *, may: bool) -> OneButton | None:
    """Return the page's one large button."""
    pour, condition = stored.pour, stored.standing.condition
    stage = Stage(pour.stage)
    due_ms = None if pour.poured_ms is None else next_due_ms(pour.poured_ms, rhythm, stored.looks)
    progress = Progress(stage, stored.station is not None, due_ms is None, stored.may_step)
    word = next((STEP_WORDS[to][0] for to in stored.ends if to in STEP_WORDS), None)
    return one_button(one_action(condition, progress, now_ms), pour.id, condition, may=may, step=word)


def _past(alarms: list[AlarmRow]) -> list[AlarmRow]:
    """Return the last alarms that are over, the newest first; not those that nobody was told of."""
    return [row for row in reversed(alarms) if row.phase == Phase.NORMAL and not row.quiet][:MOST_PAST]


def _context(service: Service, pour_id: int, u: Reader, *, may: bool) -> dict[str, Any]:
    now_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        stored = _stored(service, connection, pour_id, now_ms)
    pour, standing = stored.pour, stored.standing
    body = standing.forecast
    stage, plan = Stage(pour.stage), pour_actions.plan_of(pour)
    limits = plan.resin.limits
    hour = None if pour.poured_ms is None else (now_ms - pour.poured_ms) / 3.6e6
    ahead = _ahead(stored, service.rhythm, hour)
    return {
        "pour": pour,
        "stage": stage,
        "stage_word": STAGE_WORDS[stage],
        "standing": standing,
        "alarms_linked": standing.linked(),
        "plan": plan,
        "limit_c": limits.max_core_c,
        "hour": hour,
        "hottest": standing.condition.peak.hottest,
        "next_rows": time_line(ahead, hour or 0.0, pour.poured_ms or now_ms),
        "figures": peak_figures(standing.condition, pour.poured_ms) if stage in LIVE else None,
        "trend": stored.trend,
        "act": _button(stored, service.rhythm, now_ms, may=may),
        "past_alarms": _past(stored.alarms),
        "steps_open": stage is Stage.POURING or stored.may_step,
        "forecast": body,
        "next_forecast_ms": _at_ms(pour, max(due_at_h(body), FIRST_H)) if stage in LIVE else None,
        "helps": _helps(body),
        "chart": _chart(stored, hour, limits.max_core_c, u),
        "events": stored.events,
        "station": stored.station,
        "stations": stored.stations,
        "choices": stored.choices,
        "steps": [(to, *STEP_WORDS[to]) for to in FOLLOWS[stage] if to in STEP_WORDS],
        "live": stage in LIVE,
        "fan": stored.fan if stage in LIVE else None,
        "untested": untested(service) if stage in SOON_LIVE else None,
        "can_test": bool(service.addresses.groups()),
        "may_spoil": Stage.SPOILED in FOLLOWS[stage],
        "ends": stored.ends,
        "confirms": stored.confirms,
        "undo": stored.undo,
        "exception_min": EXCEPTION_MIN,
    }


def _foretold(pour: PourRow) -> Foretold | None:
    # A plan that the solver cannot follow must not hide the measured temperatures.
    try:
        return foretold_of(pour.plan_toml, pour.prediction)
    except LoggerError:
        return None


def _looks_due_h(pour: PourRow, rhythm: Rhythm, looks: list[Look]) -> list[float]:
    """Hours since pouring of the looks still to make, while somebody sits by the form."""
    if pour.stage not in (Stage.POURING, Stage.WATCHED):
        return []
    due = next_due_ms(pour.started_ms, rhythm, looks)
    if due is None:
        return []
    return [(ms - pour.started_ms) / 3.6e6 for ms in due_times_ms(pour.started_ms, rhythm) if ms >= due]


def _at_ms(pour: PourRow, hours: float | None) -> int | None:
    return None if hours is None or pour.poured_ms is None else pour.poured_ms + round(hours * 3.6e6)


def _helps(forecast: dict[str, Any] | None) -> list[dict[str, Any]]:
    """Return what could be done now, and what it would come to; that of doing nothing first."""
    if forecast is None:
        return []
    return [
        {
            "words": HELP_WORDS.get(name, name),
            "low_c": answer["core_peak_c"]["p05"],
            "high_c": answer["core_peak_c"]["p95"],
            "chance": chance(answer["chance_core_over_limit"]),
        }
        for name, answer in forecast.get("what_if", {}).items()
    ]


def _chart(stored: _Stored, hour: float | None, limit_c: float | None, u: Reader) -> dict[str, Any]:
    """Return what the chart draws beside the measured curves."""
    pour, forecast = stored.pour, stored.standing.forecast
    call = stored.standing.condition.peak
    predicted = (pour.prediction or {}).get("curve", {})
    hottest_c = call.hottest[0] if call.hottest else None
    stand = Stand(
        Stage(pour.stage),
        hour,
        *peak_of(predicted, call.peak, call.hottest),
        last_h=max(ends_h(predicted), ends_h(forecast["bands"]) if forecast else 0.0),
        astray=bool(
            forecast is None
            and hottest_c
            and predicted.get("core_c")
            and hottest_c > max(predicted["core_c"])
        ),
    )
    marks = () if pour.poured_ms is None else marks_of(stored.alarms, stored.deeds, pour.poured_ms, u)
    return chart_of(pour, limit_c, stand, u, forecast=forecast, marks=marks)
