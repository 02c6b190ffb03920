"""The plan page: will this pour work? What must change, what to look at, what is fine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from pydantic import BaseModel, Field, StringConstraints
from starlette.responses import RedirectResponse, Response

from logger.condition.condition_words import STAGE_WORDS
from logger.cure.advice.limits import in_allowed_room
from logger.errors import BadInput, DidNotConverge, NotAllowed
from logger.plan.file import Plan, plan_to_text
from logger.planning.assess import Assessment
from logger.planning.finding import Light
from logger.planning.physics.layers import each_wait_h
from logger.planning.verdict import Item, PlanVerdict
from logger.pour import Stage
from logger.quantities import Units
from logger.store import page_queries, pours
from logger.store.rows import PourRow
from web.actions import pours as pour_actions
from web.actions import readiness
from web.schemas import PLAN_BODY, RowId
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.assessed import assessment_of, band_kept, first_answer
from web.views.plan_edit import bare_degrees, waits_shown, with_numbers
from web.views.reader_units import units_of
from web.views.render import page
from web.views.status import status_of

router = APIRouter(include_in_schema=False)
Number = Annotated[str, StringConstraints(max_length=20)]
Waits = Annotated[str, StringConstraints(max_length=200)]
Readings = Annotated[str, StringConstraints(max_length=400)]
#: Light → the shape of its sign.
SIGNS = {"stop": "stop", "watch": "watch", "ok": "calm"}


class PlanNumbers(BaseModel):
    """The numbers of a plan as its page asks for them; empty: as the plan has it."""

    depth: Number
    room: Number
    width: Number = ""
    start: Number = ""
    layers: Number = "1"
    wait: Waits = Field("", alias="wait_h")
    bottom: Number = ""
    span: Number = ""
    supports: Number = ""
    measure: Number = ""
    underside: Number = ""
    moisture: Annotated[list[Readings], Field(max_length=40)] = []


@router.get("/pours/{pour_id}/plan")
def plan_page(pour_id: RowId, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Show the plan with its assessment."""
    return _page(request, service, pour_id)


@router.post("/pours/{pour_id}/plan", max_body_size=PLAN_BODY)
def change(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    plan_toml: Annotated[str, Form(max_length=200_000)],
) -> Response:
    """Another plan file."""
    try:
        pour_actions.change_plan(service, pour_id, plan_toml, who.name, at_once=True)
    except (BadInput, DidNotConverge) as error:
        return _page(request, service, pour_id, problem=str(error), typed=plan_toml)
    return RedirectResponse(f"/pours/{pour_id}/plan", 303)


@router.post("/pours/{pour_id}/plan/numbers")
def change_numbers(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    numbers: Annotated[PlanNumbers, Form()],
) -> Response:
    """Plan the same pour with other numbers."""
    given = numbers.model_dump(exclude={"moisture"})
    try:
        with service.store.read() as connection:
            plan = pour_actions.plan_of(pours.get_pour(connection, pour_id))
        changed = with_numbers(plan, given, numbers.moisture, units_of(request))
        pour_actions.change_plan(service, pour_id, plan_to_text(changed), who.name, at_once=True)
    except (BadInput, DidNotConverge) as error:
        return _page(request, service, pour_id, problem=str(error))
    return RedirectResponse(f"/pours/{pour_id}/plan", 303)


@router.post("/pours/{pour_id}/plan/undo")
def undo(pour_id: RowId, service: ServiceDep, who: MakerDep) -> Response:
    """Take the plan's last change back; pressed again, it takes that back too."""
    with service.store.read() as connection:
        pours.get_pour(connection, pour_id)
        before = page_queries.events_of_kind(connection, pour_id, "plan-before")
    if not before:
        raise NotAllowed(f"pour {pour_id}: its plan has not been changed yet, so there is nothing to undo")
    pour_actions.change_plan(service, pour_id, before[-1].facts["plan_toml"], who.name, at_once=True)
    return RedirectResponse(f"/pours/{pour_id}/plan", 303)


