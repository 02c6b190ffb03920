"""The plan page: will this pour work? What must change, what to look at, what is fine."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any

from fastapi import APIRouter, Form, Path, Query, Request
from pydantic import BaseModel, Field, StringConstraints
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.condition.condition_words import STAGE_WORDS
from logger.cure.advice.limits import in_allowed_room
from logger.errors import BadInput, DidNotConverge, NotAllowed, NotFound
from logger.plan.file import Plan, plan_to_table, plan_to_text
from logger.planning.assess import Assessment
from logger.planning.finding import Finding, Light
from logger.planning.physics.layers import each_wait_h
from logger.planning.readiness import Where
from logger.pour import Stage
from logger.quantities import hours_alone, temperature, typed_length
from logger.store import page_queries, pours, resins
from logger.store.rows import PourRow
from logger.words.phrase import phrase, phrases
from logger.words.reader import Reader
from web.actions import pours as pour_actions
from web.actions import readiness, signing_rounds
from web.actions import shop as shop_actions
from web.actions.resins import resin_of
from web.schemas import PLAN_BODY, RowId
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.assessed import assessment_of, chances_kept, effects_kept, first_answer
from web.views.charts import HOUR_MS, Stand, chart_of, ends_h, peak_of
from web.views.plan_drawing import cut_of, section_drawing
from web.views.plan_edit import bare_degrees, waits_shown, with_numbers, without_empty_lists
from web.views.plan_fields import SECTIONS, Section
from web.views.plan_findings import arranged, fine_items
from web.views.plan_form import with_resin
from web.views.plan_links import link_of
from web.views.plan_questions import Question, finding_asked, questions_of
from web.views.plan_sections import ShownField, row_title, shown_section, with_section
from web.views.plan_times import rows_of, times_drawing, times_of
from web.views.predicted import Foretold, foretold_of, kept_chances
from web.views.reader_units import reader_of
from web.views.refused_fields import RefusedFields
from web.views.render import page
from web.views.status import status_of

router = APIRouter(include_in_schema=False)
Number = Annotated[str, StringConstraints(max_length=20)]
Waits = Annotated[str, StringConstraints(max_length=200)]
Readings = Annotated[str, StringConstraints(max_length=400)]
#: Most fields that a section may send: twenty slabs.
MOST_FIELDS = 1200
#: The section that takes a resin from the list.
RESIN = "resin"
#: So many findings beside the pictures, and what else the page has moves under the pictures.
CROWDED = 4

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


@dataclass(frozen=True, slots=True)
class Shown:
    """How the page stands. opened: the section that is open; problem: why the quick numbers or the file were refused;
    file: the file as it came; typed, wrong: the section's fields as they came, and why which was refused."""

    opened: str = ""
    problem: str | None = None
    file: str | None = None
    typed: Mapping[str, str] = field(default_factory=dict)
    wrong: Mapping[str, str] = field(default_factory=dict)
    saved: bool = False


@router.get("/pours/{pour_id}/plan")
def plan_page(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    _who: ViewerDep,
    opened: Annotated[str, Query(alias="open", max_length=20)] = "",
    saved: Annotated[str, Query(max_length=20)] = "",
) -> Response:
    """Show the plan with its assessment; `open`: the section that somebody was sent to."""
    return _page(request, service, pour_id, Shown(opened, saved=bool(saved)))


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
        return _page(request, service, pour_id, Shown(problem=error.fact, file=plan_toml))
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
        changed = with_numbers(plan, given, numbers.moisture, reader_of(request))
        pour_actions.change_plan(service, pour_id, plan_to_text(changed), who.name, at_once=True)
    except (BadInput, DidNotConverge) as error:
        return _page(request, service, pour_id, Shown(problem=error.fact))
    return RedirectResponse(f"/pours/{pour_id}/plan", 303)


@router.post("/pours/{pour_id}/plan/sections/{section}", max_body_size=PLAN_BODY)
async def change_section(
    pour_id: RowId,
    section: Annotated[str, Path(max_length=20)],
    request: Request,
    service: ServiceDep,
    who: MakerDep,
) -> Response:
    """Plan the same pour with what was typed in one section, or in one question of it."""
    if section == RESIN:
        async with request.form(max_files=0, max_fields=4) as form:
            key = str(form.get("earlier", ""))
        return await run_in_threadpool(_take_resin, request, service, who.name, pour_id, key)
    if section not in SECTIONS:
        raise NotFound(
            phrase(
                "a plan's page has no section '{section}'; it has {sections}",
                section=section,
                sections=", ".join(SECTIONS),
            )
        )
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        given = {key: value for key, value in form.items() if isinstance(value, str)}
    return await run_in_threadpool(_save, request, service, who.name, pour_id, SECTIONS[section], given)


