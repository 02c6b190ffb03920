"""The mix page: what to weigh, whether it is right, and the clock of each batch, before it meets the wood.

A verdict stands on an address of its own, beside the numbers that it was made for; the form never carries one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, Request
from pydantic import BaseModel, Field, StringConstraints
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, NotFound, OutOfRange
from logger.plan.file import Plan
from logger.planning.assess import Assessment
from logger.planning.cure_answers import working_time_of
from logger.planning.findings.mixing import NextBatch, by_weight_of, next_batch, recipe_of
from logger.planning.physics.batch_slips import ScaleUnit, Weights
from logger.planning.physics.bench_clock import BenchState
from logger.planning.physics.mixing import MixVerdict, Pail, check
from logger.store import page_queries, pours
from logger.store.rows import EventRow, ListedPour
from logger.words.phrase import phrase
from logger.words.reader import Reader
from web.actions import mixing
from web.actions import pours as pour_actions
from web.pages.plan import SIGNS
from web.schemas import RowId
from web.security.access import MakerDep, ServiceDep, ViewerDep
from web.security.idempotency import OnceDep
from web.service.service import Service
from web.views.assessed import mixing_of
from web.views.mixing import (
    BENCH_EVENTS,
    Batch,
    RunningClock,
    batches_of,
    check_of,
    clock_of,
    mixed_g,
    to_weigh,
)
from web.views.reader_units import reader_of
from web.views.render import page
from web.views.typed import grams_from, minutes_from, single

router = APIRouter(include_in_schema=False)
VERDICTS = {
    "ok": phrase("Right. Stir it in full, then pour."),
    "watch": phrase("Almost right: do this first."),
    "stop": phrase("Stop: do not pour this."),
}
#: What to do with a batch, by the state of its clock: (in short, what the time below runs to, the rest).
CLOCK_WORDS = {
    BenchState.MEET: (
        phrase("start stirring"),
        phrase("to pour it out"),
        phrase("The parts are together: the working time is running."),
    ),
    BenchState.STIR: (
        "stir",
        phrase("left to stir"),
        phrase("Scrape the sides, the bottom and the stick every 2 min."),
    ),
    BenchState.SECOND_PAIL: (
        phrase("clean pail, stir on"),
        phrase("left to stir"),
        phrase("Tip it into a clean pail; do not scrape out the first."),
    ),
    BenchState.POUR: (
        phrase("pour it"),
        phrase("to pour it out"),
        phrase("No streaks against the light? Pour. Streaks: stir on."),
    ),
    BenchState.LATE: (
        phrase("pour now, or not at all"),
        phrase("until it sets"),
        phrase("It thickens. If it strings or feels warm, do not pour it: spread it thin outdoors."),
    ),
    BenchState.SET: (
        phrase("do not pour it any more"),
        "",
        phrase(
            "Its working time is over, and it heats itself. If it is cool enough to carry, spread it "
            "thin outdoors on something that cannot burn. If it smokes: leave, close the door, call "
            "the fire service."
        ),
    ),
}
#: The same for a batch that was refused: nothing of it is stirred or poured.
REFUSED_WORDS = (
    phrase("not to be poured"),
    phrase("until it sets"),
    phrase("Weigh it again, or spread it thin outdoors before it heats itself."),
)
TAP_WORDS = {
    "started": phrase("Mixing starts"),
    "not-started": phrase("Not started yet"),
    "emptied": phrase("Poured out"),
    "refused": phrase("Out of its pail"),
    "not-emptied": phrase("Still in its pail"),
}

Short = Annotated[str, StringConstraints(max_length=20)]
Number = Annotated[int | None, Field(ge=1, le=100_000)]
Where = Literal["pail", "apart", "poured"]


class Weighed(BaseModel):
    """A batch as it was weighed: parts in the shop's unit, minutes since they met, where it is now, its number."""

    part_a: Short
    part_b: Short
    age_min: Short = ""
    where: Where = "pail"
    batch: Number = None


