"""What the tests of the alarms share: the drills of tests/bench/alarms.py, and a hand for feeding a watchbook."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from logger.alarms.band import Expected
from logger.alarms.book import AlarmBook, Setup
from logger.alarms.inputs import AlarmLimits, LiveReading, WatchFacts
from logger.alarms.state import Transition

T0 = 1_790_000_000_000


@pytest.fixture(scope="session")
def drills() -> ModuleType:
    """The benchmark script as a module: tests and benchmark run the same drills."""
    path = Path(__file__).resolve().parents[2] / "bench" / "alarms.py"
    spec = importlib.util.spec_from_file_location("alarm_drills", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["alarm_drills"] = module
    spec.loader.exec_module(module)
    return module


NO_FACTS = WatchFacts()


class Hand:
    """Feeds one watchbook: `read` a sweep, let time pass, look at what changed."""

    def __init__(self, limits: AlarmLimits, expected: Expected | None = None) -> None:
        self.setup = Setup(T0, limits, expected)
        self.book = AlarmBook(self.setup)
        self.seconds = 0.0
        self.changes: list[Transition] = []

    @property
    def now_ms(self) -> int:
        return T0 + round(self.seconds * 1000)

    def read(
        self,
        *,
        after_s: float = 5.0,
        facts: WatchFacts = NO_FACTS,
        late_s: float = 0.0,
        **places: float | None,
    ) -> list[Transition]:
        """One sweep `after_s` later: place=°C, or None for a failed reading; core_2 stands for core-2."""
        self.seconds += after_s
        at_ms = self.now_ms - round(late_s * 1000)
        samples = []
        for name, celsius in places.items():
            place = name.replace("_", "-")
            fault = None if celsius is not None else "empty-read"
            samples.append(LiveReading(place, f"28-{place}", at_ms, celsius, fault, late_s > 0, "bench-1"))
        found = self.book.take(samples, facts, self.now_ms)
        self.changes += found
        return found

    def hold(
        self, for_s: float, every_s: float = 5.0, facts: WatchFacts = NO_FACTS, **places: float | None
    ) -> list[Transition]:
        """The same readings again and again."""
        found = []
        for _ in range(round(for_s / every_s)):
            found += self.read(after_s=every_s, facts=facts, **places)
        return found

    def wait(self, for_s: float, facts: WatchFacts = NO_FACTS, every_s: float = 2.0) -> list[Transition]:
        """No readings come."""
        found = []
        for _ in range(round(for_s / every_s)):
            found += self.read(after_s=every_s, facts=facts)
        return found


@pytest.fixture
def hand() -> Hand:
    """A pour with a limit of 60 °C in a room of 17 to 29 °C, and no prediction."""
    return Hand(AlarmLimits())


@pytest.fixture
def new_hand() -> Callable[..., Hand]:
    """Makes hands with other limits or a prediction."""
    return Hand
