"""The alert page: what is wrong, what do I do, who has seen it? One alarm, huge, one tap to acknowledge."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.alarms.kind import Priority
from logger.alarms.registry import KINDS
from logger.alarms.state import UP, Phase
from logger.condition.judgement import Severity
from logger.errors import BadInput
from logger.facts import NOTHING, fact
from logger.store import alarms, pours
from logger.units import MINUTE_MS
from logger.words.phrase import phrase
from web.actions import pours as pour_actions
from web.actions import watching
from web.schemas import RowId
from web.security.access import MakerDep, OnlookerDep, ServiceDep
from web.views.reader_units import reader_of
from web.views.render import page
from web.views.status import status_of
from web.views.typed import number_from

router = APIRouter(include_in_schema=False)
#: Kinds about which the core's present temperature says more than the one that raised them.
OF_THE_CORE = ("core-hot", "core-will-overheat", "hotter-than-predicted", "spread-too-wide")


@router.get("/alarms/{alarm_id}")
def alert(alarm_id: RowId, request: Request, service: ServiceDep, _who: OnlookerDep) -> Response:
    """One alarm. Only looking acknowledges nothing."""
    with service.store.read() as connection:
        alarm = alarms.get_alarm(connection, alarm_id)
        pour = None if alarm.pour_id is None else pours.get_pour(connection, alarm.pour_id)
        now_ms = service.timeline.true_ms()
        standing = None if pour is None else status_of(service, connection, pour, now_ms)
    kind = KINDS[alarm.kind]
    core = None if standing is None else standing.core
    now_c = core.celsius if core is not None and alarm.kind in OF_THE_CORE else None
    # A graver condition than this alarm's leads on its page as well.
    about_this = standing is not None and standing.alarm == alarm.id
    graver = (
        standing is not None
        and standing.live
        and not about_this
        and standing.condition.severity >= Severity.BLIND
    )
    # What is so now, where the judgement is about this alarm and says more than its title; when it was raised
    # something else was.
    now_so = standing.words.headline if standing is not None and about_this and alarm.phase in UP else NOTHING
    now_so = NOTHING if now_so == kind.title else now_so
    also = [] if standing is None else [each for each in standing.others if each.id != alarm.id]
    return page(
        request,
        "alert.html",
        {
            "alarm": alarm,
            "alarm_shown": alarm.id,
            "kind": kind,
            "now_c": now_c,
            "core": core if standing is not None and standing.live else None,
            "nobody": fact("nobody-is-on-it"),
            "pour": pour,
            "standing": standing,
            "graver": graver,
            "also": also,
            "alarms_linked": [each.id for each in also] + (standing.linked(0) if standing and graver else []),
            "now_so": now_so,
            "respond_by_ms": alarm.raised_ms + round(kind.respond_within_min * MINUTE_MS),
            "quiet": None if pour is None else watching.quiet_of(service, alarm_id),
            "unanswered": alarm.phase in (Phase.RAISED, Phase.RETURNED),
            "still_so": alarm.phase in UP,
            "alarm_leads": alarm.phase in UP and alarm.priority == Priority.HIGH,
            # What is true and of high priority keeps its colour: that somebody is on it cools nothing.
            "calmer": alarm.phase == Phase.NORMAL
            or (alarm.phase == Phase.ACKNOWLEDGED and alarm.priority != Priority.HIGH),
            "over": alarm.phase == Phase.NORMAL,
        },
    )


@router.post("/alarms/{alarm_id}/acknowledge")
def acknowledge(
    alarm_id: RowId, service: ServiceDep, who: MakerDep, text: Annotated[str, Form(max_length=4000)] = ""
) -> Response:
    """Somebody has it in hand."""
    pour_actions.acknowledge(service, alarm_id, who.name, text.strip())
    return RedirectResponse(f"/alarms/{alarm_id}", 303)


@router.post("/alarms/{alarm_id}/quiet")
def quiet(
    alarm_id: RowId,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    act: Annotated[str, Form(max_length=20)],
    hours: Annotated[str, Form(max_length=20)] = "",
    reason: Annotated[str, Form(max_length=500)] = "",
) -> Response:
    """Shelve it, take it out of service, or end either; never for good, and never without a name."""
    for_h = number_from(hours, phrase("Hours"), reader_of(request)) if hours.strip() else None
    if act == "shelve" and for_h is not None:
        watching.shelve(service, alarm_id, who.name, for_h, reason.strip())
    elif act == "unshelve":
        watching.unshelve(service, alarm_id, who.name)
    elif act == "out":
        watching.take_out_of_service(service, alarm_id, who.name, reason.strip(), for_h)
    elif act == "return":
        watching.return_to_service(service, alarm_id, who.name)
    else:
        raise BadInput(
            "act",
            phrase("is not one of the answers"),
            value=act,
            allowed=phrase("shelve with hours, unshelve, out, return"),
            remedy=phrase("press again"),
        )
    return RedirectResponse(f"/alarms/{alarm_id}", 303)