class ClockTap(BaseModel):
    """A tap at a batch's clock, and the check whose page it was made on."""

    batch: Annotated[int, Field(ge=1, le=100_000)]
    what: mixing.Tap
    check: RowId | None = None


@dataclass(frozen=True)
class _Bench:
    """What the page is about: the pour, its plan, and its batches at this moment."""

    pour: ListedPour
    plan: Plan
    assessment: Assessment
    batches: list[Batch]
    now_ms: int

    def next_for(self, number: int) -> NextBatch | None:
        """Return what the plan asks of the batch with that number, whatever was weighed for it before."""
        return next_batch(self.plan, self.assessment.cards, mixed_g(self.batches, but=number))

    def batch(self, number: int) -> Batch:
        """Return the batch with that number; one that has not begun where there is none."""
        return next((b for b in self.batches if b.number == number), Batch(number))

    def clock(self, batch: Batch) -> RunningClock | None:
        """Return a batch's clock, by its weight or as planned."""
        planned = self.next_for(batch.number)
        try:
            return clock_of(batch, self.plan, planned.planned.total_g if planned else 0.0, self.now_ms)
        except OutOfRange:
            return None  # in that room the mix never sets: the plan's own findings say so

    def age_min(self, number: int, typed: str, u: Reader) -> float:
        """Return the minutes since the parts met: as typed, else by the clock of that batch."""
        if typed.strip():
            name = phrase("Minutes since mixing")
            return single(minutes_from(typed, name, u, zero=True), typed, name)
        began_ms = self.batch(number).began_ms
        return 0.0 if began_ms is None else max(0.0, (self.now_ms - began_ms) / 60_000)


def _bench(service: Service, pour_id: int) -> _Bench:
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        events = page_queries.events_of_kind(connection, pour_id, *BENCH_EVENTS)
    return _Bench(
        pour,
        pour_actions.plan_of(pour),
        mixing_of(pour.plan_toml),
        batches_of(events),
        service.timeline.true_ms(),
    )


@router.get("/pours/{pour_id}/mix")
def mix_page(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    _who: ViewerDep,
    batch: Number = None,
    check: RowId | None = None,
) -> Response:
    """Show what to weigh and the form; or one check's verdict beside its numbers; above either the running clocks."""
    bench = _bench(service, pour_id)
    if check is not None:
        there = check_of(bench.batches, check)
        if there is None:
            raise NotFound(
                phrase("pour {pour_id} has no check {check} of a batch", pour_id=pour_id, check=check)
            )
        return _verdict_page(request, bench, *there)
    return _form_page(request, bench, batch)


@router.post("/pours/{pour_id}/mix")
def weigh(
    pour_id: RowId,
    request: Request,
    service: ServiceDep,
    who: MakerDep,
    batch: Annotated[Weighed, Form()],
    done: OnceDep,
) -> Response:
    """Judge one batch by its weights and keep it with the pour; once, with an `Idempotency-Key`."""
    if done is not None:
        return RedirectResponse(f"/pours/{pour_id}/mix?check={done.id}", 303)
    bench = _bench(service, pour_id)
    u = reader_of(request)
    number = batch.batch or (bench.batches[-1].number + 1 if bench.batches else 1)
    try:
        weights = Weights(
            _grams(batch.part_a, phrase("Weight of part A"), u),
            _grams(batch.part_b, phrase("Weight of part B"), u),
            _typed_in(u),
        )
        age = bench.age_min(number, batch.age_min, u) if batch.where == "pail" else 0.0
        verdict = _verdict(bench, weights, number, batch.where, age)
    except BadInput as error:
        return _form_page(request, bench, number, error.fact, batch)
    facts = {
        "a_g": round(weights.a_g, 3),
        "b_g": round(weights.b_g, 3),
        "error_pct": round(min(verdict.error_pct, 1e9), 2),
        "light": verdict.light.value,
        "sentence": verdict.sentence,
        "mistake": verdict.mistake,
        "change": verdict.change,
        "age_min": round(age, 1),
        "where": batch.where,
    }
    check_id = mixing.add_check(service, pour_id, verdict.sentence, facts, batch.batch, who.name)
    return RedirectResponse(f"/pours/{pour_id}/mix?check={check_id}", 303)


