"""A message's link: the alarm, huge, with one button. No sign-in; only pressing the button does anything.

Mail programs and browsers fetch links by themselves (RFC 8058 exists because of it), so a GET changes nothing.
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, BackgroundTasks, Path, Request
from starlette.responses import Response

from logger.alarms.kind import Priority
from logger.alarms.registry import KINDS
from logger.alarms.state import Phase
from logger.condition.judgement import Severity
from logger.delivery.signed_links import LONGEST, LinkRefused
from logger.errors import NotAllowed
from logger.store import alarms, pours, shop_events
from logger.store.message_links import Purpose
from logger.units import MINUTE_MS
from web.actions import phones, watching
from web.security.access import ServiceDep
from web.service.service import Service
from web.views.render import unsigned_page
from web.views.status import status_of

router = APIRouter(include_in_schema=False)
Token = Annotated[str, Path(max_length=2 * LONGEST)]


@router.get("/a/{token}")
def show(token: Token, request: Request, service: ServiceDep) -> Response:
    """Show what the link is about. Opening it does nothing."""
    try:
        tapped = watching.look_at_link(service, token)
    except LinkRefused as refusal:
        return _page(request, service, _taken(service, refusal) | {"refused": refusal.fact}, 410)
    about = _about(service, tapped)
    return _page(request, service, about | {"button": about.get("trial") or about["unanswered"]})


@router.post("/a/{token}")
def press(token: Token, request: Request, service: ServiceDep, later: BackgroundTasks) -> Response:
    """Acknowledge the alarm, or confirm the test message, once: the button was pressed."""
    try:
        tapped = watching.tap(service, token)
        later.add_task(phones.say_goodbye, service, tapped.replaced)
    except LinkRefused as refusal:
        return _page(request, service, _taken(service, refusal) | {"refused": refusal.fact}, 410)
    except NotAllowed as refusal:
        return _page(request, service, {"refused": refusal.fact}, 409)
    return _page(request, service, _about(service, tapped) | {"done": True})


def _about(service: Service, tapped: watching.Tapped) -> dict[str, Any]:
    if tapped.purpose is Purpose.CONFIRM or tapped.alarm_id is None:
        return {"trial": True}
    now_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        alarm = alarms.get_alarm(connection, tapped.alarm_id)
        pour = pours.get_pour(connection, alarm.of_pour)
        standing = status_of(service, connection, pour, now_ms)
    kind = KINDS[alarm.kind]
    true = alarm.phase in (Phase.RAISED, Phase.ACKNOWLEDGED)
    unanswered = alarm.phase in (Phase.RAISED, Phase.RETURNED)
    grave = standing.live and standing.condition.severity >= Severity.BLIND
    high = alarm.priority == Priority.HIGH
    # What is graver than this alarm leads, also after the tap: that somebody is on it cools nothing.
    leads = grave and standing.alarm != alarm.id
    red = (true and high) or (standing.live and standing.condition.severity >= Severity.DANGER)
    return {
        "alarm": alarm,
        "kind": kind,
        "about": pour.title,
        "still_so": true,
        "unanswered": unanswered,
        "standing": standing,
        "leads": leads,
        "now_ms": now_ms,
        "respond_by_ms": alarm.raised_ms + round(kind.respond_within_min * MINUTE_MS),
        "colour": "high" if red else alarm.priority if unanswered else "",
    }


def _taken(service: Service, refusal: LinkRefused) -> dict[str, Any]:
    """Who has the alarm that a link was about, if somebody has: that is what whoever opens it late wants to know."""
    if refusal.alarm_id is None:
        return {}
    about = _about(service, watching.Tapped(Purpose.ACKNOWLEDGE, refusal.alarm_id))
    return {} if about["unanswered"] or not about["alarm"].acknowledged_by else about


def _page(request: Request, service: Service, context: dict[str, Any], status: int = 200) -> Response:
    alarm = context.get("alarm")
    with service.store.read() as connection:
        mine = None if alarm is None else shop_events.units_of_pour(connection, alarm.pour_id)
    defaults: dict[str, Any] = {
        "alarm": None,
        "trial": False,
        "refused": None,
        "button": False,
        "done": False,
        "colour": "",
    }
    return unsigned_page(request, "one-tap.html", defaults | context, status, mine)