def _take_resin(request: Request, service: Service, by: str, pour_id: int, key: str) -> Response:
    """Plan the same pour with another resin, or with what the list says of its resin now."""
    with service.store.read() as connection:
        plan = pour_actions.plan_of(pours.get_pour(connection, pour_id))
        chosen = resin_of(connection, key)
    if chosen is None:
        return _page(
            request, service, pour_id, Shown(RESIN, wrong={"earlier": phrase("Choose a resin of the list.")})
        )
    try:
        text = plan_to_text(with_resin(plan, *chosen))
        pour_actions.change_plan(service, pour_id, text, by, at_once=True)
    except (BadInput, DidNotConverge) as error:
        return _page(request, service, pour_id, Shown(RESIN, wrong={"earlier": error.fact}))
    return RedirectResponse(f"/pours/{pour_id}/plan?saved={RESIN}#answer", 303)


def _save(
    request: Request, service: Service, by: str, pour_id: int, section: Section, given: Mapping[str, str]
) -> Response:
    u = reader_of(request)
    try:
        with service.store.read() as connection:
            plan = pour_actions.plan_of(pours.get_pour(connection, pour_id))
        changed = with_section(plan, section, given, u)
        pour_actions.change_plan(service, pour_id, plan_to_text(changed), by, at_once=True)
    except RefusedFields as error:
        return _page(request, service, pour_id, Shown(section.name, None, None, given, error.fields))
    except (BadInput, DidNotConverge) as error:
        return _page(
            request, service, pour_id, Shown(section.name, typed=given, wrong={section.name: error.fact})
        )
    if given.get("keep") == "usual":
        shop_actions.keep_usual(service, section, plan_to_table(changed), by)
    return RedirectResponse(f"/pours/{pour_id}/plan?saved={section.name}#answer", 303)


@router.post("/pours/{pour_id}/plan/undo")
def undo(pour_id: RowId, service: ServiceDep, who: MakerDep) -> Response:
    """Take the plan's last change back; pressed again, it takes that back too."""
    with service.store.read() as connection:
        pours.get_pour(connection, pour_id)
        before = page_queries.events_of_kind(connection, pour_id, "plan-before")
    if not before:
        raise NotAllowed(
            phrase(
                "pour {pour_id}: its plan has not been changed yet, so there is nothing to undo",
                pour_id=pour_id,
            )
        )
    pour_actions.change_plan(service, pour_id, before[-1].facts["plan_toml"], who.name, at_once=True)
    return RedirectResponse(f"/pours/{pour_id}/plan", 303)


def _page(request: Request, service: Service, pour_id: int, shown: Shown) -> Response:
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        assessment, working = _assessed(service, pour)
        standing = None
        if pour.poured_ms is not None:
            standing = status_of(service, connection, pour, service.timeline.true_ms())
        ready = readiness.readiness_with(service, connection, pour, assessment)
        listed = sorted((row.facts["name"], key) for key, row in resins.listed(connection).items())
        may_undo = bool(page_queries.events_of_kind(connection, pour_id, "plan-before"))
    plan, verdict = pour_actions.plan_of(pour), ready.verdict
    u = reader_of(request)
    asked = _questions(pour, plan, assessment)
    drawn = _drawn(plan, u, shown, {shown.opened, *(one.section for one in asked[:1])})
    chance = _chance(pour)
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
            "arranged": arranged(
                verdict,
                fine_items(assessment.findings),
                ready.points,
                lambda item: link_of(item, plan, pour_id),
                leads=standing is None,
                asked=finding_asked(asked[0]) if asked else "",
            ),
            "crowded": len(verdict.stops) + len(verdict.passed) + len(verdict.watches) > CROWDED,
            **_picture(pour, plan, assessment, service.timeline.true_ms(), u),
            "hour": None,
            "may_change": may_change,
            "may_undo": may_undo and may_change,
            "working": working,
            "may_read": may_change
            and pour.stage == Stage.PLANNED
            and not working
            and not verdict.stops
            and bool(signing_rounds.to_sign(ready, Where.DESK, request.state.who.name)),
            "not_worked_out": None
            if service.plan_work is None
            else service.plan_work.trouble(pour.plan_toml),
            "chance": chance,
            "problem": shown.problem,
            "file_problem": shown.file is not None,
            "typed": without_empty_lists(pour.plan_toml) if shown.file is None else shown.file,
            "opened": shown.opened,
            "saved": shown.saved,
            "drawn": drawn,
            "resins": listed,
            "wrong": shown.wrong,
            "question": asked[0] if asked else None,
            "asked": _asked(asked[0], drawn) if asked else [],
            "more_questions": len(asked) - 1,
            "verdict": verdict,
            "chart": _chart(pour, plan, service.timeline.true_ms(), u, (chance or {}).get("band")),
            "room_c": plan.room_schedule()[0][1],
            "wait_h": waits_shown(plan, u) if plan.layer else "",
            "offer": _offer(plan, assessment, u),
        },
        status=422 if shown.problem or shown.wrong else 200,
    )


def _drawn(plan: Plan, u: Reader, shown: Shown, needed: Collection[str]) -> list[dict[str, Any]]:
    """Return every section as it is drawn, with the fields of those that are needed; what was refused in one stands in
    it.
    """
    table = plan_to_table(plan)
    drawn = []
    for section in SECTIONS.values():
        mine = section.name == shown.opened
        typed, wrong = (shown.typed, shown.wrong) if mine else ({}, {})
        drawn.append(
            {
                "section": section,
                "parts": shown_section(section, table, u, typed, wrong) if section.name in needed else [],
                "problem": wrong.get(section.name),
            }
        )
    return drawn