@router.post("/pours/{pour_id}/mix/clock")
def tap(pour_id: RowId, service: ServiceDep, who: MakerDep, tapped: Annotated[ClockTap, Form()]) -> Response:
    """Start a batch's clock, end it, or take either back; the same tap again changes nothing."""
    mixing.tap_clock(service, pour_id, tapped.batch, tapped.what, who.name)
    back = f"?check={tapped.check}" if tapped.check is not None else ""
    return RedirectResponse(f"/pours/{pour_id}/mix{back}", 303)


def _typed_in(u: Reader) -> ScaleUnit:
    return "lb" if u.mass == "lb" else "oz" if u.mass == "oz" else "g"


def _grams(text: str, name: str, u: Reader) -> float:
    return single(grams_from(text, name, u), text, name)


def _verdict(bench: _Bench, weights: Weights, number: int, where: Where, age_min: float) -> MixVerdict:
    mix = bench.plan.mix
    if mix is None:
        raise BadInput(
            "[mix]", phrase("is not in this plan"), remedy=phrase("add the ratio to the plan first")
        )
    planned = bench.next_for(number)
    try:
        working_min = working_time_of(bench.plan, weights.total_g / 1000) if weights.total_g > 0 else None
    except OutOfRange:
        working_min = None  # in that room the mix never sets: the plan's own findings say so
    return check(
        weights,
        recipe_of(mix),
        bench.plan.resin.glass,
        Pail(where == "poured", where == "apart", age_min, working_min),
        planned.planned if planned else None,
    )


def _form_page(
    request: Request,
    bench: _Bench,
    number: int | None,
    problem: str | None = None,
    typed: Weighed | None = None,
) -> Response:
    """Show what to weigh for a batch, and the form for its weights: no verdict."""
    following = bench.batches[-1].number + 1 if bench.batches else 1
    number = min(number, following) if number is not None else to_weigh(bench.batches)
    context = _shared(bench) | {
        "batch": bench.batch(number),
        "next": bench.next_for(number),
        "clock": bench.clock(bench.batch(number)),
        "problem": problem,
        "typed": typed,
    }
    return page(request, "mix.html", context, status=422 if problem else 200)


def _verdict_page(request: Request, bench: _Bench, batch: Batch, row: EventRow) -> Response:
    """Show one check: the numbers, and the verdict where it is the newest one of its batch."""
    clock, following = bench.clock(batch), bench.next_for(batch.number)
    context = _shared(bench) | {
        "batch": batch,
        "planned": following.planned if following else None,
        "row": row,
        "holds": batch.newest is row,
        "set": clock is not None and clock.state is BenchState.SET,
        "late": clock is not None and clock.state is BenchState.LATE,
        "clock": clock,
        "verdicts": VERDICTS,
    }
    return page(request, "mix-verdict.html", context)


def _shared(bench: _Bench) -> dict[str, Any]:
    quantity = bench.assessment.quantity
    clocks = [bench.clock(batch) for batch in bench.batches]
    return {
        "pour": bench.pour,
        "plan": bench.plan,
        "recipe": by_weight_of(bench.plan.mix) if bench.plan.mix else None,
        "cards": bench.assessment.cards,
        "batches": bench.batches[::-1],
        "clocks": [clock for clock in clocks if clock is not None and not clock.stale],
        "clock_words": CLOCK_WORDS,
        "refused_words": REFUSED_WORDS,
        "tap_words": TAP_WORDS,
        "total_kg": mixed_g(bench.batches) / 1000,
        "planned_kg": quantity.total_kg if quantity else None,
        "signs": SIGNS,
        "now_ms": bench.now_ms,
    }
