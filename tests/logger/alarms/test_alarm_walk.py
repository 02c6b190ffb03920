"""Random walks over the life of an alarm: no illegal transition, no clearing by silence, restarts change nothing."""

from __future__ import annotations

import random
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from logger.alarms.registry import KINDS

STEPS = 200_000


def test_two_hundred_thousand_random_steps_break_no_rule(drills: ModuleType) -> None:
    """Values, gaps, late data, acknowledgements, shelving, restarts and steps of time, over every kind.

    The benchmark walks a million. Each step checks: legal transitions only, each of them said; an independent account
    of calm time agrees with every return; missing data clears nothing; a twin that is written and read is the same.
    """
    found = drills.walk_lives(STEPS, 7)
    assert found["raised"] > STEPS // 200
    assert found["returned"] > STEPS // 250


def test_the_walk_would_notice_an_alarm_that_clears_by_silence(
    drills: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The check of the check: a step that lets missing data clear is caught."""
    honest = drills.step

    def forgetful(kind: Any, state: Any, seen: Any, now_ms: int) -> Any:
        return honest(kind, state, replace(seen, active=bool(seen.active)), now_ms)

    monkeypatch.setattr(drills, "step", forgetful)
    with pytest.raises(AssertionError, match="missing data cleared"):
        drills.walk_lives(100_000, 7)


def test_hypothesis_finds_no_life_that_breaks_a_rule(drills: ModuleType) -> None:
    """The same rules, driven by hypothesis so that a break shrinks to its shortest story."""

    class AlarmLife(RuleBasedStateMachine):
        @initialize(name=st.sampled_from(sorted(KINDS)), seed=st.integers(0, 2**16))
        def begin(self, name: str, seed: int) -> None:
            self.life = drills.Life(KINDS[name], random.Random(seed))

        @rule(
            active=st.sampled_from([True, False]),
            times=st.integers(1, 30),
            every_s=st.sampled_from([5, 30, 120]),
        )
        def readings(self, active: bool, times: int, every_s: int) -> None:
            self.life.over = active
            for _ in range(times):
                self.life.now += every_s * 1000
                self.life.observe()

        @rule(by_s=st.sampled_from([-86_400, -3600, -1, 0, 1, 3600, 86_400]))
        def time_steps(self, by_s: int) -> None:
            self.life.now += by_s * 1000
            self.life.observe()

        @rule()
        def somebody_acknowledges(self) -> None:
            self.life.act(drills.actions.acknowledge, drills.actions.Act("Jo", self.life.now))

        @rule(hours=st.sampled_from([0.25, 1.0, 8.0]))
        def somebody_shelves(self, hours: float) -> None:
            self.life.act(drills.actions.shelve, drills.actions.Act("Jo", self.life.now), hours)

        @rule(hours=st.sampled_from([None, 1.0, 4.0]))
        def somebody_takes_it_out(self, hours: float | None) -> None:
            self.life.act(
                drills.actions.take_out_of_service, drills.actions.Act("Jo", self.life.now, "broken"), hours
            )

        @rule()
        def somebody_puts_it_back(self) -> None:
            self.life.act(drills.actions.return_to_service, drills.actions.Act("Jo", self.life.now))

        @rule(steps=st.integers(1, 20))
        def anything_happens(self, steps: int) -> None:
            self.life.walk(steps)

    run_state_machine_as_test(
        AlarmLife,
        settings=settings(
            max_examples=60,
            stateful_step_count=40,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
