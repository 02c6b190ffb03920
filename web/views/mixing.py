"""A pour's batches as its events tell them: what was weighed, the newest verdict on each, and the clocks that run."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from logger.plan.file import Plan
from logger.planning.cure_answers import pail_core_c, working_time_of
from logger.planning.physics.bench_clock import BenchClock, BenchState
from logger.store.rows import EventRow

#: Events that the bench is read from. A stage or a layer that follows says that what was mixed before has been poured.
BENCH_EVENTS = ("batch", "mixing", "watched", "layer", "released", "spoiled")
#: A batch that has set in its pail, and that nobody said was taken out, is no news for longer than this.
STALE_MS = 6 * 3_600_000
#: Taps, and those that take them back.
STARTED, NOT_STARTED, EMPTIED, NOT_EMPTIED = "started", "not-started", "emptied", "not-emptied"


@dataclass(slots=True)
class Batch:
    """One batch: its checks, oldest first, when its parts met, when stirring began, whether it has left its pail."""

    number: int
    checks: list[EventRow] = field(default_factory=list)
    met_ms: int | None = None
    stirred_ms: int | None = None
    emptied: bool = False

    @property
    def newest(self) -> EventRow | None:
        """The check that holds: the last one."""
        return self.checks[-1] if self.checks else None

    @property
    def weighed_g(self) -> float:
        """What it weighs by its newest check."""
        return 0.0 if self.newest is None else self.newest.facts["a_g"] + self.newest.facts["b_g"]

    @property
    def light(self) -> str:
        """The newest verdict's; "" before there is one."""
        return "" if self.newest is None else str(self.newest.facts["light"])

    @property
    def began_ms(self) -> int | None:
        """From when its working time is counted."""
        moments = [at for at in (self.met_ms, self.stirred_ms) if at is not None]
        return min(moments) if moments else None


def batches_of(events: Iterable[EventRow]) -> list[Batch]:
    """Return the batches by number. A check without a number, from before they had one, is a batch of its own."""
    batches: dict[int, Batch] = {}
    for event in events:
        facts = event.facts
        if event.kind == "batch":
            number = facts.get("number") or max(batches, default=0) + 1
            batch = batches.setdefault(number, Batch(number))
            batch.checks.append(event)
            _meet(batch, event)
        elif event.kind == "mixing":
            batch = batches.setdefault(facts["number"], Batch(facts["number"]))
            _tap(batch, facts["what"], event.at_ms)
        else:
            for batch in batches.values():
                batch.emptied = True
    return [batches[number] for number in sorted(batches)]


def _tap(batch: Batch, what: str, at_ms: int) -> None:
    if what in (STARTED, NOT_STARTED):
        batch.stirred_ms = at_ms if what == STARTED else None
    else:
        batch.emptied = what == EMPTIED


def _meet(batch: Batch, check: EventRow) -> None:
    """Take from a check when the parts met, if they have."""
    facts = check.facts
    where = facts.get("where", "pail" if facts.get("in_pail", True) else "poured")
    batch.emptied = where == "poured"
    if where == "apart" or facts["a_g"] <= 0 or facts["b_g"] <= 0:
        batch.met_ms = None
    elif where == "pail":
        met_ms = check.at_ms - round(60_000 * facts.get("age_min", 0.0))
        batch.met_ms = met_ms if batch.met_ms is None else min(batch.met_ms, met_ms)


@dataclass(frozen=True, slots=True)
class RunningClock:
    """A batch that is in its pail: its clock, for which mass, what to do now, and until when that holds.

    stale: it has set long ago, and is no news any more. core_c: its core's temperature now and when its working time
    is over; None once it is.
    """

    batch: Batch
    clock: BenchClock
    grams: float
    state: BenchState
    until_ms: int
    stale: bool
    core_c: tuple[float, float] | None = None

    @property
    def taps(self) -> tuple[str, ...]:
        """What may be tapped now."""
        if self.refused:
            return (EMPTIED,)
        return (STARTED, EMPTIED) if self.batch.stirred_ms is None else (EMPTIED, NOT_STARTED)

    @property
    def refused(self) -> bool:
        """Whether it must not be poured, whatever the clock says."""
        return self.batch.light == "stop"


def clock_of(batch: Batch, plan: Plan, planned_g: float, now_ms: int) -> RunningClock | None:
    """Return the batch's clock; None where its parts have not met, or it has left its pail.

    planned_g: what it weighs as planned (0: not known), for a batch that has not been weighed, and for one whose
    weights were refused where that is more: a heavier pail sets sooner. Raises OutOfRange where the mix does not set.
    """
    began_ms, mix = batch.began_ms, plan.mix
    grams = max(batch.weighed_g, planned_g) if batch.light in ("", "stop") else batch.weighed_g
    if began_ms is None or mix is None or grams <= 0 or batch.emptied:
        return None
    working_min = working_time_of(plan, grams / 1000)
    clock = BenchClock(began_ms, batch.stirred_ms, mix.mix_min, working_min)
    stale = now_ms > clock.sets_ms + STALE_MS
    state = clock.state(now_ms)
    core_c = None
    if state is not BenchState.SET:
        core_c = pail_core_c(plan, grams / 1000, (now_ms - began_ms) / 60_000, working_min)
    return RunningClock(batch, clock, grams, state, clock.next_ms(now_ms), stale, core_c)


def mixed_g(batches: Sequence[Batch], but: int | None = None) -> float:
    """Return what has been mixed and not refused, g; but: the number of a batch that is left out."""
    return sum(b.weighed_g for b in batches if b.light not in ("", "stop") and b.number != but)


def to_weigh(batches: Sequence[Batch]) -> int:
    """Return the number of the batch that is weighed next: the newest again while it is not right, else one more."""
    if not batches:
        return 1
    last = batches[-1]
    return last.number + 1 if last.light == "ok" or last.emptied else last.number


def check_of(batches: Sequence[Batch], check_id: int) -> tuple[Batch, EventRow] | None:
    """Return the batch and the check with that id; None where there is none."""
    pairs = ((batch, check) for batch in batches for check in batch.checks if check.id == check_id)
    return next(pairs, None)
