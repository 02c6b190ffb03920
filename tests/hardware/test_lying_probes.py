"""Ten thousand lies, clones included: none is recorded as a good temperature, and no true one is refused."""

from __future__ import annotations

import random
from collections.abc import Callable
from math import exp
from pathlib import Path

import pytest

from hardware.bench.clock import SteppedClock
from hardware.bench.w1_files import Misreading, lying_text, scratchpad, w1_text
from hardware.ds18b20 import Ds18b20
from hardware.plausibility import MISSED_C, NEAR_C, STEEP_SHARE
from hardware.reading import Fault, Reading, Sample

LSB_C = 1 / 16
LIES = [lie for lie in Misreading if lie not in (Misreading.REPEATED, Misreading.STUCK)]
"""Old samples are true bytes of another moment; they have a test of their own."""


class LyingProbe:
    """A probe under a driver; each look is the truth or a lie, as it is told."""

    def __init__(self, *, clone: bool) -> None:
        self.clock = SteppedClock(boot_ms=0)
        self.samples: list[Sample] = []
        self._clone = clone
        self._text = ""
        self._last = scratchpad(20.0, clone=clone)
        self._driver = Ds18b20("28-0000000000a1", read=self._read)

    def look(self, celsius: float, lie: Misreading | None, period_s: float) -> None:
        """One sweep at a true temperature."""
        truth = scratchpad(celsius, clone=self._clone)
        if lie is None:
            self._text, self._last = w1_text(truth), truth
        else:
            self._text = lying_text(
                lie, self._last if lie in (Misreading.REPEATED, Misreading.STUCK) else truth
            )
        self._missing = lie is Misreading.PULLED
        self.samples += self._driver.read(self.clock)
        self.clock.advance(period_s)

    def end(self) -> dict[int, Reading | Fault]:
        """All outcomes by the moment (ms) of their look."""
        self.samples += self._driver.release()
        found = {sample.stamp.boot_ms: sample.outcome for sample in self.samples}
        assert len(found) == len(self.samples), "a look gave two samples"
        return found

    def _read(self, path: Path) -> str:
        if self._missing:
            raise FileNotFoundError(path)
        return self._text


def hump(top_c: float, width_s: float) -> Callable[[float], float]:
    """A heat hump over a room of 20 °C: no physics, only a shape that passes every temperature twice."""
    return lambda t_s: 20 + (top_c - 20) * exp(-(((t_s - 2.5 * width_s) / width_s) ** 2))


@pytest.mark.parametrize("clone", [False, True])
@pytest.mark.parametrize("seed", range(5))
def test_ten_thousand_lies_give_no_false_temperature(clone: bool, seed: int) -> None:
    """A thousand lies of every kind in each of ten runs over the hump, single and in rows, among true readings.

    A reading is the truth to the last bit, except an 85.0 that the bytes do not prove: its note says so, and it is
    within the tolerance of the rule for its neighbours. No true reading is refused, except such an 85.0 of a clone
    with lies on both sides of it.
    """
    dice = random.Random(seed)
    probe = LyingProbe(clone=clone)
    true_at: dict[int, tuple[float, Misreading | None]] = {}
    width_s = dice.choice([1200.0, 3600.0, 7200.0])
    truth = hump(dice.uniform(60, 120), width_s)
    told = row = 0
    lie: Misreading | None = None
    while told < 1000:
        if row == 0:
            lie = dice.choice(LIES) if dice.random() < 0.5 else None
            row = dice.choice([1, 1, 1, 2, 3, 10])
        row -= 1
        told += lie is not None
        now = probe.clock.stamp()
        true_c = truth(now.boot_s % (5 * width_s))
        true_at[now.boot_ms] = true_c, lie
        probe.look(true_c, lie, period_s=5.0 if now.boot_s < 3600 else 30.0)
    found = probe.end()
    assert found.keys() == true_at.keys()
    for at_ms, outcome in found.items():
        true_c, lie = true_at[at_ms]
        unproven = isinstance(outcome, Reading) and outcome.note is not None and "85.0" in outcome.note
        if isinstance(outcome, Fault):
            assert lie is not None or (clone and round(true_c * 16) == 85 * 16), (at_ms, outcome, true_c)
        elif unproven:
            assert abs(outcome.celsius - true_c) <= NEAR_C + STEEP_SHARE * 30, (at_ms, lie, outcome, true_c)
        else:
            assert abs(outcome.celsius - true_c) <= LSB_C / 2, (at_ms, lie, outcome, true_c)


@pytest.mark.parametrize("period_s", [5.0, 30.0])
@pytest.mark.parametrize("slope_c_per_min", [0.1, 0.5, 2.0, 4.0, -0.1, -2.0])
def test_a_value_that_sticks_on_the_way_is_doubted_before_it_is_far_off(
    slope_c_per_min: float, period_s: float
) -> None:
    """Ten minutes of movement, then the same bytes again and again: doubted once they are old by about a degree."""
    probe = LyingProbe(clone=False)
    true_at = {}
    for look in range(round(1500 / period_s)):
        now = probe.clock.stamp()
        true_at[now.boot_ms] = (20 if slope_c_per_min > 0 else 80) + slope_c_per_min * now.boot_s / 60
        stuck = look * period_s >= 600
        probe.look(true_at[now.boot_ms], Misreading.STUCK if stuck else None, period_s)
    readings = [
        (true_at[at_ms], outcome) for at_ms, outcome in probe.end().items() if isinstance(outcome, Reading)
    ]
    believed = [abs(outcome.celsius - true_c) for true_c, outcome in readings if outcome.note is None]
    assert max(believed) <= MISSED_C + 2 * LSB_C
    assert abs(slope_c_per_min) < 0.5 or any(outcome.note for _, outcome in readings)


@pytest.mark.parametrize("clone", [False, True])
@pytest.mark.parametrize("period_s", [5.0, 30.0])
@pytest.mark.parametrize("slope_c_per_min", [0.03, 0.1, 0.5, 2.0, 10.0, -0.03, -0.5, -5.0])
def test_a_run_through_85_refuses_nothing(clone: bool, period_s: float, slope_c_per_min: float) -> None:
    """From 80 to 90 or back, slow and steep, starting so that exactly 85.0 is met: every value comes out."""
    probe = LyingProbe(clone=clone)
    minutes = 10 / abs(slope_c_per_min)
    looks = min(round(minutes * 60 / period_s), 4000)
    expected = {}
    for look in range(-looks // 2, looks // 2 + 1):
        celsius = 85 + slope_c_per_min * look * period_s / 60
        expected[probe.clock.stamp().boot_ms] = round(celsius * 16) / 16
        probe.look(celsius, None, period_s)
    found = probe.end()
    read = {at_ms: outcome.celsius for at_ms, outcome in found.items() if isinstance(outcome, Reading)}
    assert read == expected
    assert 85.0 in read.values()


@pytest.mark.parametrize("lie", list(Misreading))
def test_a_run_through_85_survives_a_lie_on_the_way(lie: Misreading) -> None:
    """On a clone, one lie just before 85.0 or just after: the true 85.0 still comes out."""
    for lying_step in (-2, -1, 1, 2):
        probe = LyingProbe(clone=True)
        at_85 = 0
        for step in range(-10, 11):
            if step == 0:
                at_85 = probe.clock.stamp().boot_ms
            probe.look(85 + 0.5 * step, lie if step == lying_step else None, 30.0)
        outcome = probe.end()[at_85]
        assert isinstance(outcome, Reading), (lie, lying_step, outcome)
        assert outcome.celsius == 85.0
