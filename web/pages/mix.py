"""The mix page: is this batch right? Weights in, ratio out, before it meets the wood."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from pydantic import BaseModel, StringConstraints
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput
from logger.plan.file import Plan
from logger.planning.cure_answers import working_time_of
from logger.planning.findings.mixing import recipe_of
from logger.planning.physics.mixing import MixVerdict, Pail, check
from logger.store import page_queries, pours
from web.actions import pours as pour_actions
from web.pages.plan import SIGNS
from web.schemas import RowId
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.security.idempotency import OnceDep
from web.service.service import Service
from web.views.assessed import assessment_of
from web.views.render import page
from web.views.units import number_from, units_of

router = APIRouter(include_in_schema=False)
VERDICTS = {
    "ok": "Right. Stir it in full, then pour.",
    "watch": "Nearly: put it right first.",
    "stop": "Do not pour this.",
}


Short = Annotated[str, StringConstraints(max_length=20)]


class Weighed(BaseModel):
    """A batch as it was weighed: parts in the shop's unit, minutes since they met, and where it is now."""

    part_a: Short
    part_b: Short
    age_min: Short = ""
    where: Annotated[str, StringConstraints(max_length=10)] = "pail"


@router.get("/pours/{pour_id}/mix")
def mix_page(pour_id: RowId, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Show the card, and the batches weighed so far."""
    return _page(request, service, pour_id)


@router.post("/pours/{pour_id}/mix")
def weigh(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    batch: Annotated[Weighed, Form()],
    done: OnceDep,
) -> Response:
    """Judges one batch by its weights and keeps it with the pour; once, with an `Idempotency-Key`."""
    if done is not None:
        return RedirectResponse(f"/pours/{pour_id}/mix#verdict", 303)
    u = units_of(request)
    try:
        plan = _plan(service, pour_id)
        a_g = u.to_g(number_from(batch.part_a, "Weight of A"))
        b_g = u.to_g(number_from(batch.part_b, "Weight of B"))
        age = number_from(batch.age_min, "Minutes since they met") if batch.age_min.strip() else 0.0
        verdict = _verdict(plan, a_g, b_g, in_pail=batch.where != "poured", age_min=age)
    except BadInput as error:
        return _page(request, service, pour_id, str(error), batch.model_dump(exclude={"where"}))
    about = {
        "a_g": round(a_g, 1),
        "b_g": round(b_g, 1),
        "error_pct": round(verdict.error_pct, 2),
        "light": verdict.light.value,
        "sentence": verdict.sentence,
        "mistake": verdict.mistake,
        "change": verdict.change,
        "age_min": age,
        "in_pail": batch.where != "poured",
    }
    pour_actions.note(service, pour_id, verdict.sentence, who.name, "batch", about)
    return RedirectResponse(f"/pours/{pour_id}/mix#verdict", 303)


def _plan(service: Service, pour_id: int) -> Plan:
    with service.store.read() as connection:
        return pour_actions.plan_of(pours.get_pour(connection, pour_id))


def _verdict(plan: Plan, a_g: float, b_g: float, *, in_pail: bool, age_min: float) -> MixVerdict:
    mix = plan.mix
    if mix is None:
        raise BadInput("[mix]", "is not in this plan", remedy="add ratio and densities to the plan first")
    working_min = working_time_of(plan, (a_g + b_g) / 1000) if a_g + b_g > 0 else None
    return check(
        a_g,
        b_g,
        recipe_of(mix),
        plan.resin.glass,
        Pail(poured=not in_pail, age_min=age_min, working_time_min=working_min),
    )


def _page(
    request: Request,
    service: Service,
    pour_id: int,
    problem: str | None = None,
    typed: dict[str, str] | None = None,
) -> Response:
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        batches = page_queries.events_of_kind(connection, pour_id, "batch")
    assessment = assessment_of(pour.plan_toml)
    total_kg = (
        sum(row.facts["a_g"] + row.facts["b_g"] for row in batches if row.facts["light"] != "stop") / 1000
    )
    context: dict[str, Any] = {
        "pour": pour,
        "plan": pour_actions.plan_of(pour),
        "cards": assessment.cards,
        "batches": batches[::-1],
        "total_kg": total_kg,
        "planned_kg": assessment.quantity.total_kg if assessment.quantity else None,
        "signs": SIGNS,
        "verdicts": VERDICTS,
        "problem": problem,
        "typed": typed or {},
    }
    return page(request, "mix.html", context, status=422 if problem else 200)