def _page(
    request: Request, service: Service, pour_id: int, problem: str | None = None, typed: str | None = None
) -> Response:
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        assessment, working = _assessed(service, pour)
        standing = None
        if pour.poured_ms is not None:
            standing = status_of(service, connection, pour, service.timeline.true_ms())
        verdict = readiness.readiness_with(service, connection, pour, assessment).verdict
        may_undo = bool(page_queries.events_of_kind(connection, pour_id, "plan-before"))
    plan = pour_actions.plan_of(pour)
    may_change = pour.stage in (Stage.PLANNED, Stage.READY)
    return page(
        request,
        "plan.html",
        {
            "pour": pour,
            "standing": standing,
            "plan": plan,
            "assessment": assessment,
            "stage_word": STAGE_WORDS[Stage(pour.stage)],
            "groups": _groups(verdict, assessment),
            "signs": SIGNS,
            "hour": None,
            "may_change": may_change,
            "may_undo": may_undo and may_change,
            "working": working,
            "not_worked_out": None
            if service.plan_work is None
            else service.plan_work.trouble(pour.plan_toml),
            "band": band_kept(pour.plan_toml),
            "problem": problem,
            "typed": pour.plan_toml if typed is None else typed,
            "verdict": verdict,
            "chart": _chart(pour, plan, units_of(request)),
            "room_c": plan.room_schedule()[0][1],
            "wait_h": waits_shown(plan) if plan.layer else "",
            "offer": _offer(plan, assessment, units_of(request)),
        },
        status=422 if problem else 200,
    )


def _assessed(service: Service, pour: PourRow) -> tuple[Assessment, bool]:
    """Return what can be said of a plan now, and whether the whole of it is still being worked out."""
    working = readiness.still_worked_out(service, pour)
    if working or (service.plan_work is not None and service.plan_work.trouble(pour.plan_toml)):
        return first_answer(pour.plan_toml).assessment, working
    return assessment_of(pour.plan_toml), False


def _groups(verdict: PlanVerdict, assessment: Assessment) -> list[tuple[str, str, Sequence[Item]]]:
    """Return (light, heading, items) in the order in which they are read; the verdict counts the same items."""
    fine = [Item(f.light, f.sentence, f.change, (), f) for f in assessment.at(Light.OK)]
    return [
        ("stop", "Must change", verdict.stops),
        ("watch", "Should change: let pass by name and reason", verdict.passed),
        ("watch", "Look at these", verdict.watches),
        ("ok", "Fine", fine),
    ]


def _offer(plan: Plan, assessment: Assessment, u: Units) -> dict[str, str] | None:
    """Return the fields of "other numbers" that take the advised layers over, and at which finding; None where it
    advises none that these fields can say."""
    layers, stops = assessment.layers, [finding.key for finding in assessment.at(Light.STOP)]
    room, words = in_allowed_room(plan)
    schedule = room.room_schedule()
    if layers is None or len(set(layers.depths_mm)) != 1 or (words and len(schedule) > 1):
        return None
    each = each_wait_h(layers)
    waits = [each[0]] if each else [joint.from_h for joint in layers.joints]
    button = f"Plan these {len(layers.depths_mm)} layers"
    return {
        "at": next((key for key in ("too-deep", "too-hot", "joint-too-early") if key in stops), ""),
        "depth": u.bare_span(layers.depths_mm[0]),
        "layers": str(len(layers.depths_mm)),
        "wait_h": "; ".join(f"{wait:g}" for wait in waits),
        "room": bare_degrees(schedule[0][1], u),
        "words": f"{button}, with the room at {u.temp(schedule[0][1], 0)}" if words else button,
    }


def _chart(pour: PourRow, plan: Plan, u: Units) -> dict[str, Any]:
    curve = (pour.prediction or {}).get("curve", {})
    return {
        "pour": pour.id,
        "fahrenheit": u.temperature == "f",
        "limit_c": plan.resin.limits.max_core_c,
        "predicted": {name: curve.get(name, []) for name in ("hours", "core_c", "surface_c", "underside_c")},
        "band": None,
    }