def _questions(pour: PourRow, plan: Plan, assessment: Assessment) -> list[Question]:
    peak_c = (pour.prediction or {}).get("peak_c")
    findings: dict[str, Finding] = {}
    for finding in assessment.findings:
        if finding.key not in findings or finding.light is Light.STOP:
            findings[finding.key] = finding
    return questions_of(plan, findings, effects_kept(pour.plan_toml), peak_c)


def _asked(question: Question, drawn: list[dict[str, Any]]) -> list[ShownField]:
    parts = next(one["parts"] for one in drawn if one["section"].name == question.section)
    fields = [one for part in parts for one in part.fields]
    for part in parts:
        there = [row for row in part.rows if row.new == question.new]
        for number, row in enumerate(there, start=1):
            # Two slabs are asked in one breath: each field says of which.
            name = row_title(part.part, number) if row.new else row.title
            fields += [
                replace(one, label=phrase("{row}: {label}", row=name, label=one.label)) if name else one
                for one in row.fields
            ]
    return [one for one in fields if question.asks(one.name)]


def _assessed(service: Service, pour: PourRow) -> tuple[Assessment, bool]:
    """Return what can be said of a plan now, and whether the whole of it is still being worked out."""
    working = readiness.still_worked_out(service, pour)
    if working or (service.plan_work is not None and service.plan_work.trouble(pour.plan_toml)):
        return first_answer(pour.plan_toml).assessment, working
    return assessment_of(pour.plan_toml), False


def _picture(pour: PourRow, plan: Plan, assessment: Assessment, now_ms: int, u: Reader) -> dict[str, Any]:
    """Return what the pour is drawn with: its section, and its layers over the hours."""
    kept = pour.prediction
    hottest = (kept["peak_at_h"], kept["peak_c"]) if kept else None
    chance = _chance(pour)
    peak_range = (chance["peak_c"]["p05"], chance["peak_c"]["p95"]) if chance else None
    cut = cut_of(plan)
    times = times_of(plan, assessment.findings, _foretold(pour, plan), hottest, peak_range)
    # To the quarter of an hour: what is only "if poured now" need not change under the eye.
    quarter_ms = now_ms - now_ms % 900_000
    return {
        "cut": cut,
        "section": lambda across: section_drawing(cut, u, across),
        "drawn_times": lambda across: times_drawing(times, u, across),
        "time_rows": rows_of(times, pour.poured_ms, quarter_ms, u),
        "typed_length": typed_length,
        "hours_alone": hours_alone,
    }


def _foretold(pour: PourRow, plan: Plan) -> Foretold:
    """Return what is kept of the plan's course; of a plan that has none, its layers alone."""
    try:
        return foretold_of(pour.plan_toml, pour.prediction)
    except DidNotConverge:
        return Foretold(
            0.0, 0.0, None, None, None, None, None, tuple((layer.at_h, "") for layer in plan.layer)
        )


def _offer(plan: Plan, assessment: Assessment, u: Reader) -> dict[str, str] | None:
    """Return the fields of "other numbers" that take the advised layers over, and at which finding; None where it
    advises none that these fields can say."""
    layers, stops = assessment.layers, [finding.key for finding in assessment.at(Light.STOP)]
    room, words = in_allowed_room(plan)
    schedule = room.room_schedule()
    if layers is None or len(set(layers.depths_mm)) != 1 or (words and len(schedule) > 1):
        return None
    each = each_wait_h(layers)
    waits = [each[0]] if each else [joint.from_h for joint in layers.joints]
    button = phrases("Plan this {n} layer", "Plan these {n} layers", len(layers.depths_mm))
    return {
        "at": next((key for key in ("too-deep", "too-hot", "joint-too-early") if key in stops), ""),
        "depth": u.bare_span(layers.depths_mm[0]),
        "layers": str(len(layers.depths_mm)),
        "wait_h": "; ".join(f"{wait:g}" for wait in waits),
        "room": bare_degrees(schedule[0][1], u),
        "words": phrase(
            "{button}, with the room at {room}", button=button, room=temperature(schedule[0][1], 0)
        )
        if words
        else button,
    }


def _chance(pour: PourRow) -> dict[str, Any] | None:
    """Return the plan's chances as they are kept with the pour, or as they have just come; None before that."""
    kept = (pour.prediction or {}).get("chance")
    if kept is not None:
        return dict(kept)
    chances = chances_kept(pour.plan_toml)
    return None if chances is None else kept_chances(chances)


def _chart(pour: PourRow, plan: Plan, now_ms: int, u: Reader, band: dict[str, Any] | None) -> dict[str, Any]:
    curve = (pour.prediction or {}).get("curve", {})
    hour = None if pour.poured_ms is None else (now_ms - pour.poured_ms) / HOUR_MS
    stand = Stand(Stage(pour.stage), hour, *peak_of(curve), last_h=ends_h(curve))
    places = ("core", "surface", "underside")
    return chart_of(pour, plan.resin.limits.max_core_c, stand, u, places=places, planned_band=band)
