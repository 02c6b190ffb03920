"""A pour of our own invention with readings, events, alarms and forecasts, open or sealed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from logger.alarms.state import Phase, Transition, Why
from logger.cure.solver.prediction import MODEL_VERSION, predict
from logger.plan.file import plan_from_text
from logger.pour import Stage
from logger.record.seal import seal
from logger.store import alarms, events, forecasts, pours, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.store.readings import save_batch
from logger.wire import WireReading

PLACES = {"core": "28-0000000000c1", "surface": "28-0000000000c2", "room": "28-0000000000c4"}
WORKSHOP = "Wharf Lane (invented workshop)"


@dataclass
class Casting:
    """One pour that a test takes from plan to seal."""

    store: Store
    timeline: Timeline
    clock: Any
    pour_id: int
    seq: int = 0

    def go(self, *stages: Stage) -> None:
        """Takes it through stages."""
        with self.store.write() as tx:
            for stage in stages:
                pours.move_on(tx, self.pour_id, stage, "Ada", self.timeline)

    def note(self, kind: str, text: str = "", data: dict[str, Any] | None = None, by: str = "Ada") -> None:
        """Something that was done or seen."""
        with self.store.write() as tx:
            events.add_event(tx, self.pour_id, self.timeline.true_ms(), kind, by, text, data)

    def sweep(self, damp_pct: float | None = None, **celsius: float | None) -> None:
        """One sweep now; None is a failed read."""
        stamp = self.clock.stamp()
        rows = []
        for place, value in celsius.items():
            self.seq += 1
            rows.append(
                WireReading(
                    PLACES[place],
                    place,
                    stamp,
                    None if value is None else round(1000 * value),
                    "bad-crc" if value is None else None,
                    "57014b467fff0c10ab",
                    None,
                    round(1000 * damp_pct) if damp_pct is not None and place == "room" else None,
                    seq=self.seq,
                )
            )
        with self.store.write() as tx:
            station = stations.by_name(tx, "bench-1")
            save_batch(tx, ReadingBatch(station.id, "spool-1", stamp, rows), self.timeline.true_ms())

    def feed(self, hours: float, step_s: float, at: Callable[[float], dict[str, Any]]) -> None:
        """Sweeps over a span; `at` gives the places' °C at an hour from its start."""
        for number in range(round(hours * 3600 / step_s)):
            self.clock.move(step_s)
            self.sweep(**at((number + 1) * step_s / 3600))

    def alarm(self, kind: str, reason: str, answered_by: str | None = None) -> None:
        """An alarm that was raised now, and answered at once or not at all."""
        now = self.timeline.now_ms()
        raised = Transition(
            kind,
            "pour",
            Why.FIRST_TIME,
            reason,
            1,
            1,
            Phase.NORMAL,
            Phase.RAISED,
            now,
            now,
            value=61.0,
            limit=60.0,
        )
        changes = [raised]
        if answered_by:
            changes.append(
                replace(
                    raised,
                    why=Why.ACKNOWLEDGED,
                    text="seen",
                    before=Phase.RAISED,
                    phase=Phase.ACKNOWLEDGED,
                    at_ms=now + 90_000,
                    by=answered_by,
                )
            )
        with self.store.write() as tx:
            alarms.save_changes(tx, self.pour_id, changes, self.timeline.shift_ms)

    def close(self) -> dict[str, Any]:
        """Closes and seals it."""
        with self.store.write() as tx:
            pours.move_on(tx, self.pour_id, Stage.CLOSED, "Ada", self.timeline)
            return seal(tx, self.pour_id, "Ada", self.timeline.true_ms(), WORKSHOP)


@pytest.fixture
def cast(store: Store, timeline: Timeline, clock: Any, plan_toml: str) -> Callable[..., Casting]:
    """Makes castings: planned, predicted, with station bench-1."""

    def make(plan: str = plan_toml, client: str = "A client (invented)") -> Casting:
        planned = plan_from_text(plan)
        prediction = predict(planned).to_json()
        with store.write() as tx:
            station_id, _token = stations.enrol(tx, "bench-1", 0)
            pour_id = pours.add_pour(
                tx,
                PlannedPour(title=planned.title, client=client, plan_toml=plan, station_id=station_id),
                by="Ada",
                now_ms=timeline.true_ms(),
            )
            pours.freeze_prediction(tx, pour_id, prediction, MODEL_VERSION)
        return Casting(store, timeline, clock, pour_id)

    return make


@pytest.fixture
def poured(cast: Callable[..., Casting]) -> Casting:
    """A casting after three invented hours with a fault, an alarm, two forecasts, looks and tests; not sealed."""
    made = cast()
    made.note(
        "lot",
        "",
        {
            "product": "Slow casting system (invented)",
            "part": "resin",
            "lot": "A-17",
            "expires_on": "2027-04-30",
            "kg": 12.5,
        },
    )
    made.go(Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    made.note("look", "all dry", {"finding": "dry"})
    made.feed(3.0, 120, lambda h: {
        "core": None if abs(h - 1.5) < 0.02 else 21 + 14 * h, "surface": 21 + 6 * h, "room": 21 - h / 2,
        "damp_pct": 45 + 5 * h,
    })  # fmt: skip
    made.alarm("core-hot", "core at 61 °C, above the limit of 60 °C", "Ben")
    with made.store.write() as tx:
        for hour in (1.0, 4.1):
            forecasts.add_forecast(
                tx,
                made.pour_id,
                hour,
                made.timeline.true_ms(),
                {
                    "at_h": hour,
                    "core_peak_c": {"p05": 55.0, "p50": 60.0, "p95": 64.5},
                    "core_peak_at_h": {"p05": 3.0, "p50": 4.0, "p95": 5.5},
                    "chance_core_over_limit": 0.45,
                },
            )
    made.go(Stage.RELEASED)
    made.note("test", "a thumbnail leaves no mark", {"what": "hardness", "value": "hard"})
    made.note(
        "outcome",
        "a hair crack at the left edge",
        {
            "state": "flawed",
            "defects": [{"kind": "crack", "where": "left edge"}],
            "rework_cost": 120.0,
            "currency": "credits",
            "rework_h": 3.5,
        },
    )
    return made


@pytest.fixture
def sealed(poured: Casting) -> Casting:
    """The same casting, closed and sealed, with one addition after it."""
    poured.close()
    poured.note("addition", "the client sent a photo", {"about": "note", "reason": "asked in spring"})
    return poured
